"""What a bench plan is made from: the ranking, the weekly forecast and the club's records, as known on one day.

In: a Snapshot (the command, any day), or a Store with a published view (the page: the view holds the ranking and the
forecast already, so nothing is simulated again). Out: BenchSource; both give the same numbers for the published day.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet.bench_minutes import minutes_per_job
from pipeline.sql import relation_text
from pipeline.store import Store, StoreError

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

WEEKS_AHEAD = 6  # of the published forecast; beyond them its mean holds
NEEDED = ("player_spans", "restrings_clean", "calendar_days")  # of the relations, those that a plan reads


@dataclass(frozen=True)
class BenchSource:
    """con: the facts attached, with the relations NEEDED. ranking: as Snapshot.ranking. weekly_jobs: restrings expected
    in the weeks from the day after as_of on. mean_minutes: of one job.
    """

    con: duckdb.DuckDBPyConnection
    as_of: date
    ranking: pd.DataFrame
    weekly_jobs: np.ndarray
    mean_minutes: float

    def jobs_a_day(self, first_on: date, n_days: int) -> np.ndarray:
        """(n_days,) restrings expected each day from first_on on."""
        ahead = max((first_on - self.as_of).days - 1, 0)
        weekly = self.weekly_jobs if len(self.weekly_jobs) else np.zeros(1)
        week = np.minimum((ahead + np.arange(n_days)) // 7, len(weekly) - 1)
        return np.asarray(weekly[week] / 7.0, dtype=float)


def source_of(s: Snapshot, n_days: int) -> BenchSource:
    """From the model as of its day."""
    mean = s.forecast(WEEKS_AHEAD)["mean"].to_numpy(dtype=float)
    return BenchSource(s.con, s.as_of, s.ranking(max(14, n_days)), mean, s.minutes.mean)


@contextmanager
def published_source(store: Store) -> Iterator[BenchSource]:
    """From the published view and the facts."""
    if store.view_version is None:
        raise StoreError(f"{store.folder} has no view yet: load the club's files first (racket-fleet load FOLDER).")
    with closing(store.view()) as view:
        ((as_of,),) = view.execute("select cast(value as date) from meta where key = 'as_of'").fetchall()
        ranking = view.execute("from ranking order by rank").df()
        mean = view.execute("select mean from forecast_weeks order by week").df()["mean"].to_numpy(dtype=float)
    with store.facts() as con:
        con.execute("create table origin as select ?::date as as_of", [as_of])
        con.execute(
            "create table session_weights (feature varchar, level varchar, abrasion double, playability double)"
        )
        for name in NEEDED:
            con.execute(f"create table {name} as\n{relation_text(name)}")
        yield BenchSource(con, as_of, ranking, mean, minutes_per_job(con).mean)
