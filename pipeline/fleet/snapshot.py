"""One club at one origin: everything the ranking and the forecast are made from.

In: a connection with the clean tables attached as `facts`, and the origin. Out: Snapshot, whose rank() and forecast()
return the frames of the command line. One model feeds both.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet import ranking
from pipeline.fleet.bench_minutes import MinutesPerJob, minutes_per_job
from pipeline.fleet.dispersion import dispersion
from pipeline.fleet.hand_over import HandOver, hand_over
from pipeline.fleet.outlook import CurrentBeds, Outlook, current_beds, last_seen_play, outlook, unseen_days
from pipeline.fleet.own_past import OwnPast, own_past
from pipeline.fleet.play import ComingPlay, coming_play
from pipeline.fleet.racket_choice import shares_ahead
from pipeline.fleet.simulation import Simulated, simulate
from pipeline.fleet.takeover import Takeover, takeover_of
from pipeline.fleet.unseen import over_unseen
from pipeline.wear.estimate import Estimate, Kept, estimate

OUTLOOK_DAYS = 42
# how often a fleet is simulated: less often where it has thousands of rackets. The standard error of a tenth
# percentile is 0.04 standard deviations of a week's jobs for 2,000 draws, 0.08 for 500; of a chance 1 and 2 %
MOST_DRAWS, LEAST_DRAWS, RACKETS_DRAWN = 2000, 500, 4_000_000


@dataclass(frozen=True)
class Snapshot:
    """con holds the relations as known on as_of; rackets is the relation rackets_now; beds those in play. way: from a
    bed's end to its restring. takeover: how a player's rackets stand in for each other. past: levels of
    the club's endings.

    made, seen and frames keep what has been worked out once: a simulation, outlooks by days, frames by name.
    """

    con: duckdb.DuckDBPyConnection
    as_of: date
    estimate: Estimate
    rackets: pd.DataFrame
    beds: CurrentBeds
    play: ComingPlay
    first_jobs_a_week: float
    spread: float
    minutes: MinutesPerJob
    way: HandOver
    takeover: Takeover | None
    past: OwnPast
    made: dict[tuple[int, int, int], Simulated] = field(default_factory=dict, repr=False, compare=False)
    seen: dict[int, Outlook] = field(default_factory=dict, repr=False, compare=False)
    frames: dict[str, pd.DataFrame] = field(default_factory=dict, repr=False, compare=False)

    @property
    def draws(self) -> int:
        """How often the published forecast draws this fleet: 2,000 times up to 2,000 rackets, 500 from 8,000 on."""
        return min(MOST_DRAWS, max(LEAST_DRAWS, RACKETS_DRAWN // max(len(self.rackets), 1)))

    def outlook(self, n_days: int) -> Outlook:
        """Every bed in play, n_days ahead; kept once made."""
        if n_days not in self.seen:
            self.seen[n_days] = outlook(
                self.estimate.history,
                self.estimate.learned,
                self.beds,
                self.play_ahead(n_days),
                n_days,
                self.takeover,
                self.past.levels,
            )
        return self.seen[n_days]

    def play_ahead(self, n_days: int) -> ComingPlay:
        """The coming play over at least n_days."""
        if self.play.hours.shape[1] >= n_days:
            return self.play
        return coming_play(self.con, self.estimate.history.players, n_days)

    def rank(self, days: int = 14, squad: str | None = None) -> pd.DataFrame:
        """Rackets by urgency with the columns of `racket-fleet rank --csv`."""
        frame = self.ranking(days)
        if squad is not None:
            frame = frame[frame["squad"] == squad].reset_index(drop=True)
            frame["rank"] = np.arange(1, len(frame) + 1)
        return frame[list(ranking.CSV_COLUMNS)]

    def ranking(self, days: int = 14) -> pd.DataFrame:
        """Every racket in service, most urgent first, with all that the pages show."""
        return ranking.rank_rackets(self, days)

    def simulate(self, weeks: int, draws: int, seed: int) -> Simulated:
        """The fleet simulated `draws` times over `weeks`; the last one made is kept."""
        key = (weeks, draws, seed)
        if key not in self.made:
            self.made.clear()  # one at a time: a simulation of a large fleet is heavy
            self.made[key] = simulate(
                self.estimate.history,
                replace(self.estimate.learned, level=self.past.levels),
                self.rackets,
                self.play_ahead(weeks * 7),
                weeks,
                draws,
                np.random.default_rng(seed),
                self.first_jobs_a_week,
                pd.Timestamp(self.as_of),
                self.spread,
                self.way,
                None if self.takeover is None else (self.takeover.over, self.takeover.over_days),
                young=self.past.young,
            )
        return self.made[key]

    def forecast_draws(self, weeks: int = 6, draws: int = 2000, seed: int = 0) -> np.ndarray:
        """(draws, weeks) restrings of every cause."""
        return self.simulate(weeks, draws, seed).jobs

    def forecast(self, weeks: int = 6, draws: int = 2000, seed: int = 0, made: Simulated | None = None) -> pd.DataFrame:
        """Restrings by week with the columns of `racket-fleet forecast --csv`; week 1 starts the day after the origin.

        made: a simulation of so many weeks, where one is at hand.
        """
        jobs = (made or self.simulate(weeks, draws, seed)).jobs
        minutes = self.minutes.draw_totals(jobs, np.random.default_rng(seed + 1))
        p10, p50, p90 = np.quantile(jobs, [0.1, 0.5, 0.9], axis=0)
        m50, m90 = np.quantile(minutes, [0.5, 0.9], axis=0)
        starts = [self.as_of + pd.Timedelta(days=1 + 7 * w) for w in range(weeks)]
        return pd.DataFrame(
            {
                "week": np.arange(1, weeks + 1),
                "starts_on": starts,
                "mean": jobs.mean(axis=0).round(2),
                "p10": p10,
                "p50": p50,
                "p90": p90,
                "minutes_p50": m50.round(0),
                "minutes_p90": m90.round(0),
            }
        )


def snapshot(
    con: duckdb.DuckDBPyConnection, as_of: date, settings: object | None = None, kept: Kept | None = None
) -> Snapshot:
    """Run the relations as known on `as_of` and learn from them. settings: the club's, where they matter. kept:
    fits made before, used while little is new.
    """
    found = estimate(con, as_of, kept=kept)
    rackets = con.execute("select * from rackets_now order by racket_id").df()
    ended = pd.to_datetime(rackets["ended_on"]).fillna(pd.to_datetime(rackets["handed_in_on"]))
    rackets["waiting_days"] = (pd.Timestamp(as_of) - ended).dt.days
    h, learned = found.history, found.learned
    rackets["share"] = shares_ahead(h, rackets, pd.Timestamp(as_of))
    in_play = rackets[rackets["status"] == "in_play"]
    beds = current_beds(h, learned, in_play)
    way = hand_over(h.beds, unseen_days(h), _closed_days(con), pd.Timestamp(as_of), last_seen_play(h))
    over = over_unseen(h, learned, beds.index, beds.share)
    return Snapshot(
        con,
        as_of,
        found,
        rackets,
        beds,
        coming_play(con, h.players, OUTLOOK_DAYS),
        _first_jobs_a_week(con),
        _spread(con, found, way),
        minutes_per_job(con),
        way,
        takeover_of(rackets, h.players, over, way),
        own_past(h, learned),
    )


def _closed_days(con: duckdb.DuckDBPyConnection) -> list[date]:
    """Days, past and to come, on which by the calendar nearly everybody is closed out."""
    rows = con.execute(
        """
        select day from calendar_days where is_closed group by day
        having count(distinct player_id) >= 0.9 * (
            select count(*) from player_spans
            where is_latest and (left_on is null or left_on > (select as_of from origin))
        )
        order by day
        """
    ).fetchall()
    return [day for (day,) in rows]


def _spread(con: duckdb.DuckDBPyConnection, found: Estimate, way: HandOver) -> float:
    """How lumpy this club's weeks are (variance over mean)."""
    ago = con.execute(
        "select ((select as_of from origin) - strung_on)::integer as ago from restrings_clean order by ago"
    ).df()["ago"]
    usual = way.turns.calendar.is_usual
    return dispersion(found.history, found.learned, ago.to_numpy(dtype=np.int64), way.after_wear, usual)


def _first_jobs_a_week(con: duckdb.DuckDBPyConnection) -> float:
    """First stringings of new rackets a week, over the last half-year, the club's first four weeks left out."""
    row = con.execute(
        """
        with span as (select min(strung_on) + 28 as from_on, (select as_of from origin) as to_on from restrings_clean)
        select count(*) filter (where reason = 'first' and strung_on > greatest(from_on, to_on - 182)),
               any_value(least(to_on - from_on, 182))
        from restrings_clean, span
        """
    ).fetchone()
    count, days = row if row else (0, None)
    return float(count) / max(float(days), 28.0) * 7.0 if days and days > 0 else 0.0
