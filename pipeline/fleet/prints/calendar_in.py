"""Rows of calendar.csv from an iCalendar file (RFC 5545), with recurrences and time zones.

In: the bytes of an .ics file, the span of days wanted, the club's time zone, and what the file cannot know: for which
squad or player it is, and which activity its entries are. Out: rows for `Store.enter({"calendar": rows})`, and
sentences on what was left out. Times become the club's own; a repeated entry becomes one row a day it takes place,
exceptions and moved dates as the file has them; an entry over several days keeps its last day. Nothing is guessed:
entries that are cancelled keep their row, marked so.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import recurring_ical_events  # type: ignore[import-untyped]

from pipeline.fleet import words
from pipeline.store import StoreError

MOST_ENTRIES = 3000
MOST_BYTES = 5_000_000
MATCHES = ("singles", "doubles")
TOO_OFTEN = {"SECONDLY": "second", "MINUTELY": "minute", "HOURLY": "hour"}


@dataclass(frozen=True)
class CalendarRows:
    """rows: of calendar.csv. notes: sentences on what was left out or changed."""

    rows: list[dict[str, object]]
    notes: tuple[str, ...]


def calendar_rows(
    ics: bytes,
    first_on: date,
    last_on: date,
    time_zone: str,
    activity: str,
    squad: str | None = None,
    player_id: str | None = None,
    fresh_rackets: int | None = None,
    day_minutes: float | None = None,
) -> CalendarRows:
    """Every entry that takes place from first_on to last_on, in the club's own time.

    day_minutes: minutes a day of play for each player where the file gives no times of one day.
    """
    if squad is None and player_id is None and activity != "closed":
        raise StoreError("say for whom the calendar is: a squad, or a player.")
    if not first_on <= last_on <= first_on + timedelta(days=800):
        raise StoreError(f"the calendar is taken for at most 800 days ahead; {first_on} to {last_on} were asked for.")
    calendar = _read(ics)
    zone = ZoneInfo(time_zone)
    try:
        found = recurring_ical_events.of(calendar).between(first_on, last_on + timedelta(days=1))
    except (ValueError, KeyError, TypeError, OverflowError) as error:
        raise StoreError(
            f"the .ics file repeats an entry in a way that cannot be read ({error}): export it anew."
        ) from error
    if len(found) > MOST_ENTRIES:
        raise StoreError(
            f"the .ics file has {len(found)} entries in that time, and {MOST_ENTRIES} is the most: choose a shorter "
            "time."
        )
    rows: dict[tuple[object, ...], dict[str, object]] = {}
    doubles, floating = 0, 0
    for entry in found:
        start, end = entry.decoded("DTSTART"), _end(entry)
        floating += isinstance(start, datetime) and start.tzinfo is None
        row = _row(entry, _local(start, zone), _local(end, zone), activity, squad, player_id, fresh_rackets)
        day = row["planned_on"]
        the_day = day.date() if isinstance(day, datetime) else day
        if not (isinstance(the_day, date) and the_day <= last_on):
            continue
        key = (row["planned_on"], row["event"])
        doubles += key in rows
        rows[key] = row
    notes = []
    without = [row for row in rows.values() if row["minutes"] is None and activity != "closed"]
    if without and day_minutes is None:
        has = words.verb(len(without), "has", "have")
        raise StoreError(
            f"{_entries(len(without))} of the file, such as {without[0]['event']}, {has} no times of day: say how many "
            "minutes a day each player plays then."
        )
    for row in without:
        row["minutes"] = day_minutes
    if doubles:
        are = words.verb(doubles, "is", "are")
        notes.append(f"{_entries(doubles)} stood twice at the same time and {are} taken once.")
    if floating:
        notes.append(f"{_entries(floating)} had no time zone: taken as the club's own time.")
    others = sum(part.name in ("VTODO", "VJOURNAL") for part in calendar.walk())
    if others:
        left = words.count(others, "task or note", "tasks or notes")
        notes.append(f"{left} of the file {words.verb(others, 'is', 'are')} left out.")
    ordered = sorted(rows.values(), key=lambda row: (str(row["planned_on"]), str(row["event"])))
    return CalendarRows(ordered, tuple(notes))


def _title(entry: Any) -> str:
    return " ".join(str(entry.get("SUMMARY", "")).split())[:120] or "entry without a title"


def _entries(number: int) -> str:
    return words.count(number, "entry", "entries")


def _read(ics: bytes) -> icalendar.Calendar:
    if len(ics) > MOST_BYTES:
        raise StoreError(f"the .ics file is larger than {MOST_BYTES // 1_000_000} MB: export a shorter time.")
    try:
        calendar = icalendar.Calendar.from_ical(ics)
    except (ValueError, IndexError, KeyError) as error:
        raise StoreError(f"the file is no calendar that can be read ({error}): export it as .ics anew.") from error
    for entry in calendar.walk("VEVENT"):
        rules = entry.get("RRULE", [])
        for rule in rules if isinstance(rules, list) else [rules]:
            often = str((rule.get("FREQ") or [""])[0]).upper()
            if often in TOO_OFTEN:
                raise StoreError(
                    f"the .ics file repeats {_title(entry)} every {TOO_OFTEN[often]}, which no practice does: mend "
                    "that entry in the calendar, and export it anew."
                )
    if not isinstance(calendar, icalendar.Calendar) or not list(calendar.walk("VEVENT")):
        raise StoreError("the .ics file holds no entry: choose the calendar with the events, and export it anew.")
    return calendar


def _end(entry: Any) -> date | datetime:
    """The last moment of an entry: DTEND is exclusive, and a day without one is that day."""
    start = entry.decoded("DTSTART")
    if "DTEND" in entry:
        end = entry.decoded("DTEND")
    elif "DURATION" in entry:
        end = start + entry.decoded("DURATION")
    else:
        return start
    if isinstance(end, datetime):
        return end
    return max(end - timedelta(days=1), start)


def _local(moment: date | datetime, zone: ZoneInfo) -> date | datetime:
    if not isinstance(moment, datetime):
        return moment
    aware = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    return aware.astimezone(zone).replace(tzinfo=None, second=0, microsecond=0)


def _row(
    entry: Any,
    start: date | datetime,
    end: date | datetime,
    activity: str,
    squad: str | None,
    player_id: str | None,
    fresh_rackets: int | None,
) -> dict[str, object]:
    first_day = start.date() if isinstance(start, datetime) else start
    last_day = end.date() if isinstance(end, datetime) else end
    minutes: float | None = None
    if isinstance(start, datetime) and isinstance(end, datetime):
        if end > start and end.time() == datetime.min.time():
            last_day = (end - timedelta(minutes=1)).date()  # until midnight is until the day before
        if last_day == first_day:
            minutes = (end - start).total_seconds() / 60.0
    return {
        "planned_on": start,
        "squad": squad,
        "player_id": player_id,
        "activity": activity,
        "event": _title(entry),
        "until_on": last_day if last_day > first_day else None,
        "minutes": minutes if minutes else None,
        "fresh_rackets": fresh_rackets if activity in MATCHES else None,
        "cancelled": "yes" if str(entry.get("STATUS", "")).upper() == "CANCELLED" else "no",
    }
