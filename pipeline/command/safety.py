"""Keeping the club's records safe: backup, restore and check, as commands."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, StoreOption
from pipeline.command.standing import refresh_view
from pipeline.store import Store, StoreError, UnreadableViewError
from pipeline.store import backup as archives
from pipeline.store.checkup import check_facts
from pipeline.store.view_check import compare_views

# of a store: locks, logs, plans, and what is in the making
NOT_COPIED = ("*.lock", "*.log*", "*.wal", "plan-*", "*.building*")


@says_why
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The archive to write, such as club-2026-11-15.zip.")],
    store: StoreOption = DEFAULT_STORE,
    replace: Annotated[bool, typer.Option("--replace", help="Replace the file if it is there.")] = False,
) -> None:
    """Write every record with its history, and the settings, into one archive, and read it back to be sure."""
    done = archives.backup(Store(store), file, is_replacing=replace)
    typer.echo(
        f"{file}: {sum(done.counts.values()):,} rows and their history, {done.size_bytes / 1e6:.1f} MB, checked."
    )


@says_why
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An archive that backup wrote.")],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to put the store in; it holds none yet.")],
) -> None:
    """Make the store of an archive anew, checked, in a folder of its own."""
    done = archives.restore(file, folder)
    typer.echo(f"{folder}: {sum(done.counts.values()):,} rows and their history, as of {done.made_at[:16]}, checked.")
    refresh_view(Store(folder))


@says_why
def check(
    store: StoreOption = DEFAULT_STORE,
    quick: Annotated[bool, typer.Option("--quick", help="The records only; do not work the view out again.")] = False,
) -> None:
    """Read the whole store through: counts of every load, history, ids, and the view against one worked out anew."""
    club = Store(store)
    with output.waiting("Reading every record"):
        found = check_facts(club)
    findings = list(found.findings)
    typer.echo(
        f"Records: {found.count_rows:,} current and former rows of {found.count_loads:,} loads and "
        f"{found.count_acts:,} acts by hand; {'nothing wrong' if not findings else f'{len(findings)} findings'}."
    )
    if not findings and not quick:
        view = _check_view(club)
        findings += view
        typer.echo(f"View: {'equal to one worked out anew' if not view else f'{len(view)} findings'}.")
    for finding in findings:
        output.say(finding)
    if findings:
        raise StoreError(
            f"{store} is not in order: keep a copy of the folder, then restore the last good backup, or run "
            "`racket-fleet refresh` where only the view is named."
        )


def _check_view(club: Store) -> list[str]:
    """The published view against one worked out anew, of a copy of the facts, as of the same day and instant."""
    if club.view_version is None:
        return ["there is no view yet: run `racket-fleet refresh`."]
    from pipeline.refresh import refresh as rebuild

    with tempfile.TemporaryDirectory() as scratch, output.waiting("Working the view out anew"):
        with club.publishing(datetime.now(UTC)), club.closed_facts():
            try:
                view = club.view()
            except UnreadableViewError as error:
                return [str(error)]
            try:
                told = dict(view.execute("select key, value from meta").fetchall())
            finally:
                view.close()
            copy = Path(scratch) / "copy"
            shutil.copytree(club.folder, copy, ignore=shutil.ignore_patterns(*NOT_COPIED))
        again = Store(copy)
        behind = int(told.get("last_act", "-1")) != again.last_act()
        if behind:
            return ["the view does not hold the newest records: run `racket-fleet refresh`."]
        as_of = datetime.fromisoformat(told["as_of"]).date()
        rebuild(again, as_of=as_of, now=datetime.fromisoformat(told["built_at"]).replace(tzinfo=UTC))
        return compare_views(club, again)
