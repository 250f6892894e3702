"""One planning problem in numbers: jobs, days, stringers, and what each choice costs.

In: arrays. Out: BenchProblem, checked, and Assignment. Minutes at the bench; days counted from 0, the plan's first day;
costs in points that only compare (see `costs.py`). Nothing here knows of rackets or of the club.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NOT_PLACED = -1


@dataclass(frozen=True)
class BenchProblem:
    """minutes: (jobs, stringers) minutes of each job by each stringer; inf: that stringer cannot do it.
    cost: (jobs, days) points for a job strung on a day; inf: it cannot be done that day.
    hours: (stringers, days) minutes there are to fill. kept: (stringers, days) minutes kept free besides, used at
    kept_cost points a minute. overtime: (stringers, days) minutes there may be on top of both, used at overtime_cost,
    not below kept_cost. not_placed_cost: (jobs,) points for a job that finds no place.
    carries_over: a job may be left at a day's end and finished on the next, as in workshops other than ours (a strung
    frame is never left half done). It makes the textbook problems of one machine special cases.
    """

    minutes: np.ndarray
    cost: np.ndarray
    hours: np.ndarray
    not_placed_cost: np.ndarray
    kept: np.ndarray | None = None
    kept_cost: float = 0.0
    overtime: np.ndarray | None = None
    overtime_cost: float = 0.0
    carries_over: bool = False

    def __post_init__(self) -> None:
        jobs, stringers = self.minutes.shape
        days = self.hours.shape[1]
        if self.hours.shape[0] != stringers or self.cost.shape != (jobs, days):
            raise ValueError(
                f"A bench problem needs minutes (jobs, stringers), cost (jobs, days) and hours (stringers, days); "
                f"given were {self.minutes.shape}, {self.cost.shape} and {self.hours.shape}."
            )
        if self.not_placed_cost.shape != (jobs,) or not np.isfinite(self.not_placed_cost).all():
            raise ValueError("Every job needs a finite cost for finding no place, so that none is ever dropped.")
        if np.isnan(self.cost).any() or np.isneginf(self.cost).any() or np.isnan(self.minutes).any():
            raise ValueError("A cost or a time that is not a number: use inf for what cannot be done.")
        if (self.minutes <= 0).any():
            raise ValueError("A job takes more than no minutes: mend the minutes in restrings.csv.")
        if (self.hours < 0).any() or not np.isfinite(self.hours).all():
            raise ValueError("Hours at the bench are finite and not below zero: mend bench.csv.")
        for name, extra in (("Room kept", self.kept), ("Overtime", self.overtime)):
            if extra is not None and (extra.shape != self.hours.shape or not (extra >= 0).all()):
                raise ValueError(f"{name} has the shape of the hours and is not below zero.")
        if not 0 <= self.kept_cost <= self.overtime_cost and self.overtime is not None:
            raise ValueError("A minute of overtime costs at least as much as a minute of the room that is kept.")
        if self.carries_over and (self.kept is not None or self.overtime is not None):
            raise ValueError("Where jobs run over a day's end, hours are plain: no room kept and no overtime.")

    @property
    def extras(self) -> list[tuple[np.ndarray, float]]:
        """Minutes on top of the hours with their cost a minute, the cheapest first."""
        found = [(self.kept, self.kept_cost), (self.overtime, self.overtime_cost)]
        return [(minutes, cost) for minutes, cost in found if minutes is not None]

    @property
    def room(self) -> np.ndarray:
        """(stringers, days) minutes with the room kept and all the overtime there may be."""
        return self.hours + sum((minutes for minutes, _ in self.extras), np.zeros(self.hours.shape))


@dataclass(frozen=True)
class Assignment:
    """day, stringer: (jobs,) where each job goes, NOT_PLACED where it finds no place. cost: points of all of it.
    bound: no plan can cost less; gap: how far the plan may be from the best, as a part of its cost, 0 where it is
    proven best.
    """

    day: np.ndarray
    stringer: np.ndarray
    cost: float
    bound: float
    gap: float
    is_proven: bool


def cost_of(problem: BenchProblem, day: np.ndarray, stringer: np.ndarray) -> float:
    """Points of a plan; inf where it cannot be done: no time, a day or a stringer that is out."""
    placed = day != NOT_PLACED
    total = float(problem.not_placed_cost[~placed].sum())
    if not placed.any():
        return total
    jobs = np.flatnonzero(placed)
    used = used_minutes(problem, day, stringer)
    if problem.carries_over:
        return total + float(problem.cost[jobs, day[jobs]].sum()) if _fits_over_days(problem, used) else float("inf")
    if (used > problem.room + 1e-6).any():
        return float("inf")
    total += float(problem.cost[jobs, day[jobs]].sum())
    above = np.maximum(used - problem.hours, 0.0)
    for minutes, cost in problem.extras:
        taken = np.minimum(above, minutes)
        total += cost * float(taken.sum())
        above = above - taken
    return total


def used_minutes(problem: BenchProblem, day: np.ndarray, stringer: np.ndarray) -> np.ndarray:
    """(stringers, days) minutes that a plan takes."""
    used = np.zeros(problem.hours.shape)
    jobs = np.flatnonzero(day != NOT_PLACED)
    np.add.at(used, (stringer[jobs], day[jobs]), problem.minutes[jobs, stringer[jobs]])
    return used


def _fits_over_days(problem: BenchProblem, used: np.ndarray) -> bool:
    return bool((np.cumsum(used, axis=1) <= np.cumsum(problem.room, axis=1) + 1e-6).all())
