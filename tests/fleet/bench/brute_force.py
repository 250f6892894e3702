"""The bench plan against a search of every plan there is: `python -m tests.fleet.bench.brute_force`.

In: a count of random instances (default 500), a seed. Out: how many agree to 1e-6, the largest difference. Instances
have up to 8 jobs over 1 to 3 days, one or two stringers, jobs that cannot start at once or cannot be done by everyone,
room kept and overtime in two of three. The search shares nothing with the program but the problem's own numbers.
"""

from __future__ import annotations

import argparse

import numpy as np

from pipeline.fleet.bench.problem import BenchProblem
from pipeline.fleet.bench.solving import solve

TOLERANCE = 1e-6


def every_plan(problem: BenchProblem) -> float:
    """The cost of the cheapest plan of all: each job in any cell (stringer, day), or left out."""
    jobs, days = problem.cost.shape
    stringers = problem.hours.shape[0]
    cells = stringers * days
    used = np.zeros((1, cells))
    cost = np.zeros(1)
    for job in range(jobs):  # grow all partial plans by one job; none is pruned but those over the room
        kept_used, kept_cost = [used], [cost + problem.not_placed_cost[job]]
        for s in range(stringers):
            for d in range(days):
                if np.isfinite(problem.cost[job, d]) and np.isfinite(problem.minutes[job, s]):
                    grown = used.copy()
                    grown[:, s * days + d] += problem.minutes[job, s]
                    fits = grown[:, s * days + d] <= _room(problem)[s * days + d] + 1e-9
                    kept_used.append(grown[fits])
                    kept_cost.append(cost[fits] + problem.cost[job, d])
        used, cost = np.vstack(kept_used), np.concatenate(kept_cost)
    hours = problem.hours.ravel()
    kept = np.zeros(cells) if problem.kept is None else problem.kept.ravel()
    over = np.maximum(used - hours - kept, 0.0)
    inside = np.clip(used - hours, 0.0, kept)
    return float((cost + problem.kept_cost * inside.sum(axis=1) + problem.overtime_cost * over.sum(axis=1)).min())


def _room(problem: BenchProblem) -> np.ndarray:
    room = problem.hours.ravel().copy()
    for extra in (problem.kept, problem.overtime):
        if extra is not None:
            room += extra.ravel()
    return room


def random_problem(rng: np.random.Generator) -> BenchProblem:
    """One instance; with two stringers at most 5 jobs, so that every plan can be looked at."""
    stringers = int(rng.integers(1, 3))
    days = int(rng.integers(1, 4))
    jobs = int(rng.integers(1, 9 if stringers == 1 else 6))
    minutes = rng.integers(12, 55, (jobs, 1)) * rng.uniform(0.8, 1.25, (1, stringers))
    minutes[(rng.random((jobs, stringers)) < 0.1)] = np.inf
    free_on = rng.integers(0, days + 1, jobs) * (rng.random(jobs) < 0.4)
    due = rng.integers(-1, days + 1, jobs)
    day = np.arange(days)[None, :]
    cost = rng.uniform(20, 300, (jobs, 1)) * np.maximum(day - due[:, None], 0.0)
    cost = cost + rng.uniform(0, 5, (jobs, 1)) * np.maximum(due[:, None] - day, 0)
    cost[day < free_on[:, None]] = np.inf
    hours = rng.integers(0, 150, (stringers, days)).astype(float)
    with_extras = rng.random() < 0.67
    return BenchProblem(
        minutes, cost, hours, rng.uniform(300, 2000, jobs),
        kept=rng.integers(0, 40, (stringers, days)).astype(float) if with_extras else None,
        kept_cost=0.1 if with_extras else 0.0,
        overtime=rng.integers(0, 60, (stringers, days)).astype(float) if with_extras else None,
        overtime_cost=float(rng.uniform(0.1, 0.5)) if with_extras else 0.0,
    )  # fmt: skip


def differences(count: int, seed: int) -> np.ndarray:
    """(count,) cost of the program's plan less that of the best of all."""
    rng = np.random.default_rng(seed)
    problems = [random_problem(rng) for _ in range(count)]
    return np.array([solve(problem).cost - every_plan(problem) for problem in problems])


def main() -> None:
    """Print how the plans compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    found = differences(asked.count, asked.seed)
    agree = int((np.abs(found) <= TOLERANCE).sum())
    print(
        f"{agree} of {len(found)} plans cost the same as the best of all plans; "
        f"largest difference {np.abs(found).max():.2g}"
    )


if __name__ == "__main__":
    main()
