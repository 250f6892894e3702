"""Processes killed at chosen and at chance instants while they write, and what is left of the store each time.

In: how many points. Out: a table, one line a command: how many were killed before and after the commit, how many
finished first, and the faults, of which there must be none: records lost, stores that do not open, wrong views, and
records that fail `check`. Run as `python -m tests.store.kills --points 500`; the first points are the named ones.

A point is either the n-th call of a named function, or the n-th call out of Python at all (every DuckDB statement, file
operation and lock), or an instant of the clock. The killed process ends by SIGKILL, as the system ends one.
"""

from __future__ import annotations

import argparse
import importlib
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.refresh import refresh
from pipeline.store import Store, StoreError
from pipeline.store.backup import backup, restore, verify_backup
from pipeline.store.checkup import check_facts
from pipeline.store.sheet_loading import load_sheet, propose
from pipeline.store.sheets import read_sheets
from tests.small_club import FILES, NOW, write_club, write_file
from tests.store.main_module import plain_main

LATER = NOW + timedelta(days=1)
MATCH = {"match_id": "M9", "player_id": "P1", "racket_id": "R1", "played_on": "2026-05-01", "format": "singles"}
SHEET = b"Date;Racket;String;Tension kg;Why\n14.05.2026;R1;S1;23;broke\n15.05.2026;R2;S2;24;broke\n"


def _load(store: Store, side: Path) -> None:
    store.load(side / "club", now=LATER)


def _entry(store: Store, side: Path) -> None:
    job = {"job_id": "T1", "racket_id": "R1", "handed_in_on": "2026-05-02", "state": "due", "state_on": "2026-05-02"}
    store.enter({"matches": [{**MATCH, "match_id": "M10", "minutes": 50}], "jobs": [job]}, now=LATER)


def _undo(store: Store, side: Path) -> None:
    store.undo(int(store.entries().entry_id[0]), now=LATER)


def _strike(store: Store, side: Path) -> None:
    store.strike("matches", ["M1", "P1", "R1"], now=LATER)


def _sheet(store: Store, side: Path) -> None:
    (sheet,) = read_sheets("log.csv", SHEET)
    load_sheet(store, sheet, propose(store, sheet).confirmed(), now=LATER)


def _refresh(store: Store, side: Path) -> None:
    refresh(store, now=LATER)


def _publish(store: Store, side: Path) -> None:
    store.publish(lambda con: con.execute("create table t as select count(*) as n from facts.matches"), now=LATER)


def _export(store: Store, side: Path) -> None:
    store.export(side / "out", is_replacing=True)


def _backup(store: Store, side: Path) -> None:
    backup(store, side / "club.zip", now=LATER, is_replacing=True)


def _restore(store: Store, side: Path) -> None:
    restore(side / "base.zip", side / "restored")


ACTS: dict[str, Callable[[Store, Path], None]] = {
    "load": _load, "entry": _entry, "undo": _undo, "strike": _strike, "sheet": _sheet, "refresh": _refresh,
    "learn": _refresh, "publish": _publish, "export": _export, "backup": _backup, "restore": _restore,
}  # fmt: skip
SLOW = ("refresh", "learn")

# act, module of the function, its name, at which call the process dies
NAMED: tuple[tuple[str, str, str, int], ...] = (
    ("load", "store.store", "land_files", 1), ("load", "store.store", "migrate", 1),
    ("load", "store.loading", "find_problems", 2), ("load", "store.loading", "merge", 1),
    ("load", "store.loading", "merge", 5), ("load", "store.loading", "_record", 1),
    ("load", "store.loading", "_record", 5), ("load", "store.rejecting", "record_rejects", 1),
    ("load", "store.writer_lock", "_note_holder", 1), ("load", "store.loading", "_keep_raw", 3),
    ("entry", "store.entering", "load_landed", 1), ("entry", "store.loading", "merge", 1),
    ("entry", "store.loading", "merge", 2), ("entry", "store.loading", "_record", 2),
    ("entry", "store.books", "note", 1), ("entry", "store.books", "next_id", 1),
    ("undo", "store.undoing", "_take_back", 1), ("undo", "store.undoing", "_refuse_if_named", 1),
    ("undo", "store.books", "note", 1),
    ("strike", "store.striking", "_refuse_if_named", 1), ("strike", "store.books", "note", 1),
    ("sheet", "store.sheet_loading", "load_landed", 1), ("sheet", "store.loading", "merge", 1),
    ("publish", "store.publishing", "_build", 1), ("publish", "store.publishing", "_copy_books", 1),
    ("publish", "store.publishing", "sync_file", 1), ("publish", "store.publishing", "_point_to", 1),
    ("publish", "store.publishing", "sync_file", 2), ("publish", "store.publishing", "sync_folder", 1),
    ("publish", "store.publishing", "_remove_old", 1),
    ("export", "store.exporting", "_export_file", 1), ("export", "store.exporting", "_export_file", 3),
    ("export", "store.exporting", "text_of_row", 4),
    ("backup", "store.backup", "_sum_of", 1), ("backup", "store.backup", "sync_file", 1),
    ("backup", "store.backup", "_verify", 1), ("backup", "store.backup", "sync_folder", 1),
    ("restore", "store.backup", "_unpack", 2), ("restore", "store.backup", "_try_out", 1),
    ("restore", "store.backup", "sync_file", 1), ("restore", "store.backup", "sync_folder", 1),
    ("refresh", "refresh", "publish", 1), ("learn", "refresh", "snapshot", 1),
)  # fmt: skip


@dataclass
class Line:
    """What came of the points of one command."""

    named: int = 0
    calls: int = 0
    instants: int = 0
    before: int = 0  # killed, and the records are as before
    after: int = 0  # killed, and the records are as after
    finished: int = 0  # done before the kill came
    faults: list[str] = field(default_factory=list)


def _die_at_call(module: str, name: str, times: int) -> None:
    """Die when a function of the pipeline is called for the n-th time."""
    home = importlib.import_module(f"pipeline.{module}")
    real, left = getattr(home, name), [times]

    def deadly(*args: Any, **kwargs: Any) -> Any:
        left[0] -= 1
        if not left[0]:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)

    setattr(home, name, deadly)


def _count_calls(limit: int | None, told: Any) -> Callable[[], int]:
    """Count calls out of Python, and die at the `limit`-th."""
    seen = [0]

    def watch(frame: Any, event: str, arg: Any) -> None:
        if event == "c_call" or event == "c_return":
            seen[0] += 1
            if seen[0] == limit:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.setprofile(watch)
    return lambda: seen[0]


def _child(act: str, folder: str, side: str, how: tuple[Any, ...], told: Any) -> None:
    """One act in a process of its own, which tells when it begins and when it is done."""
    if how[0] == "named":
        _die_at_call(*how[1:])
    count = _count_calls(how[1], told) if how[0] == "calls" else (lambda: 0)
    store = Store(folder)
    told.send("begun")
    ACTS[act](store, Path(side))
    sys.setprofile(None)
    told.send(count())


def fingerprint(con: Any, catalog: str, left_out: tuple[str, ...] = ()) -> tuple[tuple[str, int, int], ...]:
    """Every table of a database as its count of rows and a sum over their contents; `left_out`: keys of meta."""
    tables = con.execute(
        "select schema_name, table_name from duckdb_tables() where database_name = $c order by all", {"c": catalog}
    ).fetchall()
    sums = []
    for schema, table in tables:
        where = f"where key not in {left_out}" if table == "meta" and left_out else ""
        columns = "* exclude (path)" if table == "loads" else "*"  # where the files lay differs by run
        whole = f'(select {columns} from "{catalog}"."{schema}"."{table}" {where})'
        query = f"select count(*), coalesce(bit_xor(hash(t)), 0) from {whole} as t"
        ((count, total),) = con.execute(query).fetchall()
        sums.append((f"{schema}.{table}", int(count), int(total)))
    return tuple(sums)


def facts_of(folder: Path) -> tuple[tuple[str, int, int], ...]:
    with Store(folder).facts() as con:
        return fingerprint(con, "facts")


def view_of(folder: Path) -> tuple[tuple[str, int, int], ...] | None:
    """The published view's contents; None where there is none."""
    store = Store(folder)
    if store.view_version is None:
        return None
    view = store.view()
    try:
        (catalog,) = view.execute("select current_catalog()").fetchall()[0]
        return fingerprint(view, catalog, ("view_version", "view_version"))
    finally:
        view.close()


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")} if folder.exists() else {}


@dataclass
class Stage:
    """Where an act is done: the store before, the files beside it, and what both look like before and after."""

    store: Path
    side: Path
    facts: tuple[Any, Any] = ((), ())
    views: tuple[Any, Any] = ((), ())
    files: tuple[dict[str, bytes], dict[str, bytes]] = ({}, {})
    count_calls: int = 0
    seconds: float = 0.0


class Harness:
    """Makes the stages once, then kills on them."""

    def __init__(self, scratch: Path, acts: tuple[str, ...], go_on_every: int = 1) -> None:
        self.go_on_every = go_on_every
        self.count = 0
        self.scratch = scratch
        self.context = multiprocessing.get_context("forkserver")
        self.context.set_forkserver_preload([__name__])
        base, side = scratch / "base", scratch / "side"
        store = Store(base)
        store.load(write_club(side / "club"), now=NOW)
        store.enter({"matches": [{**MATCH, "minutes": 61}]}, now=NOW)
        with_view = any(act in SLOW for act in acts)
        if with_view:
            refresh(store, now=NOW)
        else:
            store.publish(lambda con: con.execute("create table t as select 2 as n"), now=NOW)
        backup(store, side / "base.zip", now=NOW)
        backup(store, side / "club.zip", now=NOW)
        store.export(side / "out")
        store.enter({"matches": [{**MATCH, "minutes": 62}]}, now=NOW)  # a view and files that are behind
        more = "M3,P1,R1,2026-04-01,singles,60,\nM4,P1,R1,2026-04-02,singles,long,\n"
        write_file(side / "club", "matches", FILES["matches"].replace(",90,", ",95,") + more)
        self.stages = {act: self._stage(act, base, side) for act in acts}

    def _stage(self, act: str, base: Path, side: Path) -> Stage:
        stage = Stage(self.scratch / f"{act}-before", side)
        shutil.copytree(base, stage.store)
        if act == "learn":
            (stage.store / "view.current").unlink()
        before = (facts_of(stage.store), view_of(stage.store), _files(side / "out"))
        folder, beside = self._copy(stage)
        begun = time.monotonic()
        told = self._run(act, folder, beside, ("calls", None))
        assert told[-1] != "begun", f"{act} failed without being killed"
        stage.count_calls, stage.seconds = int(told[-1]), time.monotonic() - begun
        stage.facts = (before[0], facts_of(folder))
        stage.views = (before[1], view_of(folder))
        stage.files = (before[2], _files(beside / "out"))
        return stage

    def _copy(self, stage: Stage) -> tuple[Path, Path]:
        place = Path(tempfile.mkdtemp(dir=self.scratch))
        shutil.copytree(stage.store, place / "store")
        shutil.copytree(stage.side, place / "side")
        return place / "store", place / "side"

    def _run(self, act: str, folder: Path, side: Path, how: tuple[Any, ...]) -> list[Any]:
        """Run an act, killed as told; what its process told before it ended."""
        ours, theirs = self.context.Pipe(duplex=False)
        process = self.context.Process(target=_child, args=(act, str(folder), str(side), how, theirs))
        with plain_main():
            process.start()
        theirs.close()
        told: list[Any] = []
        try:
            if ours.poll(120):
                told.append(ours.recv())
            if how[0] == "instant" and not ours.poll(how[1]):
                process.kill()
            if ours.poll(120):
                told.append(ours.recv())
        except EOFError:
            pass
        process.join(120)
        return told

    def kill(self, act: str, how: tuple[Any, ...], line: Line) -> None:
        """One point: run, kill, look at what is left, and go on with it."""
        stage = self.stages[act]
        folder, side = self._copy(stage)
        try:
            told = self._run(act, folder, side, how)
            is_done = bool(told) and told[-1] != "begun"
            line.finished += is_done
            try:
                self._look(act, stage, folder, side, is_done, line)
            except (StoreError, OSError) as error:
                line.faults.append(f"{act} {how}: does not open: {error}")
        finally:
            shutil.rmtree(folder.parent, ignore_errors=True)

    def _look(self, act: str, stage: Stage, folder: Path, side: Path, is_done: bool, line: Line) -> None:
        def fault(kind: str) -> None:
            line.faults.append(f"{act}: {kind}")

        facts, view = facts_of(folder), view_of(folder)
        if facts not in stage.facts or (is_done and facts != stage.facts[1]):
            fault("records lost")
        if view not in stage.views or (is_done and view != stage.views[1]):
            fault("wrong view")
        if act == "restore":
            self._look_at_restored(stage, side, is_done, line)
        if not is_done:
            is_after = facts == stage.facts[1] != stage.facts[0] or view == stage.views[1] != stage.views[0]
            line.after += is_after
            line.before += not is_after
        self.count += 1
        if self.count % self.go_on_every:
            return
        if check_facts(Store(folder)).findings:
            fault("records fail check")
        for name, data in _files(side / "out").items():
            if data not in (stage.files[0].get(name), stage.files[1].get(name)):
                fault(f"half a file {name}")
        verify_backup(side / "club.zip")
        if facts == stage.facts[0] and act not in SLOW:  # and it goes on as if nothing had been
            ACTS[act](Store(folder), side) if act != "restore" or not is_done else None
            if facts_of(folder) != stage.facts[1]:
                fault("does not go on")

    def _look_at_restored(self, stage: Stage, side: Path, is_done: bool, line: Line) -> None:
        restored = side / "restored"
        if Store(restored).exists:
            if check_facts(Store(restored)).findings:
                line.faults.append("restore: the restored records fail check")
            shutil.rmtree(restored)
        elif is_done:
            line.faults.append("restore: done, and no store is there")
        elif (restored / "club.toml").exists():
            (restored / "club.toml").unlink()


def run(
    points: int,
    seed: int,
    acts: tuple[str, ...] = tuple(ACTS),
    say: Callable[[str], None] = lambda line: print(line, flush=True),
    go_on_every: int = 1,
) -> dict[str, Line]:
    """Kill at the named points, then half of the rest at calls and half at instants; the lines by command.

    `go_on_every`: at every so many points `check` is run as well, and the act is done again on what was left.
    """
    rng = np.random.default_rng(seed)
    lines = {act: Line() for act in acts}
    with tempfile.TemporaryDirectory() as scratch:
        harness = Harness(Path(scratch), acts, go_on_every)
        named = [point for point in NAMED if point[0] in acts][:points]
        for act, *where in named:
            lines[act].named += 1
            harness.kill(act, ("named", *where), lines[act])
        for place in range(points - len(named)):
            act = acts[place % len(acts)]
            stage = harness.stages[act]
            if place // len(acts) % 2:
                lines[act].instants += 1
                harness.kill(act, ("instant", float(rng.uniform(0, stage.seconds))), lines[act])
            else:
                lines[act].calls += 1
                harness.kill(act, ("calls", int(rng.integers(1, stage.count_calls + 1))), lines[act])
            if place % 50 == 49:
                say(f"... {len(named) + place + 1} points, {sum(len(line.faults) for line in lines.values())} faults")
    return lines


def table(lines: dict[str, Line]) -> str:
    """The lines as text, with their sum."""
    head = ["act", "named", "calls", "instants", "before", "after", "finished", "faults"]
    rows = [
        [act, line.named, line.calls, line.instants, line.before, line.after, line.finished, len(line.faults)]
        for act, line in lines.items()
    ]
    rows.append(["all", *(sum(int(row[at]) for row in rows) for at in range(1, len(head)))])
    return "\n".join("".join(f"{cell!s:>10}" for cell in row) for row in [head, *rows])


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--points", type=int, default=500)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    lines = run(asked.points, asked.seed)
    print(table(lines))
    faults = [fault for line in lines.values() for fault in line.faults]
    print("\n".join(faults) or "Nothing lost: every store opened, every record that was committed is there.")
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
