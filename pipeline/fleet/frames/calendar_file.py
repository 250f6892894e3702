"""What the page Records shows of an iCalendar file before it is taken in: whose it is, what its entries are, the rows.

In: the bytes of an .ics file, the choices of the form, today, the club's time zone. Out: a `CalendarLook`: a sentence,
a table to read through, and the rows of calendar.csv that would be written. Minutes are a day's, times the club's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from pipeline.contract import load_contract
from pipeline.fleet import words
from pipeline.fleet.frames.forms import Known

AHEAD_DAYS = 182  # half a year, as the command takes
CLOSED = "closed"
SQUAD, PLAYER = "squad:", "player:"


@dataclass(frozen=True)
class CalendarChoice:
    """The form as filled in. whose: a key of `whose_calendar`; minutes: a day, where an entry gives no times."""

    activity: str
    whose: str | None
    minutes: int | None = None
    fresh_rackets: int | None = None


@dataclass(frozen=True)
class CalendarLook:
    """A file before it is taken in. rows: of calendar.csv."""

    sentence: str
    table: pd.DataFrame
    rows: list[dict[str, object]]
    notes: tuple[str, ...]


def calendar_activities() -> dict[str, str]:
    """What the entries of a calendar can be: value of the contract -> words."""
    fields = load_contract().resources["calendar"].fields
    (choices,) = (field.choices for field in fields if field.name == "activity")
    return {name: words.from_code(name) for name in choices}


def whose_calendar(known: Known) -> dict[str, str]:
    """For whom a calendar can be: squads first, then players."""
    squads = {f"{SQUAD}{name}": f"Squad {name}" for name in known.squads}
    return squads | {f"{PLAYER}{player}": name for player, name in known.players.items()}


def calendar_look(ics: bytes, choice: CalendarChoice, today: date, time_zone: str) -> CalendarLook:
    """The rows of the coming half year; raises StoreError with a sentence where the file cannot be taken."""
    from pipeline.fleet.prints.calendar_in import calendar_rows  # slow to import, and seldom asked for

    whose = choice.whose or ""
    found = calendar_rows(
        ics, today, today + timedelta(days=AHEAD_DAYS), time_zone, choice.activity,
        squad=whose.removeprefix(SQUAD) if whose.startswith(SQUAD) else None,
        player_id=whose.removeprefix(PLAYER) if whose.startswith(PLAYER) else None,
        fresh_rackets=choice.fresh_rackets, day_minutes=choice.minutes,
    )  # fmt: skip
    rows = found.rows
    if not rows:
        until = words.day_with_year(today + timedelta(days=AHEAD_DAYS))
        return CalendarLook(f"The file has no entry from today to {until}.", _table(rows), rows, found.notes)
    first, last = (words.day_with_year(row["planned_on"]) for row in (rows[0], rows[-1]))
    text = f"{words.count(len(rows), 'entry', 'entries')} of the coming half year, {first} to {last}."
    return CalendarLook(text, _table(rows), rows, found.notes)


def _table(rows: list[dict[str, object]]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Day": [words.as_date(row["planned_on"]) for row in rows],
            "Entry": [_event(row) for row in rows],
            "Until": [words.as_date(row["until_on"]) for row in rows],
            "Minutes a day": pd.Series([row["minutes"] for row in rows], dtype="Float64").round().astype("Int64"),
        }
    )


def _event(row: Mapping[str, object]) -> str:
    cancelled = ", cancelled" if row.get("cancelled") in (True, "yes") else ""
    return f"{row['event']}{cancelled}"
