"""The bench plan and the club's events as iCalendar (RFC 5545), for any calendar program.

In: a BenchPlan, the events ahead, the club's name and time zone, the instant of writing. Out: the text of an .ics file.
The plan has no times of day, so a day's work is an all-day entry, marked as free time; events too. Every entry keeps
its UID from one file to the next, so that a calendar that reads it again brings it up to date instead of doubling it.
"""

from __future__ import annotations

import hashlib
from datetime import date, datetime, timedelta
from typing import Any

import pandas as pd
from icalendar import Calendar, Event

from pipeline.fleet import words
from pipeline.fleet.bench.plan import BenchPlan

PRODUCT = "-//racket-fleet//bench and events//EN"


def bench_calendar(plan: BenchPlan, club_name: str, now: datetime, unit: str = "kg") -> bytes:
    """One entry a day and stringer with work: how many jobs, and which in which order."""
    calendar = _calendar(f"{club_name}: bench")
    placed = plan.jobs[plan.jobs["day"].notna()]
    for key, mine in placed.groupby(["day", "stringer"], sort=True):
        day: Any
        day, stringer = key
        lines = [
            f"{row['order']}. {row['racket_id']} {'' if words.is_missing(row['player_name']) else row['player_name']} "
            f"{words.tension(row['mains_kg'], row['crosses_kg'], unit)}".replace("  ", " ")
            for row in mine.sort_values("order").to_dict("records")
        ]
        title = f"Bench: {words.count(len(mine), 'job')} ({stringer}), about {mine['minutes'].sum():.0f} min"
        calendar.add_component(_all_day(f"bench {stringer} {day}", title, day, day, "\n".join(lines), now))
    return bytes(calendar.to_ical())


def events_calendar(events: pd.DataFrame, club_name: str, now: datetime) -> bytes:
    """events: event, planned_on, until_on, squad, player_id, place. One entry an event and who goes."""
    calendar = _calendar(f"{club_name}: events")
    for row in events.to_dict("records"):
        first = words.as_date(row["planned_on"])
        if first is None:
            continue
        last = words.as_date(row["until_on"]) or first
        who = [str(row[name]) for name in ("squad", "player_id") if not words.is_missing(row.get(name))]
        place = "" if words.is_missing(row.get("place")) else str(row["place"])
        key = f"event {row['event']} {first} {' '.join(who)}"
        title = f"{row['event']} ({', '.join(who)})" if who else str(row["event"])
        calendar.add_component(_all_day(key, title, first, max(last, first), place, now))
    return bytes(calendar.to_ical())


def _calendar(name: str) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", name)
    return calendar


def _all_day(key: str, title: str, first: date, last: date, text: str, now: datetime) -> Event:
    entry: Any = Event()
    entry.add("uid", f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@racket-fleet")
    entry.add("dtstamp", now)
    entry.add("summary", title)
    entry.add("dtstart", first)
    entry.add("dtend", last + timedelta(days=1))  # exclusive, as the standard has it for days
    entry.add("transp", "TRANSPARENT")
    if text:
        entry.add("description", text)
    return entry
