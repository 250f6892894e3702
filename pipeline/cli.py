"""The `racket-fleet` command: arguments in, tables or plain CSV on standard output, messages on standard error.

Exit status: 0 done; 1 nothing usable, with one sentence and no traceback; 2 wrong usage.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from pipeline import __version__
from pipeline.command import bench, calendar_file, learning, output, people, reels, safety, serving, what_if
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, OnOption, PortOption, StoreOption, as_day
from pipeline.command.standing import must_know_squad, refresh_view, snapshot_of
from pipeline.store import Store, StoreError

app = typer.Typer(
    help="Which rackets need stringing, and how many jobs the next weeks bring, from the club's own CSV files.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(is_asked: bool) -> None:
    if is_asked:
        typer.echo(f"racket-fleet {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Which rackets need stringing, and how many jobs the next weeks bring, from the club's own CSV files."""


@app.command()
@says_why
def demo(
    store: Annotated[Path, typer.Option("--store", metavar="DIR", help="Where to put the demo club.")] = Path(
        "demo-club"
    ),
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="Stop after printing; do not open the dashboard.")
    ] = False,
    port: PortOption = None,
) -> None:
    """Load an invented academy afresh, print its most urgent rackets and open the dashboard."""
    from pipeline.command.demo import fresh_demo, published_ranking
    from pipeline.command.serving import address, free_port, serve_dashboard

    club = fresh_demo(store, output.progress)
    frame, as_of = published_ranking(club)
    output.print_urgent(frame, as_of, count=5)
    chosen = free_port(port)
    output.say(f"Dashboard: {address(chosen)}", to_stdout=True)
    if not no_serve:
        serve_dashboard(club, chosen)


@app.command()
@says_why
def load(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH...", help="A folder of CSV files, or single files.")],
    store: StoreOption = DEFAULT_STORE,
    on: Annotated[
        date | None,
        typer.Option("--on", metavar="DATE", parser=as_day, help="Take this day as today; else the clock's."),
    ] = None,
    csv: CsvOption = False,
) -> None:
    """Load a folder or files: what was read, new, corrected, unchanged and rejected."""
    club = Store(store)
    with output.progress() as show:
        report = club.load(paths, progress=show, load_day=on)
    for sentence in (*report.refused, *report.notes):
        output.say(sentence)
    output.print_load(report, is_csv=csv)
    if not report.is_usable:
        raise typer.Exit(1)
    rejected = report.total("rejected")
    if report.count_mended:
        output.say(
            f"{report.count_mended} rejected {'row' if report.count_mended == 1 else 'rows'} of earlier loads mended."
        )
    if rejected:
        output.say(
            f"{rejected} {'row was' if rejected == 1 else 'rows were'} rejected: racket-fleet rejects says "
            "how to mend them."
        )
    refresh_view(club)


@app.command()
@says_why
def rejects(
    store: StoreOption = DEFAULT_STORE,
    with_mended: Annotated[bool, typer.Option("--all", help="Show those that have been mended, too.")] = False,
    csv: CsvOption = False,
) -> None:
    """Every rejected row and how to mend it."""
    frame = Store(store).rejects(with_mended=with_mended)
    columns = ["file", "line", "column", "value", "message"] + (["mended_at", "mended_how"] if with_mended else [])
    output.print_frame(frame[columns], is_csv=csv, when_empty="No row is rejected.")


@app.command()
@says_why
def rank(
    days: Annotated[int, typer.Option("--days", min=1, max=365, help="How many days to look ahead.")] = 14,
    squad: Annotated[str | None, typer.Option("--squad", metavar="S", help="This squad's rackets only.")] = None,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """The rackets by urgency, each with its chances and the reason."""
    club = Store(store)
    if squad is not None:
        must_know_squad(club, squad)
    with snapshot_of(club, on) as (snapshot, as_of):
        frame = snapshot.rank(days=days, squad=squad)
    if frame.empty:
        raise StoreError(f"no racket of squad {squad} is in service on {as_of}: choose another --squad or --on.")
    if csv:
        output.print_frame(frame, is_csv=True)
    else:
        output.print_urgent(frame, as_of, count=None, days=days)


@app.command()
@says_why
def forecast(
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=52, help="How many weeks ahead.")] = 6,
    draws: Annotated[int, typer.Option("--draws", min=50, max=100_000, help="How many futures to simulate.")] = 2000,
    seed: Annotated[int, typer.Option("--seed", min=0, help="The same seed gives the same numbers.")] = 0,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """The restrings of the coming weeks, of every cause; week 1 starts the day after --on."""
    with snapshot_of(Store(store), on) as (snapshot, as_of):
        if snapshot.rackets["bed_id"].isna().all():
            raise StoreError(
                f"no racket in service on {as_of} has a restring on file, so there is nothing to forecast from: "
                "load restrings.csv, or choose a later --on."
            )
        frame = snapshot.forecast(weeks=weeks, draws=draws, seed=seed)
    if snapshot.way.is_idle >= 0.5:
        from pipeline.fleet.words import idle_bench

        output.say(idle_bench(snapshot.way.is_idle))
    if not csv:
        output.say(f"Restrings by week, as of {as_of}: mean, and the 10, 50 and 90 % points.")
    output.print_frame(frame, is_csv=csv)


@app.command("match-ready")
@says_why
def match_ready(
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=26, help="How many weeks ahead.")] = 6,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """Who is likely to have enough rackets for each event ahead, and who is not."""
    from pipeline.fleet.match_ready import CSV_COLUMNS, match_ready

    with snapshot_of(Store(store), on) as (snapshot, as_of):
        frame = match_ready(snapshot, weeks=weeks)[list(CSV_COLUMNS)]
    if not csv:
        output.say(f"Rackets likely to last through each event, as of {as_of}, and the chance that enough do.")
    output.print_frame(frame, is_csv=csv, when_empty=f"No event within {weeks} weeks is on file: load calendar.csv.")


@app.command("track-record")
@says_why
def track_record(
    weeks: Annotated[int, typer.Option("--weeks", min=2, max=104, help="How many weeks back, by fortnights.")] = 12,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """How the forecasts held up here, beside the rules of thumb; kept for the dashboard unless --on is given."""
    from pipeline.command.looking_back import fortnight_bar, print_record
    from pipeline.fleet.track_record import keep, work_out

    club = Store(store)
    with fortnight_bar() as show:
        record = work_out(club, weeks, on, progress=show)
    if on is None:
        keep(club, record)
    if record.backtest.count_weeks < weeks - 1:
        output.say(f"The records on file reach back far enough for {record.backtest.count_weeks} of {weeks} weeks.")
    print_record(record, is_csv=csv)


@app.command()
@says_why
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where to write the files.")],
    store: StoreOption = DEFAULT_STORE,
    replace: Annotated[bool, typer.Option("--replace", help="Replace CSV files that are there.")] = False,
    parquet: Annotated[
        bool, typer.Option("--parquet", help="Write this club's part of a federation's lake instead, without names.")
    ] = False,
    club: Annotated[
        str | None, typer.Option("--club", metavar="NAME", help="With --parquet: the club's name there; else its own.")
    ] = None,
) -> None:
    """Write the current facts as CSV files that load again without loss, or as Parquet for a federation."""
    if parquet:
        from pipeline.federation.lake import write_lake

        counts = write_lake(Store(store), folder, club)
    else:
        counts = Store(store).export(folder, is_replacing=replace)
    for file, count in counts.items():
        typer.echo(f"{folder / file}: {count} {'row' if count == 1 else 'rows'}")
    if not counts:
        raise StoreError(f"{store} holds no rows, so nothing was written.")


@app.command()
@says_why
def strike(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The file the row is in, such as matches.")],
    key: Annotated[list[str], typer.Argument(metavar="KEY...", help="The row's key, such as M1 P3 R7.")],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Take back one recorded row; it stays in the history."""
    club = Store(store)
    shown = club.strike(file, key)
    typer.echo(f"Taken back: {shown}")
    refresh_view(club)


@app.command()
@says_why
def refresh(store: StoreOption = DEFAULT_STORE) -> None:
    """Work out anew what the dashboard shows, such as after a change in club.toml."""
    club = Store(store)
    if refresh_view(club) is None:
        raise StoreError(f"{store} has no dated record yet: load restrings, matches or practices first.")


@app.command("check-free")
@says_why
def check_free(store: StoreOption = DEFAULT_STORE) -> None:
    """Say whether a process is writing to the store: status 0 if none is, 1 with its name if one is."""
    club = Store(store)
    if not club.is_free():
        raise StoreError(f"{store} is in use by {club.holder()}.")
    typer.echo(f"{store} is free.")


app.command("bench")(bench.bench)
app.command("learn")(learning.learn)
app.command("calendar")(calendar_file.calendar)
app.command("reels")(reels.reels)
app.command("what-if")(what_if.what_if)
app.command("serve")(serving.serve)
app.command("passcode")(people.passcode)
app.command("log-in")(people.log_in)
app.command("forget")(people.forget)
app.command("backup")(safety.backup)
app.command("restore")(safety.restore)
app.command("check")(safety.check)


if __name__ == "__main__":
    app()
