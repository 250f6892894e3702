"""Bench problems for the tests: one machine as textbooks have it, and benches of a club's size."""

from __future__ import annotations

import numpy as np

from pipeline.fleet.bench.problem import BenchProblem

# EVIDENCE, one machine, earliest due date (a course on operations, example 1): (time, due)
FIVE_JOBS = {"A": (4, 15), "B": (7, 16), "C": (2, 8), "D": (6, 21), "E": (3, 9)}
# EVIDENCE, fewest late jobs (Moore-Hodgson, a course exercise): (time, due)
TEN_JOBS = {
    1: (19, 48), 2: (23, 75), 3: (5, 170), 4: (31, 215), 5: (17, 205), 6: (8, 240), 7: (32, 85), 8: (41, 67),
    9: (26, 100), 10: (18, 95),
}  # fmt: skip


def one_machine(jobs: dict[str, tuple[int, int]] | dict[int, tuple[int, int]], points: str) -> BenchProblem:
    """One machine whose "days" are single units of time, and a job may run over their ends: a job that finishes in unit
    t (from 0) is done at t + 1. points: "tardiness" (units late) or "count" (1 a late job).
    """
    times = np.array([time for time, _ in jobs.values()], dtype=float)
    due = np.array([due for _, due in jobs.values()], dtype=float)
    done = np.arange(int(times.sum())) + 1.0
    late = np.maximum(done[None, :] - due[:, None], 0.0)
    cost = late if points == "tardiness" else (late > 0).astype(float)
    cost[done[None, :] < times[:, None]] = np.inf  # nothing is done before its own time has passed
    return BenchProblem(
        times[:, None], cost, np.ones((1, len(done))), np.full(len(times), 1000.0), carries_over=True
    )  # fmt: skip


def club_bench(seed: int, jobs: int = 120, days: int = 14, stringers: int = 3, fullness: float = 0.9) -> BenchProblem:
    """A bench as a club has it: three kinds of bed, days off, half of the jobs here already, some due for an event.

    fullness: minutes of all jobs over the hours there are.
    """
    rng = np.random.default_rng(seed)
    kind = rng.choice([1.0, 1.1, 1.3], jobs, p=[0.7, 0.2, 0.1])
    minutes = np.round(33.0 * kind[:, None] * rng.uniform(0.85, 1.2, (1, stringers)))
    is_there = rng.random((stringers, days)) < 0.7
    hours = is_there * rng.choice([90.0, 120.0, 145.0, 180.0], (stringers, days))
    hours = np.round(hours * minutes.mean(axis=1).sum() / hours.sum() / fullness)
    free_on = np.where(rng.random(jobs) < 0.5, 0, rng.integers(0, days - 2, jobs))
    due = free_on + rng.integers(0, 7, jobs)
    weight = rng.choice([60.0, 75.0, 100.0], jobs) * rng.choice([1.0, 3.0], jobs, p=[0.7, 0.3])
    day = np.arange(days)[None, :]
    cost = weight[:, None] * np.maximum(day - due[:, None], 0)
    life = (40.0 / rng.uniform(10, 60, jobs) * (free_on > 0))[:, None]
    cost = cost + life * np.maximum(due[:, None] - day, 0) + (free_on == 0)[:, None] * day * 1.0
    cost = np.where(day < free_on[:, None], np.inf, cost)
    return BenchProblem(minutes, cost, hours, weight * np.maximum(days + 7 - due, 1))
