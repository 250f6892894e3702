"""A bench plan from a few jobs and hours written by hand."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from pipeline.fleet.bench.hours import BenchHours
from pipeline.fleet.bench.jobs import JOB_COLUMNS, BenchJobs
from pipeline.fleet.bench.plan import BenchPlan, plan_of
from pipeline.fleet.bench_minutes import BenchTimes

MONDAY = date(2026, 3, 2)
THIRTY = BenchTimes({"full": 30.0, "hybrid": 35.0, "natural_gut": 40.0}, {}, {})
TICKET: dict[str, Any] = {
    "source": "ticket", "job_id": "T1", "state": "booked", "racket_id": "R1", "player_id": "P1",
    "player_name": "Ana Reed", "squad": "U16", "role": "match", "due_on": MONDAY,
    "due_for": "the ticket's day", "is_for_event": False,
    "free_on": MONDAY, "ends_on": MONDAY, "life_a_day": 0.0, "chance": 1.0, "mains_string_id": "S1",
    "crosses_string_id": "S1", "mains_kg": 24.0, "crosses_kg": 23.5, "bed_kind": "full", "booked_stringer": None,
}  # fmt: skip


def day(number: int) -> date:
    """So many days after the plan's first, a Monday."""
    return MONDAY + timedelta(days=number)


def tickets_due(*due: int, **change: Any) -> list[dict[str, Any]]:
    """Tickets of different players, due so many days after Monday."""
    return [
        TICKET | {"job_id": f"T{k}", "racket_id": f"R{k}", "player_id": f"P{k}", "player_name": f"Player {k}"}
        | {"due_on": day(number)} | change
        for k, number in enumerate(due, start=1)
    ]  # fmt: skip


def made(
    jobs: list[dict[str, Any]], hours: dict[str, list[float]], walk_ins: tuple[float, ...] = (0.0,), **asked: Any
) -> BenchPlan:
    """The plan of these jobs; hours by stringer, one number a day of a week."""
    days = tuple(day(k) for k in range(len(next(iter(hours.values())))))
    minutes = np.array(list(hours.values()), dtype=float)
    bench = BenchHours(tuple(hours), days, minutes, np.ones(minutes.shape, dtype=bool))
    rows = pd.DataFrame(jobs, columns=list(JOB_COLUMNS))
    return plan_of(BenchJobs(rows, np.array(walk_ins), ()), bench, THIRTY, day(-1), 30.0, **asked)
