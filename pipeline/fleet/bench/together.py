"""Among plans of the same cost, one in which a player's rackets are done together, by one stringer on one day.

In: a BenchProblem, its plan, each job's player. Out: a plan that costs no more, with fewer handings over. First jobs
are moved or changed over between days where that costs nothing, then every day's jobs are dealt out anew.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from pipeline.fleet.bench.problem import NOT_PLACED, Assignment, BenchProblem, cost_of

SAME = 1e-9
DEAL_SECONDS = 1.0
MOST_MOVES = 2000  # tries a plan; each is one look at the cost of a plan


def put_together(problem: BenchProblem, plan: Assignment, player: np.ndarray) -> Assignment:
    """The plan with each player's jobs together where that costs nothing. player: (jobs,) numbers, -1 for nobody."""
    day, stringer = plan.day.copy(), plan.stringer.copy()
    _same_day(problem, day, stringer, player)
    for d in np.unique(day[day != NOT_PLACED]):
        _deal(problem, day, stringer, player, int(d))
    cost = cost_of(problem, day, stringer)
    if cost > plan.cost + SAME * max(1.0, abs(plan.cost)):
        return plan
    return Assignment(day, stringer, cost, min(plan.bound, cost), plan.gap, plan.is_proven)


def count_visits(day: np.ndarray, stringer: np.ndarray, player: np.ndarray) -> int:
    """How many times a player has to do with a stringer on a day: the fewer, the more is done together."""
    placed = (day != NOT_PLACED) & (player >= 0)
    return len(set(zip(player[placed].tolist(), stringer[placed].tolist(), day[placed].tolist(), strict=True)))


def _same_day(problem: BenchProblem, day: np.ndarray, stringer: np.ndarray, player: np.ndarray) -> None:
    """Move, or change over with another job, where the cost stays and a player has fewer visits."""
    groups: dict[int, list[int]] = defaultdict(list)
    for place in np.flatnonzero((day != NOT_PLACED) & (player >= 0)):
        groups[int(player[place])].append(int(place))
    cost, visits, tries = cost_of(problem, day, stringer), count_visits(day, stringer, player), 0
    for jobs in groups.values():
        if len(jobs) < 2 or len({int(day[job]) for job in jobs}) < 2:
            continue
        for job in jobs:
            for target in {(int(day[k]), int(stringer[k])) for k in jobs if k != job}:
                # alone, or against any job that is there now
                there = np.flatnonzero((day == target[0]) & (stringer == target[1]))
                for other in [None, *(int(o) for o in there if player[o] != player[job])]:
                    if tries >= MOST_MOVES or (int(day[job]), int(stringer[job])) == target:
                        break
                    tries += 1
                    before = day.copy(), stringer.copy()
                    if other is not None:
                        day[other], stringer[other] = day[job], stringer[job]
                    day[job], stringer[job] = target
                    new_cost, new_visits = (
                        cost_of(problem, day, stringer), count_visits(day, stringer, player)
                    )  # fmt: skip
                    if new_cost <= cost + SAME and new_visits < visits:
                        cost, visits = min(cost, new_cost), new_visits
                    else:
                        day[:], stringer[:] = before


def _deal(problem: BenchProblem, day: np.ndarray, stringer: np.ndarray, player: np.ndarray, d: int) -> None:
    """Deal one day's jobs out among its stringers: the same cost, the fewest visits (a small program of its own)."""
    jobs = np.flatnonzero(day == d)
    mine, size = np.unique(player[jobs], return_counts=True)
    shared = [int(p) for p, n in zip(mine, size, strict=True) if p >= 0 and n > 1]
    count = problem.hours.shape[0]
    spread = [p for p in shared if len(set(stringer[jobs[player[jobs] == p]].tolist())) > 1]
    if not spread or count < 2:
        return
    extras = problem.extras
    n_x, n_y, n_o = len(jobs) * count, len(shared) * count, len(extras) * count
    n = n_x + n_y + n_o
    data: list[float] = []
    row: list[int] = []
    column: list[int] = []
    low, high = [], []
    at = 0
    for i in range(len(jobs)):  # each job once
        _put(data, row, column, at, {i * count + s: 1.0 for s in range(count)})
        low.append(1.0)
        high.append(1.0)
        at += 1
    for s in range(count):  # the hours of each
        cells = {i * count + s: float(problem.minutes[job, s]) for i, job in enumerate(jobs)}
        cells = {k: v if np.isfinite(v) else 1e6 for k, v in cells.items()}
        _put(data, row, column, at, cells | {n_x + n_y + e * count + s: -1.0 for e in range(len(extras))})
        low.append(-np.inf)
        high.append(float(problem.hours[s, d]))
        at += 1
    for i, job in enumerate(jobs):  # a player is with a stringer as soon as one racket is
        if int(player[job]) in shared:
            for s in range(count):
                _put(
                    data, row, column, at, {i * count + s: 1.0, n_x + shared.index(int(player[job])) * count + s: -1.0}
                )
                low.append(-np.inf)
                high.append(0.0)
                at += 1
    weight = 1e3  # a point outweighs every visit
    objective = np.concatenate([np.zeros(n_x), np.ones(n_y), *(np.full(count, weight * cost) for _, cost in extras)])
    most = np.concatenate([np.ones(n_x + n_y), *(minutes[:, d] for minutes, _ in extras)])
    found = milp(
        objective,
        integrality=np.concatenate([np.ones(n_x), np.zeros(n_y + n_o)]),
        bounds=Bounds(np.zeros(n), most),
        constraints=LinearConstraint(coo_array((data, (row, column)), shape=(at, n)).tocsr(), low, high),
        options={"time_limit": DEAL_SECONDS},
    )
    if found.x is None:
        return
    dealt = stringer.copy()
    dealt[jobs] = found.x[:n_x].reshape(len(jobs), count).argmax(axis=1)
    is_cheaper = cost_of(problem, day, dealt) <= cost_of(problem, day, stringer) + SAME
    if is_cheaper and count_visits(day, dealt, player) < count_visits(day, stringer, player):
        stringer[:] = dealt


def _put(data: list[float], row: list[int], column: list[int], at: int, cells: dict[int, float]) -> None:
    for where, value in cells.items():
        data.append(value)
        row.append(at)
        column.append(where)
