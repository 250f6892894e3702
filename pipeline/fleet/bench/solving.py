"""The best plan of a BenchProblem, by mixed-integer programming (HiGHS through scipy.optimize.milp).

Minimise  sum cost[j, d] x[j, s, d] + sum not_placed[j] u[j] + sum over e of extra_cost[e] o[e, s, d]
with      sum over s, d of x[j, s, d] + u[j] = 1                  every job has a place, or is said to have none
          sum over j of minutes[j, s] x[j, s, d] - sum over e of o[e, s, d] <= hours[s, d]
          0 <= o[e, s, d] <= extra[e, s, d]                       e: the room kept, overtime
          x binary, u between 0 and 1 (whole where x is).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, vstack

from pipeline.fleet.bench.problem import NOT_PLACED, Assignment, BenchProblem, cost_of

TIME_LIMIT_SECONDS = 10.0
OPTIMAL, LIMIT_REACHED = 0, 1  # scipy.optimize.milp's status


def solve(problem: BenchProblem, seconds: float = TIME_LIMIT_SECONDS, gap: float = 0.0) -> Assignment:
    """The cheapest plan found within the seconds; `gap` stops earlier, at that part of its cost from the best."""
    jobs, days = problem.cost.shape
    stringers = problem.hours.shape[0]
    whole_room = problem.room.sum(axis=1, keepdims=True) if problem.carries_over else problem.room
    can = (
        np.isfinite(problem.cost)[:, None, :]
        & (problem.minutes[:, :, None] <= whole_room[None, :, :] + 1e-9)
    )  # fmt: skip
    j, s, d = np.nonzero(can)
    none, all_out = np.full(jobs, NOT_PLACED), float(problem.not_placed_cost.sum())
    if not len(j):
        return Assignment(none, none.copy(), all_out, all_out, 0.0, True)
    n_x, n_cells, extras = len(j), stringers * days, problem.extras
    n_o = n_cells * len(extras)
    extra_cost = np.repeat([cost for _, cost in extras], n_cells)
    objective = np.concatenate([problem.cost[j, d], problem.not_placed_cost, extra_cost])
    n = len(objective)
    each_job = coo_array(
        (np.ones(n_x + jobs), (np.concatenate([j, np.arange(jobs)]), np.arange(n_x + jobs))), shape=(jobs, n)
    )
    cell = s * days + d
    data, row, column = problem.minutes[j, s], cell, np.arange(n_x)
    if problem.carries_over:
        data, row, column, limit = _cumulative(problem, data, s, d)
    else:
        limit = problem.hours.ravel()
    if n_o:
        data = np.concatenate([data, -np.ones(n_o)])
        row = np.concatenate([row, np.tile(np.arange(n_cells), len(extras))])
        column = np.concatenate([column, n_x + jobs + np.arange(n_o)])
    time = coo_array((data, (row, column)), shape=(n_cells, n))
    low = np.concatenate([np.ones(jobs), np.full(n_cells, -np.inf)])
    high = np.concatenate([np.ones(jobs), limit])
    rows = [each_job, time]
    if not problem.carries_over:
        most_jobs = coo_array((np.ones(n_x), (cell, np.arange(n_x))), shape=(n_cells, n))
        rows.append(most_jobs)
        low = np.concatenate([low, np.full(n_cells, -np.inf)])
        high = np.concatenate([high, _most_jobs(problem, can).ravel()])
    most = np.concatenate([np.ones(n_x + jobs), *(minutes.ravel() for minutes, _ in extras)])
    found = milp(
        objective,
        integrality=np.concatenate([np.ones(n_x), np.zeros(jobs + n_o)]),
        bounds=Bounds(np.zeros(n), most),
        constraints=LinearConstraint(vstack(rows).tocsr(), low, high),
        options={"time_limit": seconds, "mip_rel_gap": gap},
    )
    if found.x is None:
        if found.status == LIMIT_REACHED:  # nothing in time: all jobs are said to have no place
            bound = float(found.mip_dual_bound) if found.mip_dual_bound is not None else 0.0
            return Assignment(none, none.copy(), all_out, bound, _gap(all_out, bound), False)
        raise RuntimeError(f"HiGHS gave no bench plan: {found.message}")
    chosen = np.flatnonzero(found.x[:n_x] > 0.5)
    day, stringer = np.full(jobs, NOT_PLACED), np.full(jobs, NOT_PLACED)
    day[j[chosen]], stringer[j[chosen]] = d[chosen], s[chosen]
    cost = cost_of(problem, day, stringer)
    bound = min(float(found.mip_dual_bound), cost) if found.mip_dual_bound is not None else cost
    is_proven = found.status == OPTIMAL and (gap == 0.0 or _gap(cost, bound) <= 1e-9)
    return Assignment(day, stringer, cost, bound, 0.0 if is_proven else _gap(cost, bound), is_proven)


def _most_jobs(problem: BenchProblem, can: np.ndarray) -> np.ndarray:
    """(stringers, days) how many jobs can fit at the very most: the shortest ones first. It follows from the hours, and
    said outright it spares the solver most of its search, since a day holds few jobs of much the same length."""
    stringers, days = problem.hours.shape
    most = np.zeros((stringers, days))
    for s in range(stringers):
        for d in range(days):
            shortest = np.cumsum(np.sort(problem.minutes[can[:, s, d], s]))
            most[s, d] = np.searchsorted(shortest, problem.room[s, d] + 1e-9, side="right")
    return most


def _cumulative(
    problem: BenchProblem, minutes: np.ndarray, s: np.ndarray, d: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Rows for jobs that may run over a day's end: all that is finished by a day fits into the days up to it."""
    days = problem.cost.shape[1]
    data, row, column = [], [], []
    for day in range(days):
        inside = np.flatnonzero(d <= day)
        data.append(minutes[inside])
        row.append(s[inside] * days + day)
        column.append(inside)
    return (
        np.concatenate(data), np.concatenate(row), np.concatenate(column), np.cumsum(problem.room, axis=1).ravel()
    )  # fmt: skip


def _gap(cost: float, bound: float) -> float:
    return max(cost - bound, 0.0) / max(abs(cost), 1e-9)
