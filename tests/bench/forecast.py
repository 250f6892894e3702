"""The forecast of a large fleet, beside a bare NumPy loop that draws as many lives.

In: a snapshot; rackets, weeks, draws. Out: a Timed line. The fleet is the snapshot's own rackets taken over and over.
"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from pipeline.fleet.simulation import simulate
from pipeline.fleet.snapshot import Snapshot
from tests.bench import bare
from tests.bench.measuring import Timed, time_of

RACKETS, WEEKS, DRAWS = 500, 26, 2000


def timed(s: Snapshot, runs: int = 3) -> Timed:
    """The line of the table."""
    own = s.rackets[s.rackets["bed_id"].notna()]
    fleet = pd.concat([own] * (RACKETS // len(own) + 1), ignore_index=True).iloc[:RACKETS]
    play, seeds = s.play_ahead(7 * WEEKS), itertools.count()

    def once() -> None:
        simulate(
            s.estimate.history, s.estimate.learned, fleet, play, WEEKS, DRAWS, np.random.default_rng(next(seeds)),
            s.first_jobs_a_week, pd.Timestamp(s.as_of), s.spread,
        )  # fmt: skip

    work = f"forecast of {RACKETS} rackets x {WEEKS} weeks x {DRAWS:,} draws"
    loop = time_of(lambda: bare.draw_chains(RACKETS, WEEKS, DRAWS, 0), runs)
    return Timed(work, time_of(once, runs), "NumPy draws lives in a row", loop)
