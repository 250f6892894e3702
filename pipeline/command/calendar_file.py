"""`racket-fleet calendar`: the club's calendar filled from an iCalendar file of another program."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, StoreOption, as_day
from pipeline.command.standing import must_know_squad, refresh_view
from pipeline.store import Store, StoreError

AHEAD_DAYS = 182


@says_why
def calendar(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The .ics file.")],
    activity: Annotated[
        str, typer.Option("--activity", help="What its entries are: singles, doubles, drills, rally, sparring, closed.")
    ],
    squad: Annotated[str | None, typer.Option("--squad", help="For which squad.")] = None,
    player: Annotated[str | None, typer.Option("--player", metavar="ID", help="For which player.")] = None,
    minutes: Annotated[
        int | None, typer.Option("--minutes", min=1, max=1440, help="Minutes a day where an entry has no times.")
    ] = None,
    fresh: Annotated[
        int | None, typer.Option("--fresh-rackets", min=0, max=12, help="Fresh rackets each player needs for a match.")
    ] = None,
    from_on: Annotated[
        date | None, typer.Option("--from", metavar="DATE", parser=as_day, help="From this day; else from today.")
    ] = None,
    until: Annotated[
        date | None, typer.Option("--until", metavar="DATE", parser=as_day, help="Up to this day; else half a year.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show the rows; write nothing.")] = False,
    store: StoreOption = DEFAULT_STORE,
    csv: CsvOption = False,
) -> None:
    """Fill the club's calendar from an .ics file, with its repeated entries and time zones."""
    import pandas as pd

    from pipeline.fleet.prints.calendar_in import calendar_rows

    club = Store(store)
    zone = club.settings.time_zone
    if squad is not None:
        must_know_squad(club, squad)
    first_on = from_on or datetime.now(ZoneInfo(zone)).date()
    try:
        ics = file.read_bytes()
    except OSError as error:
        raise StoreError(f"{file} cannot be read: {error.strerror or error}.") from error
    found = calendar_rows(
        ics, first_on, until or first_on + timedelta(days=AHEAD_DAYS), zone, activity, squad, player, fresh, minutes
    )
    for note in found.notes:
        output.say(note)
    if not found.rows:
        raise StoreError(f"{file} has no entry in that time: choose other days with --from and --until.")
    if not look:
        report = club.enter({"calendar": found.rows}, now=datetime.now(UTC))
        refresh_view(club)
        output.say(
            f"New {report.total('new')}, corrected {report.total('corrected')}, as before {report.total('unchanged')}."
        )
    table = pd.DataFrame(found.rows)[["planned_on", "until_on", "squad", "player_id", "activity", "event", "minutes"]]
    output.print_frame(table, is_csv=csv)
