"""On which days a club strings, and how many rackets it gets through in one.

In: the days of the club's past restrings and of the hand-ins before them, its closed days, the origin. Out: BenchDays:
bench days are the weekdays that take their part of the work; the way from a hand-in to new strings is counted in bench
days passed by, so that a racket handed in after the last one of the week waits for the next week's. A club that shows
the same highest number of jobs again and again, and hardly ever more, strings no more than that in a day: what is
above it waits, first come first served. Units: whole days after the origin; day 0 is the day after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

AHEAD_DAYS = 210
# a weekday with less than this part of a day's usual work is no bench day
LEAST_OF_USUAL = 0.3
# so often in a year a number of jobs must have been the day's most, to be the bench's limit
LEAST_FULL_DAYS = 4
MOST_DAYS_ABOVE = 2
LEAST_LIMIT = 3
LEAST_TURNS = 30


@dataclass(frozen=True)
class BenchDays:
    """weekdays: (7,) whether it is a bench day. first_weekday: that of day 0. passed_wear, passed_other: (n,) bench
    days that went by between a hand-in and its restring, by what ended the bed. from_play: (n, 2) for worn-out beds
    whose last play is on file, days from it to the hand-in and bench days from it to the restring. most_a_day: jobs
    (inf: no limit seen). more_turns: among how many bench days one comes that has waited longer than any before it.
    """

    weekdays: np.ndarray
    first_weekday: int
    passed_wear: np.ndarray
    passed_other: np.ndarray
    from_play: np.ndarray
    most_a_day: float
    more_turns: int = 2

    @cached_property
    def ahead(self) -> np.ndarray:
        """(AHEAD_DAYS,) whether it is a bench day."""
        return np.asarray(self.weekdays[(self.first_weekday + np.arange(AHEAD_DAYS)) % 7])

    @cached_property
    def _day_of(self) -> np.ndarray:
        return np.flatnonzero(self.ahead).astype(float)

    @cached_property
    def _before(self) -> np.ndarray:
        return np.concatenate([[0], np.cumsum(self.ahead)])

    def nth_from(self, day: np.ndarray, passed: np.ndarray) -> np.ndarray:
        """The bench day on or after each day, after so many more have gone by. day: finite; beyond the calendar, the
        day itself."""
        inside = day < AHEAD_DAYS
        n = self._before[np.where(inside, day, 0).astype(np.int64)] + passed.astype(np.int64)
        inside &= n < len(self._day_of)
        return np.where(inside, self._day_of[np.where(inside, n, 0)], day + passed)

    def passed_since(self, days_ago: float) -> int:
        """Bench days from so many days before the origin up to and with the origin's day."""
        back = np.arange(int(days_ago) + 1)
        return int(self.weekdays[(self.first_weekday - 1 - back) % 7].sum())


def every_day(passed_wear: np.ndarray, passed_other: np.ndarray) -> BenchDays:
    """Where too little is known of a club's ways: any day is a bench day. passed_*: (n,) days."""
    return BenchDays(np.ones(7, dtype=bool), 0, passed_wear, passed_other, np.zeros((0, 2)), float("inf"), more_turns=5)


def bench_weekdays(usual: np.ndarray) -> np.ndarray:
    """(7,) whether the weekday takes its part of the work. usual: (7,) jobs by weekday, Monday first."""
    return np.asarray(usual >= LEAST_OF_USUAL * usual.mean())


def bench_days(
    strung: np.ndarray, handed_in: np.ndarray, in_bag: np.ndarray, is_wear: np.ndarray, closed: np.ndarray, as_of: int
) -> BenchDays | None:
    """None where the club has strung too little to show its ways.

    strung, handed_in: (n,) days since 1970 of the last year's restrings. in_bag: (n,) days from the last play to the
    hand-in, NaN where not known. is_wear: (n,) whether wear ended the bed.
    closed: days on which the club keeps to being closed. as_of: the origin, day since 1970.
    """
    if len(strung) < LEAST_TURNS:
        return None
    weekday = (strung + 3) % 7  # 1 January 1970 was a Thursday
    weekdays = bench_weekdays(np.bincount(weekday, minlength=7))
    most = most_in_a_day(np.bincount(strung - strung.min()))
    first = int(min(strung.min(), handed_in.min())) - 14
    calendar = weekdays[(first + np.arange(as_of - first + 2) + 3) % 7]
    shut = closed[(closed >= first) & (closed <= as_of)] - first
    calendar[shut] = False
    before = np.concatenate([[0], np.cumsum(calendar)])
    passed = before[strung - first] - before[np.minimum(handed_in, strung) - first]
    # where the bench was full, the wait was the queue's
    a_day = np.bincount(strung - first)
    free = a_day[strung - first] < most
    keep = free if free.sum() >= LEAST_TURNS else np.ones(len(strung), dtype=bool)
    seen = keep & is_wear & np.isfinite(in_bag)
    last_play = np.minimum(handed_in[seen], strung[seen]) - in_bag[seen].astype(np.int64)
    wear, other = passed[keep & is_wear], passed[keep & ~is_wear]
    return BenchDays(
        weekdays,
        int((as_of + 1 + 3) % 7),
        wear if len(wear) else np.zeros(1, dtype=np.int64),
        other if len(other) else np.zeros(1, dtype=np.int64),
        np.column_stack([in_bag[seen].astype(np.int64), before[strung[seen] - first] - before[last_play - first]]),
        most,
    )


def most_in_a_day(jobs: np.ndarray) -> float:
    """The bench's limit that the days' jobs show, inf for none. jobs: (days,) of the last year, zeros included."""
    of = np.bincount(jobs)
    for limit in range(len(of) - 1, LEAST_LIMIT - 1, -1):
        if of[limit + 1 :].sum() > MOST_DAYS_ABOVE:
            break
        if of[limit] >= LEAST_FULL_DAYS and of[limit] >= of[limit - 1]:
            return float(limit)
    return float("inf")


def served(draw: np.ndarray, day: np.ndarray, open_days: np.ndarray, most_a_day: float, draws: int) -> np.ndarray:
    """The day on which each job is done when a day holds so many, first come first served: inf where its turn does not
    come within the calendar. A job that comes after the calendar keeps its day.

    draw, day: (n,) of the jobs, whole days. open_days: (days,) bool. most_a_day: finite.
    """
    n_days = len(open_days)
    inside = day < n_days
    who, when = draw[inside], day[inside].astype(np.int64)
    come = np.bincount(who * n_days + when, minlength=draws * n_days).reshape(draws, n_days)
    done = np.zeros((draws, n_days), dtype=np.int64)
    queue = np.zeros(draws, dtype=np.int64)
    for d in range(n_days):
        queue += come[:, d]
        if open_days[d]:
            done[:, d] = np.minimum(queue, int(most_a_day))
            queue -= done[:, d]
    order = np.lexsort((when, who))
    first_of = np.concatenate([[0], np.cumsum(np.bincount(who, minlength=draws))])[:-1]
    place = np.empty(len(who), dtype=np.int64)
    place[order] = np.arange(len(who)) - first_of[who[order]]
    # the done jobs of all draws in one line, so that one search finds every day
    so_far = np.cumsum(done, axis=1) + np.arange(draws)[:, None] * (len(who) + 1)
    found = np.searchsorted(so_far.ravel(), place + who * (len(who) + 1), side="right") - who * n_days
    out = day.astype(float).copy()
    out[inside] = np.where(found < n_days, found, np.inf)
    return out


def carried(jobs: np.ndarray, most: np.ndarray) -> np.ndarray:
    """(draws, weeks) jobs of which what is above a week's limit is left for the next. most: (weeks,)."""
    out, over = np.empty(jobs.shape), np.zeros(len(jobs))
    for week in range(jobs.shape[1]):
        wanted = jobs[:, week] + over
        out[:, week] = np.minimum(wanted, most[week])
        over = wanted - out[:, week]
    return out
