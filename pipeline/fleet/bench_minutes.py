"""Minutes a restring takes at this club's bench.

In: the relation restrings_clean. Out: MinutesPerJob. Trade default: 30-40 minutes at a club (Reuters, 2 July 2007).
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import numpy as np

DEFAULT_MINUTES = 35.0
DEFAULT_SPREAD_MINUTES = 8.0
PRIOR_JOBS = 5.0


@dataclass(frozen=True)
class MinutesPerJob:
    """mean and spread (standard deviation) of one job, in minutes."""

    mean: float
    spread: float

    def draw_totals(self, jobs: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Total minutes of so many jobs each; same shape."""
        return np.maximum(jobs * self.mean + np.sqrt(jobs) * self.spread * rng.standard_normal(jobs.shape), 0.0)


def minutes_per_job(con: duckdb.DuckDBPyConnection) -> MinutesPerJob:
    """Mean minutes written down, leaning on the trade default while few are."""
    row = con.execute(
        """
        select count(bench_minutes), avg(bench_minutes), stddev_samp(bench_minutes)
        from restrings_clean where bench_minutes between 5 and 180
        """
    ).fetchone()
    count, mean, spread = row if row else (0, None, None)
    if not count or mean is None:
        return MinutesPerJob(DEFAULT_MINUTES, DEFAULT_SPREAD_MINUTES)
    weight = count / (count + PRIOR_JOBS)
    return MinutesPerJob(
        weight * mean + (1 - weight) * DEFAULT_MINUTES, spread if spread and count > 5 else DEFAULT_SPREAD_MINUTES
    )
