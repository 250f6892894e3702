"""The smallest mends of a plan in which something is late: extra minutes on which day, or which jobs to send out.

In: the plan's BenchProblem and each job's last good day. Out: Mends, each worked out by the same program with another
question: no job later than it must be, at the fewest extra minutes; or at the fewest jobs given to another workshop.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.fleet.bench.problem import NOT_PLACED, BenchProblem, used_minutes
from pipeline.fleet.bench.solving import solve

MEND_SECONDS = 4.0
# minutes on top of a day, the smallest step first that is enough; more than six hours nobody stays: assumption
EXTRA_STEPS_MINUTES = (60.0, 120.0, 360.0)
HOPELESS = 1e5


@dataclass(frozen=True)
class Mends:
    """extra: (stringers, days) minutes on top of the hours that make everything ready in time, or None where no such
    minutes do. sent_out: numbers of the jobs which, strung elsewhere, leave the rest in time. too_long: those longer
    than any day there is.
    """

    extra: np.ndarray | None
    sent_out: tuple[int, ...]
    too_long: tuple[int, ...]


def mends(problem: BenchProblem, last_good: np.ndarray, weight: np.ndarray, seconds: float = MEND_SECONDS) -> Mends:
    """last_good: (jobs,) the latest day, from 0, on which each is not later than it must be (its due day, or the first
    day it can be done, where that is later); at or beyond the last day: any day. weight: (jobs,) how much each matters.
    """
    days = np.arange(problem.cost.shape[1])
    longest = problem.room.max() if problem.room.size else 0.0
    too_long = tuple(int(j) for j in np.flatnonzero(problem.minutes.min(axis=1) > longest + 1e-9))
    in_time = np.where((days[None, :] <= last_good[:, None]) & np.isfinite(problem.cost), 0.0, np.inf)
    # extra minutes only where a stringer is there anyway; where nobody has hours, on any day
    is_there = problem.room > 0
    can_stay = is_there if is_there.any() else np.ones(problem.room.shape, dtype=bool)
    asked = replace(
        problem, cost=in_time, not_placed_cost=np.full(len(weight), HOPELESS), kept_cost=1e-3,
        kept=np.zeros(problem.hours.shape) if problem.kept is None else problem.kept,
        overtime=np.zeros(problem.hours.shape), overtime_cost=1.0,
    )  # fmt: skip
    extra: np.ndarray | None = None
    for step in EXTRA_STEPS_MINUTES if problem.hours.size else ():
        found = solve(replace(asked, overtime=np.where(can_stay, step, 0.0)), seconds)
        if (found.day != NOT_PLACED).all():
            used = used_minutes(asked, found.day, found.stringer)
            extra = np.maximum(used - asked.hours - (asked.kept if asked.kept is not None else 0.0), 0.0)
            break
    least = 1.0 + 0.001 * weight / max(float(weight.max()) if len(weight) else 1.0, 1e-9)
    out = solve(replace(problem, cost=in_time, not_placed_cost=least, kept_cost=0.0, overtime_cost=0.0), seconds)
    return Mends(extra, tuple(int(j) for j in np.flatnonzero(out.day == NOT_PLACED)), too_long)
