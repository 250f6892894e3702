"""From the end of a bed to its restring: how long a racket lies in the bag and waits at the bench.

In: beds with the day each ended and was restrung, the days on which the whole club is closed. Out: HandOver, which
draws the day of the restring from the delays that this club has had. A club that does not string on its closed days is
not forecast to: how far it keeps to them is learned, as one minus (prior + restrings on closed days) / (prior + those
that its weekdays would have brought). Units: whole days after the origin; day 0 is the day after it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.fleet.bench_calendar import AHEAD_DAYS
from pipeline.fleet.bench_days import BenchDays, bench_days, bench_weekdays, every_day

LONGEST_DAYS = 21
LEAST_DELAYS = 5
PRIOR_JOBS_CLOSED = 3.0
KEEPS_CLOSED = 0.5  # a club that keeps to its closed days more often than not has no bench on them
WEAR = ("breaks", "goes_dead", "mishit", "unknown")


@dataclass(frozen=True)
class HandOver:
    """after_wear, after_other: (n,) days from the recorded end of a bed to its restring, by what ended it. unseen: (k,)
    days that a worn-out bed lies in the bag before that. keeps_closed: (AHEAD_DAYS,) chance that no string is put in on
    that day though its turn has come. open_from: (AHEAD_DAYS,) first day from then on with a bench. bench: on which
    days the club strings (none: any day).
    """

    after_wear: np.ndarray
    after_other: np.ndarray
    unseen: np.ndarray
    keeps_closed: np.ndarray
    open_from: np.ndarray
    bench: BenchDays | None = None

    @cached_property
    def turns(self) -> BenchDays:
        """The bench days; any day where the club has shown none."""
        return self.bench or every_day(self.after_wear, self.after_other)

    @property
    def is_idle(self) -> float:
        """Chance that nobody strings now though rackets wait: the stringer is ill or away."""
        return 0.0 if self.bench is None or self.bench.away is None else self.bench.away.is_away

    def drawn(self, draws: int, rng: np.random.Generator) -> HandOver:
        """With the stringer's coming absences drawn, one calendar for each draw; the same where the club has none."""
        return (
            self if self.bench is None or self.bench.away is None else replace(self, bench=self.bench.drawn(draws, rng))
        )

    def restrung(
        self, end: np.ndarray, is_other: np.ndarray, rng: np.random.Generator, draw: np.ndarray | None = None
    ) -> np.ndarray:
        """(m,) days of the restring of beds that end on these days (finite), drawn. draw: (m,) whose calendar (none:
        all the first one's)."""
        turns, calendar = self.turns, self.turns.calendar
        draw = np.zeros(len(end), dtype=np.int64) if draw is None else draw
        end = np.floor(end)
        if turns.from_play.count >= LEAST_DELAYS:  # in the bag and at the bench at once, as they came together
            wear, came = turns.from_play.drawn(calendar.weekday(end), rng)[:, 1], end
        else:
            came = end + _picked(self.unseen, len(end), rng)
            wear = turns.wear.drawn(calendar.weekday(came), rng)
        other = turns.other.drawn(calendar.weekday(end), rng)
        turn = calendar.nth_from(np.where(is_other, end, came), np.where(is_other, other, wear), draw)
        return self.past_closed_days(turn, rng.random(len(end)))

    def still_waiting(self, waited: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(m, draws) days of the restring of rackets that have waited so many days, given that they still wait."""
        turns, calendar = self.turns, self.turns.calendar
        out, start, draw = np.empty((len(waited), draws)), np.zeros(draws), np.arange(draws)
        for i, days in enumerate(waited):
            so_far, seen = calendar.passed_since(days), turns.wear.of(calendar.weekday(-1 - days))
            # behind a queue, that it still waits says nothing of how long its own turn takes
            more = np.maximum(seen - so_far, 0) if calendar.queued_since(days) else seen[seen >= so_far] - so_far
            passed = rng.choice(more, draws) if len(more) else rng.integers(0, turns.more_turns, draws)
            out[i] = calendar.nth_from(start, passed, draw)
        return self.past_closed_days(out, rng.random(out.shape))

    def over_already(self, since: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(m, draws) days of the restring of rackets whose beds ended so many days ago (0 = on the origin's day) and
        which nobody has handed in yet.
        """
        turns, calendar = self.turns, self.turns.calendar
        out, start, draw = np.empty((len(since), draws)), np.zeros(draws), np.arange(draws)
        for i, days in enumerate(np.floor(since)):
            if turns.from_play.count >= LEAST_DELAYS:
                in_bag, passed = turns.from_play.of(calendar.weekday(-1 - days)).T
                more = passed[in_bag > days] - calendar.passed_since(days)
                wait = np.maximum(rng.choice(more, draws), 0) if len(more) else start
                out[i] = calendar.nth_from(start, wait, draw)
            else:
                left = self.unseen[self.unseen > days] - days - 1.0
                out[i] = (rng.choice(left, draws) if len(left) else 0.0) + _picked(self.after_wear, draws, rng)
        return self.past_closed_days(out, rng.random(out.shape))

    def limit(self) -> tuple[np.ndarray, float] | None:
        """(1 or draws, AHEAD_DAYS) days with a bench and how many jobs one holds; None where the club shows no such
        limit."""
        if not np.isfinite(self.turns.most_a_day):
            return None
        return self.turns.calendar.ahead & (self.keeps_closed <= KEEPS_CLOSED), self.turns.most_a_day

    def past_closed_days(self, day: np.ndarray, chance: np.ndarray) -> np.ndarray:
        """The days, and where the club is closed and keeps to it the next one with a bench. day: whole days, inf for
        never. chance: of the same shape, random in 0..1.
        """
        if not self.keeps_closed.any():
            return day
        inside = day < len(self.keeps_closed)
        at = np.where(inside, day, 0).astype(np.int64)
        moves = inside & (chance < self.keeps_closed[at])
        return np.where(moves, np.maximum(day, self.open_from[at]), day)


def hand_over(
    beds: pd.DataFrame,
    unseen: np.ndarray,
    closed: Iterable[date],
    as_of: pd.Timestamp,
    last_play: np.ndarray | None = None,
) -> HandOver:
    """This club's habits of the last year; a day after wear and none after other causes where nearly nothing is known.

    beds: ended_on, handed_in_on, restrung_on, cause, is_retired. unseen: (k,) days. last_play: (n,) day since 1970 on
    which each bed was last played, NaN where not known (none: of no bed). closed: days on which the whole club is
    closed, past and to come.
    """
    restrung_all = restrung = pd.to_datetime(beds["restrung_on"])
    is_done = (restrung > as_of - pd.Timedelta(days=365)).to_numpy()
    done, restrung = beds[is_done], restrung[is_done]
    lag = (restrung - pd.to_datetime(done["ended_on"])).dt.days.clip(0, LONGEST_DAYS).to_numpy(dtype=float)
    is_wear = done["cause"].isin(WEAR).to_numpy()
    after_wear, after_other = lag[is_wear], lag[~is_wear]
    closed = set(closed)
    keep, keeps, open_from = _closed_days(restrung, closed, as_of.date())
    return HandOver(
        after_wear if len(after_wear) >= LEAST_DELAYS else np.array([1.0]),
        after_other if len(after_other) >= LEAST_DELAYS else np.array([0.0]),
        unseen,
        keeps,
        open_from,
        bench_days(
            _days(restrung),
            _days(came_in(done)),
            np.full(is_done.sum(), np.nan) if last_play is None else last_play[is_done],
            is_wear,
            _days(came_in(beds[restrung_all.isna() & ~beds["is_retired"]]).dropna()),
            _days(pd.Series(sorted(closed) if keep > KEEPS_CLOSED else [], dtype="datetime64[us]")),
            int(_days(pd.Series([as_of]))[0]),
        ),
    )


def came_in(beds: pd.DataFrame) -> pd.Series:
    """(n,) days on which rackets came to the bench: the hand-in where it is on file, else the bed's recorded end."""
    return pd.to_datetime(beds["handed_in_on"]).fillna(pd.to_datetime(beds["ended_on"]))


def _days(dates: pd.Series) -> np.ndarray:
    """Days since 1970."""
    return (pd.to_datetime(dates) - pd.Timestamp(0)).dt.days.to_numpy(dtype=np.int64)


def _closed_days(restrung: pd.Series, closed: set[date], as_of: date) -> tuple[float, np.ndarray, np.ndarray]:
    keeps, open_from = np.zeros(AHEAD_DAYS), np.arange(AHEAD_DAYS, dtype=float)
    if restrung.empty or not closed:
        return 0.0, keeps, open_from
    first = restrung.min().date()
    past = [d for d in closed if first <= d <= as_of]
    count_open = max((as_of - first).days + 1 - len(past), 1)
    usual = np.bincount(restrung.dt.dayofweek, minlength=7) / (count_open / 7.0)
    expected = float(sum(usual[d.weekday()] for d in past))
    came = float(restrung.isin([pd.Timestamp(d) for d in past]).sum())
    keep = 1.0 - min((0.5 * PRIOR_JOBS_CLOSED + came) / (PRIOR_JOBS_CLOSED + expected), 1.0)
    is_bench = bench_weekdays(usual)
    next_open = float(AHEAD_DAYS)
    for d in range(AHEAD_DAYS - 1, -1, -1):
        day = as_of + timedelta(days=1 + d)
        if day in closed:
            keeps[d] = keep
        elif is_bench[day.weekday()]:
            next_open = float(d)
        open_from[d] = next_open
    return keep, keeps, open_from


def _picked(values: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
    return np.asarray(values[rng.integers(0, len(values), size)])
