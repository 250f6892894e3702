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


FULL, HYBRID, GUT = "full", "hybrid", "natural_gut"
KINDS = (FULL, HYBRID, GUT)
# a hybrid has two pieces and four knots, gut is handled slowly: assumptions, corrected by what the club wrote down
KIND_FACTORS = {FULL: 1.0, HYBRID: 1.1, GUT: 1.3}
PRIOR_JOBS_KIND = 8.0  # jobs on file that weigh as much as the factor above
PRIOR_JOBS_STRINGER = 8.0  # jobs that weigh as much as "like everybody else"
SHORTEST, LONGEST = 5, 180  # minutes outside these are slips of the pen


@dataclass(frozen=True)
class BenchTimes:
    """Minutes of a job by kind of bed, and by stringer and kind where a stringer has jobs on file."""

    by_kind: dict[str, float]
    by_stringer: dict[tuple[str, str], float]
    jobs_on_file: dict[str, int]

    def minutes(self, kind: str, stringer: str | None = None) -> float:
        """Minutes of one job; an unknown stringer works like the others."""
        if kind not in self.by_kind:
            raise ValueError(f"A bed is {', '.join(KINDS)}; {kind!r} was given.")
        return self.by_stringer.get((stringer or "", kind), self.by_kind[kind])


def kind_of_bed(
    mains_string_id: str | None, crosses_string_id: str | None, mains_material: str | None, crosses_material: str | None
) -> str:
    """full, hybrid (two strings) or natural_gut (gut in mains or crosses): what the time at the bench depends on."""
    if "natural_gut" in (mains_material, crosses_material):
        return GUT
    return HYBRID if crosses_string_id and mains_string_id and crosses_string_id != mains_string_id else FULL


def bench_times(con: duckdb.DuckDBPyConnection) -> BenchTimes:
    """Minutes by stringer and kind of bed, each leaning on the level above while few jobs are on file.

    The club's full beds lean on the trade default, a kind on the club times KIND_FACTORS, a stringer's pace on 1, and a
    stringer's own kind on pace times kind: value = (sum of minutes + prior jobs x prior) / (jobs + prior jobs).
    """
    jobs = con.execute(
        """
        select coalesce(r.stringer, '') as stringer, r.bench_minutes as minutes_taken,
               case when m.material = 'natural_gut' or c.material = 'natural_gut' then 'natural_gut'
                    when r.crosses_string_id <> r.mains_string_id then 'hybrid' else 'full' end as kind
        from restrings_clean as r
        left join facts.strings as m on m.string_id = r.mains_string_id
        left join facts.strings as c on c.string_id = r.crosses_string_id
        where r.bench_minutes between $low and $high
        """,
        {"low": SHORTEST, "high": LONGEST},
    ).df()
    by_kind: dict[str, float] = {}
    for kind in KINDS:
        mine = jobs.loc[jobs["kind"] == kind, "minutes_taken"]
        prior = DEFAULT_MINUTES if kind == FULL else by_kind[FULL] * KIND_FACTORS[kind]
        by_kind[kind] = _leaning(mine.sum(), len(mine), prior, PRIOR_JOBS if kind == FULL else PRIOR_JOBS_KIND)
    by_stringer: dict[tuple[str, str], float] = {}
    on_file: dict[str, int] = {}
    for stringer, of_stringer in jobs[jobs["stringer"] != ""].groupby("stringer"):
        expected = of_stringer["kind"].map(by_kind)
        like_others = PRIOR_JOBS_STRINGER * by_kind[FULL]
        pace = (of_stringer["minutes_taken"].sum() + like_others) / (expected.sum() + like_others)
        on_file[str(stringer)] = len(of_stringer)
        for kind in KINDS:
            own = of_stringer.loc[of_stringer["kind"] == kind, "minutes_taken"]
            by_stringer[str(stringer), kind] = _leaning(own.sum(), len(own), by_kind[kind] * pace, PRIOR_JOBS_STRINGER)
    return BenchTimes(by_kind, by_stringer, on_file)


def _leaning(total: float, count: int, prior: float, prior_jobs: float) -> float:
    return (float(total) + prior_jobs * prior) / (count + prior_jobs)
