"""The days on which a club's bench is at work, before the origin and after it, and how jobs count them.

Units: whole days after the origin; day 0 is the day after it. A wait at the bench is counted in bench days that go by,
not in days: a racket handed in after the last one of the week waits for the next week's, whoever it belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

AHEAD_DAYS = 210
PAST_DAYS = 400
# so many waits must be on file that began on a weekday, or on bench days and on others, to be told apart
LEAST_OF_A_KIND = 15


@dataclass(frozen=True)
class BenchCalendar:
    """first_weekday: that of day 0, Monday 0. ahead: (rows, AHEAD_DAYS) whether the bench is at work then: one row
    for all draws, or one for each. past: (days,) whether it was, up to and with the origin day, oldest first; was_full:
    whether it got through as much as it can, so that who still waited waited for the queue; is_usual: whether it
    did as it does on that weekday, and was not full."""

    first_weekday: int
    is_usual: np.ndarray
    ahead: np.ndarray
    past: np.ndarray
    was_full: np.ndarray

    @cached_property
    def _day_of(self) -> np.ndarray:
        """(rows, AHEAD_DAYS) the bench days in their order, then the others."""
        return np.argsort(~self.ahead, axis=1, kind="stable")

    @cached_property
    def _before(self) -> np.ndarray:
        """(rows, AHEAD_DAYS + 1) bench days before each day; the last is how many there are."""
        return np.concatenate([np.zeros((len(self.ahead), 1), dtype=np.int64), np.cumsum(self.ahead, axis=1)], axis=1)

    def _row(self, draw: np.ndarray) -> np.ndarray:
        return draw if len(self.ahead) > 1 else np.zeros_like(draw)

    def nth_from(self, day: np.ndarray, passed: np.ndarray, draw: np.ndarray) -> np.ndarray:
        """The bench day on or after each day, after so many more have gone by. day: (n,) finite; beyond the calendar,
        the day itself. draw: (n,) whole numbers."""
        row = self._row(draw)
        inside = day < AHEAD_DAYS
        n = self._before[row, np.where(inside, day, 0).astype(np.int64)] + passed.astype(np.int64)
        inside &= n < self._before[row, -1]
        return np.where(inside, self._day_of[row, np.where(inside, n, 0)].astype(float), day + passed)

    def weekday(self, day: np.ndarray | float) -> np.ndarray:
        """The weekday of whole days; those before the origin's next are negative (-1 = the origin's)."""
        return (np.asarray(day, dtype=np.int64) + self.first_weekday) % 7

    def passed_since(self, days_ago: float) -> int:
        """Bench days from so many days before the origin up to and with the origin's day."""
        return int(self._since(self.past, days_ago).sum())

    def queued_since(self, days_ago: float) -> bool:
        """Whether the bench was full on one of them."""
        return bool(self._since(self.was_full, days_ago).any())

    @staticmethod
    def _since(of: np.ndarray, days_ago: float) -> np.ndarray:
        return of[-1 - int(days_ago) :] if days_ago < len(of) else of


@dataclass(frozen=True)
class Waits:
    """What was seen of jobs by the weekday on which they came in: for each of the seven (n,) bench days that went by
    until the restring, or (n, k) with more columns. Rackets come in on Sundays here, a bench strings in the evening
    what came by day or only what lay there in the morning: the weekday shows it."""

    by_weekday: tuple[np.ndarray, ...]

    @property
    def count(self) -> int:
        """How many are known of the weekday of which least is."""
        return min(len(kind) for kind in self.by_weekday)

    def of(self, weekday: np.ndarray) -> np.ndarray:
        """Those that came in on such a day. weekday: a whole number."""
        return self.by_weekday[int(weekday)]

    def drawn(self, weekday: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(m, ...) one for each job that comes in on these weekdays, drawn from its kind."""
        starts = np.cumsum([0, *(len(kind) for kind in self.by_weekday)])
        size = np.diff(starts)
        at = starts[weekday] + (rng.random(len(weekday)) * size[weekday]).astype(np.int64)
        return np.asarray(np.concatenate(self.by_weekday)[at])


def waits(seen: np.ndarray, weekday: np.ndarray, is_bench: np.ndarray) -> Waits:
    """By weekday where there are enough of it, else all that came in on bench days or on others, else all.

    seen: (n, ...), at least one. weekday: (n,). is_bench: (7,) whether the weekday is one with a bench.
    """

    def of(day: int) -> np.ndarray:
        for kind in (weekday == day, is_bench[weekday] == is_bench[day]):
            if kind.sum() >= LEAST_OF_A_KIND:
                return seen[kind]
        return seen

    return Waits(tuple(of(day) for day in range(7)))


def any_day(seen: np.ndarray) -> Waits:
    """The same whatever the weekday."""
    return Waits((seen,) * 7)
