"""What a plan's choices cost, in points that only compare: lateness first, then life wasted, then time over the hours.

Every number here is an assumption, made so that the order holds: one day late outweighs any life that could be wasted
by one job, and a whole bed wasted outweighs an hour of overtime.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fleet.ranking import ROLE_WEIGHT


@dataclass(frozen=True)
class PlanCosts:
    """late_day: a day late of a match racket without an event. event: times as much where an event is what it is due
    for. life: one whole bed's life cut out unused. waiting_day: a day that a racket without live strings
    waits for its turn. kept_minute: a minute of the room kept for walk-ins. overtime_minute:
    a minute over the hours. not_placed_days: a job without a place counts as late until so many days after the plan.
    """

    late_day: float = 100.0
    event: float = 3.0
    life: float = 40.0
    waiting_day: float = 1.0
    kept_minute: float = 0.1
    overtime_minute: float = 0.25
    not_placed_days: int = 7


USUAL = PlanCosts()


def late_weight(role: str | None, is_for_event: bool, chance: float, costs: PlanCosts = USUAL) -> float:
    """Points a day late: by role, by whether an event waits for it, by the chance that the job comes at all."""
    return costs.late_day * ROLE_WEIGHT.get(role or "", 0.6) * (costs.event if is_for_event else 1.0) * chance


def day_costs(
    n_days: int, earliest: int, due: int, weight: float, life_a_day: float, ends: int, costs: PlanCosts = USUAL
) -> tuple[np.ndarray, float]:
    """(n_days,) points of stringing a job on each day, inf before `earliest`; and those of finding no place.

    Days count from the plan's first day and may lie outside it. life_a_day: the part of a bed's life that a day in play
    uses, cut out unused for each day before `ends`, the day the bed is likely to end; 0 where it has ended.
    """
    day = np.arange(n_days)
    points = weight * np.maximum(day - due, 0.0) + costs.life * life_a_day * np.maximum(ends - day, 0.0)
    if life_a_day == 0.0:
        points = points + costs.waiting_day * np.maximum(day - max(earliest, 0), 0.0)
    points = points.astype(float)
    points[day < earliest] = np.inf
    return points, weight * max(n_days + costs.not_placed_days - due, 1.0)
