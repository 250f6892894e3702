"""From the end of a bed to its restring: how long a racket lies in the bag and waits at the bench.

In: beds with the day each ended and was restrung, the days on which the whole club is closed. Out: HandOver, which
draws the day of the restring from the delays that this club has had. A club that does not string on its closed days is
not forecast to: how far it keeps to them is learned, as one minus (prior + restrings on closed days) / (prior + those
that its weekdays would have brought). Units: whole days after the origin; day 0 is the day after it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

LONGEST_DAYS = 21
LEAST_DELAYS = 5
AHEAD_DAYS = 210
PRIOR_JOBS_CLOSED = 3.0
# a weekday with less than this part of a day's usual work is no bench day
LEAST_OF_USUAL = 0.3
WEAR = ("breaks", "goes_dead", "mishit", "unknown")


@dataclass(frozen=True)
class HandOver:
    """after_wear, after_other: (n,) days from the recorded end of a bed to its restring, by what ended it. unseen: (k,)
    days that a worn-out bed lies in the bag before that. keeps_closed: (AHEAD_DAYS,) chance that no string is put in on
    that day though its turn has come. open_from: (AHEAD_DAYS,) first day from then on with a bench.
    """

    after_wear: np.ndarray
    after_other: np.ndarray
    unseen: np.ndarray
    keeps_closed: np.ndarray
    open_from: np.ndarray

    def restrung(self, end: np.ndarray, is_other: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(m,) days of the restring of beds that end on these days (finite), drawn."""
        wear = _picked(self.after_wear, len(end), rng) + _picked(self.unseen, len(end), rng)
        lag = np.where(is_other, _picked(self.after_other, len(end), rng), wear)
        return self.past_closed_days(np.floor(end) + lag, rng.random(len(end)))

    def still_waiting(self, waited: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(m, draws) days of the restring of rackets that have waited so many days, given that they still wait."""
        out = np.empty((len(waited), draws))
        for i, days in enumerate(waited):
            left = self.after_wear[self.after_wear > days] - days - 1.0
            out[i] = rng.choice(left, draws) if len(left) else rng.integers(0, 5, draws)
        return self.past_closed_days(np.maximum(out, 0.0), rng.random(out.shape))

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


def hand_over(beds: pd.DataFrame, unseen: np.ndarray, closed: Iterable[date], as_of: pd.Timestamp) -> HandOver:
    """This club's habits of the last year; a day after wear and none after other causes where nearly nothing is known.

    beds: ended_on, restrung_on, cause. unseen: (k,) days. closed: days on which the whole club is closed, past and to
    come.
    """
    restrung = pd.to_datetime(beds["restrung_on"])
    is_done = (restrung > as_of - pd.Timedelta(days=365)).to_numpy()
    done, restrung = beds[is_done], restrung[is_done]
    lag = (restrung - pd.to_datetime(done["ended_on"])).dt.days.clip(0, LONGEST_DAYS).to_numpy(dtype=float)
    is_wear = done["cause"].isin(WEAR).to_numpy()
    after_wear, after_other = lag[is_wear], lag[~is_wear]
    keeps, open_from = _closed_days(restrung, set(closed), as_of.date())
    return HandOver(
        after_wear if len(after_wear) >= LEAST_DELAYS else np.array([1.0]),
        after_other if len(after_other) >= LEAST_DELAYS else np.array([0.0]),
        unseen,
        keeps,
        open_from,
    )


def _closed_days(restrung: pd.Series, closed: set[date], as_of: date) -> tuple[np.ndarray, np.ndarray]:
    keeps, open_from = np.zeros(AHEAD_DAYS), np.arange(AHEAD_DAYS, dtype=float)
    if restrung.empty or not any(as_of < d for d in closed):
        return keeps, open_from
    first = restrung.min().date()
    past = [d for d in closed if first <= d <= as_of]
    count_open = max((as_of - first).days + 1 - len(past), 1)
    usual = np.bincount(restrung.dt.dayofweek, minlength=7) / (count_open / 7.0)
    expected = float(sum(usual[d.weekday()] for d in past))
    came = float(restrung.isin([pd.Timestamp(d) for d in past]).sum())
    keep = 1.0 - min((0.5 * PRIOR_JOBS_CLOSED + came) / (PRIOR_JOBS_CLOSED + expected), 1.0)
    is_bench = usual >= LEAST_OF_USUAL * usual.mean()
    next_open = float(AHEAD_DAYS)
    for d in range(AHEAD_DAYS - 1, -1, -1):
        day = as_of + timedelta(days=1 + d)
        if day in closed:
            keeps[d] = keep
        elif is_bench[day.weekday()]:
            next_open = float(d)
        open_from[d] = next_open
    return keeps, open_from


def _picked(values: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
    return np.asarray(values[rng.integers(0, len(values), size)])
