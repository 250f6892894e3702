"""A ticket's way: due, booked, on the bench, strung, handed back. Each step is one entry, which can be undone.

In: a Store, the ticket, who does it and on which day. Out: the store's report of the entry. Strung writes the restring
in the same entry, with the metres it took, so that stock follows. A step that makes no sense, a second booking of one
racket, a frame that must not be strung and a pull above the frame's window (unless confirmed) are refused in one
sentence. Instants are the club's own time, without a zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.fleet.tickets.cautions import ASK, STOP, cautions
from pipeline.fleet.tickets.frame import OPEN, STATE_WORDS, tickets
from pipeline.fleet.words import count, is_missing, join_words, verb
from pipeline.store import Store, StoreError
from pipeline.store.entering import FreshId
from pipeline.store.people import LOCAL, Person
from pipeline.store.report import LoadReport

NEXT = {
    "due": ("booked", "on_bench", "handed_back"),
    "booked": ("on_bench", "handed_back"),
    "on_bench": ("booked", "handed_back"),
    "strung": ("handed_back",),
    "handed_back": (),
}
SHORTEST_MINUTES, LONGEST_MINUTES = 8, 120  # on the bench for less or more is no time at the machine


class ConfirmError(StoreError):
    """Refused unless somebody confirms it: the text says what, and why."""


@dataclass(frozen=True)
class Strung:
    """What was done at the machine, where it differs from the ticket: missing values are as the ticket says."""

    mains_string_id: str | None = None
    crosses_string_id: str | None = None
    mains_kg: float | None = None
    crosses_kg: float | None = None
    mains_m: float | None = None
    crosses_m: float | None = None
    minutes: float | None = None
    pieces: int | None = None
    string_from: str = "club"
    is_confirmed: bool = False


def book(
    store: Store,
    racket_ids: Sequence[str],
    by: Person = LOCAL,
    now: datetime | None = None,
    on: date | None = None,
    due_on: date | None = None,
    reason: str | None = None,
) -> LoadReport:
    """Book rackets on the bench: they are handed in on that day (default: the club's day now), all or none.

    reason: why they are handed in; without one a racket whose strings are known to be broken is handed in as broken,
    any other as scheduled.
    """
    asked = list(dict.fromkeys(racket_ids))
    if not asked:
        raise StoreError("no racket was chosen: tick at least one.")
    at = _at(store, now, on)
    with store.facts() as con:
        known = {row[0] for row in con.execute("select racket_id from facts.rackets").fetchall()}
        open_now = con.execute(
            "select racket_id, min(job_id) from facts.jobs where state in ('due', 'booked', 'on_bench') group by 1"
        )
        taken = dict(open_now.fetchall())
        prefix = id_prefix(con, "jobs", "T")
        broken = _known_broken(con)
    unknown = [racket for racket in asked if racket not in known]
    if unknown:
        raise StoreError(f"{join_words(unknown)} {verb(len(unknown), 'is', 'are')} not in rackets.csv: load it first.")
    double = [f"{racket} (ticket {taken[racket]})" for racket in asked if racket in taken]
    if double:
        are, them = verb(len(double), "is", "are"), verb(len(double), "it", "them")
        raise StoreError(f"{join_words(double)} {are} booked already, and nothing was booked: untick {them}.")
    rows = [
        {
            "job_id": FreshId("jobs", prefix),
            "racket_id": racket,
            "handed_in_on": at.date(),
            "reason": reason or ("broke" if racket in broken else "scheduled"),
            "due_on": due_on,
            "state": "booked",
            "state_on": at,
        }
        for racket in asked
    ]
    return store.enter({"jobs": rows}, by=by, now=now, load_day=at.date())


def move(
    store: Store,
    job_id: str,
    state: str,
    by: Person = LOCAL,
    now: datetime | None = None,
    on: date | None = None,
    stringer: str | None = None,
) -> LoadReport:
    """Take a ticket to another state (not to strung: that is `strung`). stringer: who does it."""
    at = _at(store, now, on)
    ticket = _ticket(store, job_id, at.date())
    if state == "strung" or state not in NEXT:
        raise StoreError(f"ticket {job_id} cannot be put to {state}: say what was strung instead.")
    if state not in NEXT[ticket["state"]]:
        raise StoreError(
            f"ticket {job_id} of {ticket['racket_id']} is {STATE_WORDS[ticket['state']]} and cannot become "
            f"{STATE_WORDS[state]}: look at the page again."
        )
    if state == "on_bench" and ticket["stop"]:
        raise StoreError(ticket["stop"])
    row: dict[str, object] = {"job_id": job_id, "state": state, "state_on": at}
    if stringer:
        row["stringer"] = stringer
    return store.enter({"jobs": [row]}, by=by, now=now, load_day=at.date())


def strung(
    store: Store,
    job_id: str,
    by: Person = LOCAL,
    now: datetime | None = None,
    on: date | None = None,
    stringer: str | None = None,
    done: Strung | None = None,
) -> LoadReport:
    """Strung: the restring and the ticket's new state in one entry.

    Minutes are those given; else the time since the racket was put on the bench, where that was the same day and 8 to
    120 minutes ago; else none are written down.
    """
    at, what = _at(store, now, on), done or Strung()
    ticket = _ticket(store, job_id, at.date())
    if ticket["state"] not in OPEN:
        raise StoreError(f"ticket {job_id} of {ticket['racket_id']} is {STATE_WORDS[ticket['state']]} already.")
    setup = ticket | {
        name: value
        for name in ("mains_string_id", "crosses_string_id", "mains_kg", "crosses_kg", "mains_m", "crosses_m")
        if (value := getattr(what, name)) is not None
    }
    _must_be_sound(store, setup, job_id, what, at.date())
    with store.facts() as con:
        prefix = id_prefix(con, "restrings", "J")
    restring = FreshId("restrings", prefix)
    who = stringer or _value(ticket, "stringer")
    rows: dict[str, list[dict[str, object]]] = {
        "restrings": [
            {
                "restring_id": restring,
                "racket_id": ticket["racket_id"],
                "strung_on": at,
                "mains_string_id": _value(setup, "mains_string_id"),
                "crosses_string_id": _value(setup, "crosses_string_id"),
                "mains_kg": _rounded(setup, "mains_kg", 2),
                "crosses_kg": _rounded(setup, "crosses_kg", 2),
                "stringer": who,
                "minutes": what.minutes if what.minutes is not None else _minutes_on_bench(ticket, at),
                "reason": _value(ticket, "reason"),
                "strung_at": "here",
                "mains_m": _rounded(setup, "mains_m", 1),
                "crosses_m": _rounded(setup, "crosses_m", 1),
                "pieces": what.pieces,
                "string_from": what.string_from,
            }
        ],
        "jobs": [{"job_id": job_id, "state": "strung", "state_on": at, "stringer": who, "restring_id": restring}],
    }
    return store.enter(rows, by=by, now=now, load_day=at.date())


def _must_be_sound(store: Store, setup: dict[str, Any], job_id: str, what: Strung, on: date) -> None:
    """Refuse a frame on hold, a bed without a string, and a pull above the window that nobody confirmed."""
    unit = store.settings.tension_unit
    found = cautions(setup, unit)
    for caution in found:
        if caution.weight == STOP:
            raise StoreError(caution.text)
        if caution.weight == ASK and not what.is_confirmed:
            raise ConfirmError(caution.text)
    if is_missing(setup["mains_string_id"]):
        raise StoreError(f"no string is on file for {setup['racket_id']}: choose what was strung on ticket {job_id}.")


def id_prefix(con: duckdb.DuckDBPyConnection, resource: str, usual: str) -> str:
    """The letters that most of the club's ids of a file begin with, so that new ones look like the old."""
    column = {"jobs": "job_id", "restrings": "restring_id"}[resource]
    row = con.execute(
        f"select regexp_extract({column}, '^[A-Za-z_-]+') as letters from facts.{resource} "
        "where letters <> '' group by 1 order by count(*) desc, 1 limit 1"
    ).fetchone()
    return str(row[0]) if row else usual


def _known_broken(con: duckdb.DuckDBPyConnection) -> set[str]:
    """Rackets whose strings an inspection saw broken since they were last strung."""
    return {
        row[0]
        for row in con.execute(
            "select distinct i.racket_id from facts.inspections as i where i.broken and i.inspected_on >= coalesce("
            "(select max(r.strung_on) from facts.restrings as r where r.racket_id = i.racket_id), i.inspected_on)"
        ).fetchall()
    }


def _ticket(store: Store, job_id: str, on: date) -> dict[str, Any]:
    with store.facts() as con:
        frame = tickets(con, on, store.settings.tension_unit, job_id)
    if frame.empty:
        raise StoreError(f"there is no ticket {job_id}: look at the page Bench again.")
    return {str(name): value for name, value in frame.iloc[0].to_dict().items()}


def _at(store: Store, now: datetime | None, on: date | None) -> datetime:
    """The club's own time, to the minute; on another day than today, that day at the same time."""
    moment = now or datetime.now(UTC)
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    local = aware.astimezone(ZoneInfo(store.settings.time_zone)).replace(tzinfo=None, second=0, microsecond=0)
    return local if on is None else datetime.combine(on, local.time())


def _minutes_on_bench(ticket: dict[str, Any], at: datetime) -> float | None:
    since = ticket.get("state_on_at")
    if ticket["state"] != "on_bench" or since is None or pd.isna(since):
        return None
    minutes = (at - pd.Timestamp(since).to_pydatetime()).total_seconds() / 60.0
    return round(minutes) if SHORTEST_MINUTES <= minutes <= LONGEST_MINUTES else None


def _value(ticket: dict[str, Any], name: str) -> Any:
    value = ticket.get(name)
    return None if is_missing(value) else value


def _rounded(ticket: dict[str, Any], name: str, digits: int) -> float | None:
    value = _value(ticket, name)
    return None if value is None else round(float(value), digits)


def booked_words(report: LoadReport) -> str:
    """'3 rackets are booked on the bench.'"""
    number = len(report.given_ids)
    return f"{count(number, 'racket')} {verb(number, 'is', 'are')} booked on the bench."
