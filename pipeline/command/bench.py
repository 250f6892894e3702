"""`racket-fleet bench`: which racket on which day by whom; as a table, as CSV, on paper or into a calendar."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, OnOption, StoreOption
from pipeline.command.standing import snapshot_of
from pipeline.store import Store, StoreError

MOST_WEEKS = 8


@says_why
def bench(
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=MOST_WEEKS, help="How many weeks to plan.")] = 2,
    overtime: Annotated[
        int, typer.Option("--overtime", min=0, max=360, help="Minutes a stringer may stay longer on a day.")
    ] = 0,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.1, max=600, help="Stop looking for a better plan after so long.")
    ] = 10.0,
    ics: Annotated[
        Path | None, typer.Option("--ics", metavar="FILE", help="Write the plan to this file for a calendar program.")
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """Which racket to string on which day and by whom, what is late, and the smallest mends."""
    from pipeline.fleet.bench.plan import make_plan
    from pipeline.fleet.bench.sentences import answer, gap_line, late_lines, mend_lines, pull_lines
    from pipeline.fleet.bench.source import source_of

    club = Store(store)
    with snapshot_of(club, on) as (snapshot, as_of):
        settings = club.settings
        with output.waiting("Planning the bench"):
            plan = make_plan(
                source_of(snapshot, 7 * weeks), settings, weeks=weeks, overtime_minutes=overtime, seconds=seconds
            )
    for note in filter(None, [*plan.notes, gap_line(plan)]):
        output.say(note)
    if ics is not None:
        from pipeline.fleet.prints.calendar_out import bench_calendar

        try:
            ics.write_bytes(bench_calendar(plan, settings.name, datetime.now(UTC), settings.tension_unit))
        except OSError as error:
            raise StoreError(f"{ics} cannot be written: {error.strerror or error}; choose another --ics.") from error
        output.say(f"Written: {ics}")
    table = plan.csv_frame()
    if csv:
        output.print_frame(table, is_csv=True)
        return
    output.say(f"{answer(plan)}, from {plan.first_on}, as known on {as_of}.", to_stdout=True)
    shown = table[["day", "stringer", "order", "racket_id", "player_id", "minutes", "due_on", "late_days"]]
    output.print_frame(shown, is_csv=False, when_empty="There is no job to plan.")
    for line in [*late_lines(plan), *mend_lines(plan), *pull_lines(plan)]:
        output.say(line, to_stdout=True)
