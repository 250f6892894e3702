"""Whole jobs from a reel: what is left at its end is too short for a job and lost.

In: metres on the reel, metres a job. Out: whole jobs, and the metres that a run of reels really gives.
"""

from __future__ import annotations

import math


def jobs_in(reel_m: float, job_m: float) -> int:
    """Whole jobs from one reel or set.

    >>> jobs_in(200, 11.5), jobs_in(100, 11.5)
    (17, 8)
    """
    if job_m <= 0:
        raise ValueError(f"a job of {job_m:g} m takes no string: mend mains_m and crosses_m in restrings.csv.")
    return math.floor(reel_m / job_m + 1e-9)


def reels_for(jobs: float, reel_m: float, job_m: float) -> int | None:
    """Fewest whole reels for so many jobs; None where one reel is too short for a single job."""
    each = jobs_in(reel_m, job_m)
    return None if each == 0 else max(math.ceil(jobs / each - 1e-9), 0)


def usable_part(reel_m: float, job_m: float) -> float:
    """Part of a reel that becomes jobs, 0 to 1."""
    return min(jobs_in(reel_m, job_m) * job_m / reel_m, 1.0) if reel_m > 0 else 0.0
