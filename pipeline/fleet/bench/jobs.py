"""The jobs a bench plan has to place: tickets that are open, and rackets that are likely to come.

In: a BenchSource, the plan's days. Out: one row a job with its window and its weight, and the walk-ins: jobs of the
forecast that no row stands for, by week. Days as dates.

- ticket: a row of jobs.csv that is not strung yet. The racket is here. Due on its own day, or so many days before the
  player's next match as the club wants (club.toml), whichever is first.
- forecast: a racket in play whose strings are more likely than not to end within the plan, or before or during the
  player's next match. Due on the likely day, or ready for that match. Free when its player is not away at an event.
- policy: a squad that restrings every so many days, or before events.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.bench.source import BenchSource
from pipeline.fleet.bench_minutes import kind_of_bed
from pipeline.fleet.tickets.setup import setups_in_force
from pipeline.store.settings import ClubSettings

TICKET, FORECAST, POLICY = "ticket", "forecast", "policy"
USUAL_TURNAROUND_DAYS = 3  # a ticket without a day and without a match ahead; common practice
FRESH_DAYS = 7  # strung so shortly before a match counts as fresh for it; assumption
JOB_COLUMNS = (
    "source", "job_id", "state", "racket_id", "player_id", "player_name", "squad", "role", "due_on", "due_for",
    "is_for_event", "free_on", "ends_on", "life_a_day", "chance", "mains_string_id", "crosses_string_id", "mains_kg",
    "crosses_kg", "bed_kind", "booked_stringer",
)  # fmt: skip


@dataclass(frozen=True)
class BenchJobs:
    """rows: JOB_COLUMNS, one a racket. walk_ins: (weeks,) jobs expected besides. notes: sentences on what was odd."""

    rows: pd.DataFrame
    walk_ins: np.ndarray
    notes: tuple[str, ...]


def bench_jobs(s: BenchSource, settings: ClubSettings, days: tuple[date, ...]) -> BenchJobs:
    """Every job that the plan has to place."""
    first_on, last_on = days[0], days[-1]
    rackets = _rackets(s, days)
    tickets, notes = _open_tickets(s, first_on)
    rows: list[dict[Any, Any]] = []
    held = _on_hold(s)
    for racket in rackets.to_dict("records"):
        ticket = tickets.get(racket["racket_id"])
        if racket["racket_id"] in held:
            if ticket:
                notes.append(
                    f"{racket['racket_id']} (ticket {ticket['job_id']}) has no place in the plan: the inspection of "
                    f"{words.day(held[racket['racket_id']])} says not to string it."
                )
            continue
        job = _of_ticket(racket, ticket, settings) if ticket else _of_forecast(racket, settings, first_on, last_on)
        if job is not None:
            rows.append(racket | job)
    known = set(rackets["racket_id"])
    notes += [
        f"{racket_id} has an open ticket, {ticket['job_id']}, and is not in service: it is left out of the plan."
        for racket_id, ticket in tickets.items()
        if racket_id not in known
    ]
    frame = pd.DataFrame(rows, columns=list(JOB_COLUMNS))
    return BenchJobs(frame, _walk_ins(s, frame, days), tuple(notes))


def _rackets(s: BenchSource, days: tuple[date, ...]) -> pd.DataFrame:
    """Rackets in service with ranking, set-up, kind of bed, the next match and the days the player is away."""
    keep = [
        "racket_id", "player_id", "player_name", "squad", "role", "status", "strung_on", "days_left_p50", "p_end",
    ]  # fmt: skip
    frame = s.ranking[keep].merge(setups_in_force(s.con, s.as_of), on="racket_id", how="left")
    material = dict(s.con.execute("select string_id, material from facts.strings").fetchall())
    frame["bed_kind"] = [
        kind_of_bed(words.text_or_none(m), words.text_or_none(c), material.get(m), material.get(c))
        for m, c in zip(frame["mains_string_id"], frame["crosses_string_id"], strict=True)
    ]
    ahead = s.con.execute(
        """
        select player_id, coalesce(event, activity) as event, day, planned_on,
               coalesce(until_on, planned_on) as until_on
        from calendar_days
        where day >= $first and not is_closed
          and (activity in ('singles', 'doubles') or coalesce(fresh_rackets, 0) > 0)
        order by player_id, day
        """,
        {"first": days[0]},
    ).df()
    nearest = ahead.drop_duplicates("player_id").rename(columns={"event": "match", "planned_on": "match_on"})
    frame = frame.merge(nearest[["player_id", "match", "match_on", "until_on"]], on="player_id", how="left")
    for column in ("match_on", "until_on", "strung_on"):
        frame[column] = [None if pd.isna(v) else pd.Timestamp(v).date() for v in frame[column]]
    # away: the match has begun before the plan's first day, or on it; the racket is back the day after it ends
    frame["free_on"] = [
        until + timedelta(days=1) if start is not None and start < days[0] <= until else days[0]
        for start, until in zip(frame["match_on"], frame["until_on"], strict=True)
    ]
    frame["source"] = frame["job_id"] = frame["state"] = frame["booked_stringer"] = None
    return frame


def _open_tickets(s: BenchSource, first_on: date) -> tuple[dict[str, dict[Any, Any]], list[str]]:
    """The open ticket of each racket, the oldest where there are several, which is said."""
    found = s.con.execute(
        """
        select j.job_id, j.racket_id, j.handed_in_on, j.due_on, j.state, j.stringer
        from facts.jobs as j
        where j.state in ('due', 'booked', 'on_bench') and j.handed_in_on <= $day
          and not exists (
              select 1 from restrings_clean as r
              where r.racket_id = j.racket_id
                and (r.restring_id = j.restring_id or (j.restring_id is null and r.strung_on > j.handed_in_on)))
        order by j.racket_id, j.handed_in_on, j.job_id
        """,
        {"day": max(first_on, s.as_of)},
    ).df()
    tickets: dict[str, dict[Any, Any]] = {}
    notes = []
    for row in found.to_dict("records"):
        earlier = tickets.setdefault(row["racket_id"], row)
        if earlier is not row:
            notes.append(
                f"{row['racket_id']} is booked twice, by tickets {earlier['job_id']} and {row['job_id']}: it is "
                "planned once; hand one ticket back, or strike it."
            )
    return tickets, notes


def _on_hold(s: BenchSource) -> dict[str, date]:
    """Rackets whose last inspection of the frame says not to string them, with its day."""
    return dict(
        s.con.execute(
            "select racket_id, max(inspected_on) from facts.inspections "
            "where frame is not null and inspected_on <= $day "
            "group by racket_id having arg_max(frame, (inspected_on, line_number)) = 'do_not_string'",
            {"day": s.as_of},
        ).fetchall()
    )


def _of_ticket(racket: dict[Any, Any], ticket: dict[Any, Any], settings: ClubSettings) -> dict[Any, Any]:
    handed_in = pd.Timestamp(ticket["handed_in_on"]).date()
    due = None if pd.isna(ticket["due_on"]) else pd.Timestamp(ticket["due_on"]).date()
    ready_on = _ready_on(racket, settings)
    for_match = ready_on is not None and ready_on >= handed_in and (due is None or ready_on <= due)
    if for_match:
        due = ready_on
    return {
        "source": TICKET,
        "job_id": ticket["job_id"],
        "state": ticket["state"],
        "due_on": due or handed_in + timedelta(days=USUAL_TURNAROUND_DAYS),
        "due_for": racket["match"] if for_match else "the ticket's day" if due else "three days after it was handed in",
        "is_for_event": for_match,
        "free_on": handed_in,
        "ends_on": handed_in,
        "life_a_day": 0.0,
        "chance": 1.0,
        "booked_stringer": words.text_or_none(ticket["stringer"]),
    }


def _of_forecast(
    racket: dict[Any, Any], settings: ClubSettings, first_on: date, last_on: date
) -> dict[Any, Any] | None:
    """A racket without a ticket: broken and not handed in, likely to end in the plan, or asked for by the policy."""
    if racket["status"] == "broken":
        ready_on = _ready_on(racket, settings)
        return {
            "source": FORECAST,
            "due_on": min(first_on + timedelta(days=1), ready_on) if ready_on else first_on + timedelta(days=1),
            "due_for": racket["match"] if ready_on else "broken, not handed in",
            "is_for_event": ready_on is not None,
            "ends_on": first_on,
            "life_a_day": 0.0,
            "chance": 1.0,
        }
    if racket["status"] != "in_play" or pd.isna(racket["days_left_p50"]) or racket["strung_on"] is None:
        return None
    days_left = float(racket["days_left_p50"])
    ends_on = first_on + timedelta(days=min(math.ceil(days_left), 3650))
    # before the plan's first day its strings cannot be cut out: nothing is wasted there
    life_days = max((first_on - racket["strung_on"]).days + days_left, 1.0)
    job: dict[Any, Any] = {
        "source": FORECAST,
        "ends_on": ends_on,
        "life_a_day": 1.0 / life_days,
        "chance": float(np.clip(racket["p_end"], 0.05, 1.0)),
    }
    ready_on = _ready_on(racket, settings)
    is_before_match = ready_on is not None and ends_on <= racket["until_on"] and ready_on >= first_on
    if is_before_match and ready_on is not None and ready_on <= last_on:
        return job | {"due_on": min(ends_on, ready_on), "due_for": racket["match"], "is_for_event": ready_on <= ends_on}
    if ends_on <= last_on:
        return job | {"due_on": ends_on, "due_for": "its strings are likely to end", "is_for_event": False}
    return _of_policy(racket, settings, job, first_on, last_on)


def _of_policy(
    racket: dict[Any, Any], settings: ClubSettings, job: dict[Any, Any], first_on: date, last_on: date
) -> dict[Any, Any] | None:
    policy = settings.policy_of(words.text_or_none(racket["squad"]))
    ready_on = _ready_on(racket, settings)
    is_before_events = policy == "before_events" and racket["role"] == "match"
    if is_before_events and ready_on is not None and first_on <= ready_on <= last_on:
        if (ready_on - racket["strung_on"]).days <= FRESH_DAYS:
            return None
        asked = {"due_on": ready_on, "due_for": racket["match"], "is_for_event": True}
        return job | asked | {"source": POLICY, "chance": 1.0, "ends_on": ready_on}
    if policy.startswith("every_"):
        due = racket["strung_on"] + timedelta(days=int(policy.split("_")[1]))
        if due <= last_on:
            due = max(due, first_on)
            asked = {"due_on": due, "due_for": "the squad's turn", "is_for_event": False}
            return job | asked | {"source": POLICY, "chance": 1.0, "ends_on": due}
    return None


def _ready_on(racket: dict[Any, Any], settings: ClubSettings) -> date | None:
    """The last day on which it can be strung to be ready for the player's next match."""
    if racket["match_on"] is None:
        return None
    return racket["match_on"] - timedelta(days=settings.ready_days_before_match)


def _walk_ins(s: BenchSource, jobs: pd.DataFrame, days: tuple[date, ...]) -> np.ndarray:
    """(weeks,) what the forecast expects beyond the jobs that have a row, counted in the week each is due."""
    weeks = math.ceil(len(days) / 7)
    expected = np.add.reduceat(s.jobs_a_day(days[0], len(days)), np.arange(0, len(days), 7))
    for due_on, source in zip(jobs["due_on"], jobs["source"], strict=True):
        week = 0 if source == TICKET else min(max((due_on - days[0]).days, 0) // 7, weeks - 1)
        expected[week] -= 1.0
    return np.maximum(expected, 0.0)
