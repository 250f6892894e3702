"""The limits on dates: fixed numbers that every date column is held against. Assumptions of this project."""

from __future__ import annotations

from datetime import date, timedelta

EARLIEST_DAY = date(1970, 1, 1)
"""No record of a club that uses this is older; 1899 and 1900 are what spreadsheets make of an empty cell."""

RECORDED_DAYS_AHEAD = 2
"""What has happened may be dated this many days after the day of loading: clocks and time zones differ."""

PLANNED_DAYS_AHEAD = 3 * 366
"""What is planned may lie this many days ahead of the day of loading."""


def latest_day(dates: str, load_day: date) -> date:
    """The last day a column may hold: `dates` is recorded or planned, `load_day` the club's day of loading."""
    ahead = RECORDED_DAYS_AHEAD if dates == "recorded" else PLANNED_DAYS_AHEAD
    return load_day + timedelta(days=ahead)
