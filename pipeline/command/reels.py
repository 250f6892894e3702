"""`racket-fleet reels`: what string to order by when, and the budget; as a table, as CSV or as a spreadsheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, OnOption, StoreOption
from pipeline.command.standing import snapshot_of
from pipeline.store import Store, StoreError


@says_why
def reels(
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=52, help="How many weeks to order for.")] = 26,
    service: Annotated[
        float | None,
        typer.Option(
            "--service",
            min=0.5,
            max=0.999,
            help="The chance not to run out before the next order comes; else as club.toml says (0.95).",
            show_default=False,
        ),
    ] = None,
    xlsx: Annotated[
        Path | None, typer.Option("--xlsx", metavar="FILE", help="Write orders, stock, budget and ledger to this file.")
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """What string to order by when, how long the shelf lasts, and what the season is likely to cost."""
    from pipeline.fleet.reels.plan import CSV_COLUMNS, reel_plan
    from pipeline.fleet.reels.told import order_sentence, season_sentence
    from pipeline.fleet.reels.workbook import workbook

    club = Store(store)
    with snapshot_of(club, on) as (snapshot, as_of):
        if snapshot.rackets["bed_id"].isna().all():
            raise StoreError(
                f"no racket in service on {as_of} has a restring on file, so it is not known what string is needed: "
                "load restrings.csv, or choose a later --on."
            )
        plan = reel_plan(snapshot, club.settings, weeks=weeks, service=service)
    for note in plan.notes:
        output.say(note)
    if xlsx is not None:
        try:
            xlsx.write_bytes(workbook(plan, club.settings.name))
        except OSError as error:
            raise StoreError(f"{xlsx} cannot be written: {error.strerror or error}; choose another --xlsx.") from error
        output.say(f"Written: {xlsx}")
    table = plan.strings[list(CSV_COLUMNS)]
    if not csv:
        output.say(
            f"String for {weeks} weeks from {as_of}, not to run out with a chance of {plan.service:.0%}; cost in "
            f"{plan.currency}.",
            to_stdout=True,
        )
        output.say(f"{order_sentence(plan)}. {season_sentence(plan, club.settings.locale)}", to_stdout=True)
    output.print_frame(table, is_csv=csv, when_empty="No string is in use: load restrings.csv and strings.csv.")
