"""On which days a club strings, how long a racket waits there, and how many it gets through in a day.

In: the days of the club's past restrings, of the hand-ins and last play before them, its closed days, the origin. Out:
BenchDays: bench days are the weekdays that take their part of the work, less closed days and those on which nobody
strung though rackets waited (absences.py); waits are counted in bench days gone by (bench_calendar.py). A club that
shows the same highest number of jobs again and again, and hardly ever more, strings no more than that in a day: what is
above it waits, first come first served. Units: whole days after the origin; day 0 is the day after it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipeline.fleet.absences import Absences, absences
from pipeline.fleet.bench_calendar import AHEAD_DAYS, PAST_DAYS, BenchCalendar, Waits, any_day, waits

# a weekday with less than this part of a day's usual work is no bench day
LEAST_OF_USUAL = 0.3
# so often in a year a number of jobs must have been the day's most, to be the bench's limit
LEAST_FULL_DAYS = 4
MOST_DAYS_ABOVE = 2
LEAST_LIMIT = 3
LEAST_TURNS = 30
# a racket that has waited longer waits for something else than the bench
LONGEST_WAIT_DAYS = 30


@dataclass(frozen=True)
class BenchDays:
    """wear, other: bench days that went by between a hand-in and its restring, by what ended the bed. from_play: for
    worn-out beds whose last play is on file, (n, 2) days from it to the hand-in and bench days from it to the restring.
    most_a_day: jobs (inf: no limit seen). more_turns: among how many bench days one comes that has waited longer than
    any before it. away: spells without a stringer (none: the club has shown none).
    """

    calendar: BenchCalendar
    wear: Waits
    other: Waits
    from_play: Waits
    most_a_day: float
    more_turns: int = 2
    away: Absences | None = None

    def drawn(self, draws: int, rng: np.random.Generator) -> BenchDays:
        """With a calendar for each draw, on which the stringer's coming absences are drawn; the same without any."""
        if self.away is None:
            return self
        ahead = self.away.ahead(self.calendar.ahead[0], draws, rng)
        return replace(self, calendar=replace(self.calendar, ahead=ahead))


def every_day(passed_wear: np.ndarray, passed_other: np.ndarray) -> BenchDays:
    """Where too little is known of a club's ways: any day is a bench day. passed_*: (n,) days."""
    ever = np.ones(PAST_DAYS, dtype=bool)
    always = BenchCalendar(0, ever, np.ones((1, AHEAD_DAYS), dtype=bool), ever, ~ever)
    wear, other, nothing = (any_day(v) for v in (passed_wear, passed_other, np.zeros((0, 2))))
    return BenchDays(always, wear, other, nothing, float("inf"), more_turns=5)


def bench_weekdays(usual: np.ndarray) -> np.ndarray:
    """(7,) whether the weekday takes its part of the work. usual: (7,) jobs by weekday, Monday first."""
    return np.asarray(usual >= LEAST_OF_USUAL * usual.mean())


def bench_days(
    strung: np.ndarray,
    handed_in: np.ndarray,
    last_play: np.ndarray,
    is_wear: np.ndarray,
    waiting: np.ndarray,
    closed: np.ndarray,
    as_of: int,
) -> BenchDays | None:
    """None where the club has strung too little to show its ways.

    strung, handed_in: (n,) days since 1970 of the last year's restrings. last_play: (n,) the same of the bed's last
    play, NaN where not known. is_wear: (n,) whether wear ended the bed. waiting: (m,) days on which those that wait now
    were handed in. closed: days, past and to come, on which the club keeps to being closed. as_of: the origin, day
    since 1970.
    """
    if len(strung) < LEAST_TURNS:
        return None
    weekdays = bench_weekdays(np.bincount(_weekday(strung), minlength=7))
    first = int(min(strung.min(), handed_in.min(), as_of - PAST_DAYS)) - 14
    n_past = as_of - first + 1
    works = weekdays[_weekday(first + np.arange(n_past + AHEAD_DAYS))]
    works[closed[(closed >= first) & (closed < first + len(works))] - first] = False
    past, ahead = works[:n_past], works[n_past:]
    a_day = np.bincount(strung - first, minlength=n_past)
    away = _away(past, a_day, strung - first, np.minimum(handed_in, strung) - first, waiting - first)
    if away is not None:
        past = past.copy()
        seen = np.flatnonzero(past)[-len(away.idle) :]
        past[seen[away.idle > 0.5]] = False
    most = most_in_a_day(a_day)
    full = a_day >= most
    before = np.concatenate([[0], np.cumsum(past)])
    came = np.minimum(handed_in, strung) - first
    queue = _full_before(full[past])[before[strung - first]]
    seen = is_wear & np.isfinite(last_play)
    played = np.minimum(last_play[seen], handed_in[seen]).astype(np.int64) - first
    came_on, played_on = _weekday(came + first), _weekday(played + first)
    passed = _own_turn(before[strung - first] - before[came], queue, came_on)
    since_play = _own_turn(before[strung[seen] - first] - before[played], queue[seen], played_on)

    def of(keep: np.ndarray) -> Waits:
        return waits(passed[keep], came_on[keep], weekdays) if keep.any() else any_day(np.zeros(1, dtype=np.int64))

    return BenchDays(
        BenchCalendar(
            int(_weekday(as_of + 1)),
            (past == weekdays[_weekday(first + np.arange(n_past))])[-PAST_DAYS:] & ~full[-PAST_DAYS:],
            ahead[None, :],
            past[-PAST_DAYS:],
            full[-PAST_DAYS:],
        ),
        of(is_wear),
        of(~is_wear),
        waits(np.column_stack([came[seen] - played, since_play]), played_on, weekdays),
        most,
        away=away,
    )


def _weekday(day: Any) -> Any:
    """0 for Monday. 1 January 1970 was a Thursday."""
    return (day + 3) % 7


def _full_before(full: np.ndarray) -> np.ndarray:
    """(bench days + 1,) how many bench days running were full just before each bench day, and before the next one.
    full: (bench days,)."""
    out = np.zeros(len(full) + 1, dtype=np.int64)
    for n, was_full in enumerate(full):
        out[n + 1] = out[n] + 1 if was_full else 0
    return out


def _own_turn(passed: np.ndarray, queue: np.ndarray, weekday: np.ndarray) -> np.ndarray:
    """(n,) bench days that went by until each job's turn, without those on which it stood in the queue of a full bench,
    yet no fewer than jobs of the same weekday take that met no queue.

    passed: (n,) all that went by. queue: (n,) full ones running, just before the restring. weekday: (n,) the first.
    """
    out = passed.copy()
    behind = queue > 0
    for day in range(7):
        free = passed[(weekday == day) & ~behind]
        free = free if len(free) else passed[~behind]
        least = int(np.quantile(free, 0.05, method="lower")) if len(free) else 0
        of_day = behind & (weekday == day)
        out[of_day] = np.minimum(passed[of_day], np.maximum(passed[of_day] - queue[of_day], least))
    return out


def _away(
    past: np.ndarray, a_day: np.ndarray, strung: np.ndarray, came: np.ndarray, waiting: np.ndarray
) -> Absences | None:
    """past, a_day: (days,) bench days and jobs on them, from the first restring's day on. strung, came: (n,) of the
    jobs done; waiting: (m,) came, of those that are not."""
    days = np.flatnonzero(past)
    days = days[days > strung.min()]
    queued = strung - came <= LONGEST_WAIT_DAYS
    end = len(past) + 1
    until = np.concatenate([strung[queued], np.minimum(np.full(len(waiting), end), waiting + LONGEST_WAIT_DAYS)])
    since = np.concatenate([came[queued], waiting])
    ahead = since < until
    since, until = since[ahead], until[ahead]
    change = np.bincount(since + 1, minlength=end + 2).astype(np.int64)[: end + 2]
    change -= np.bincount(np.minimum(until + 1, end + 1), minlength=end + 2)[: end + 2]
    left = np.cumsum(change)[days]
    taken = np.bincount(strung[queued & (came < strung)], minlength=len(past))[days]
    return absences(a_day[days] > 0, left.astype(float), taken.astype(float))


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

    draw, day: (n,) of the jobs, whole days. open_days: (1 or draws, days) bool. most_a_day: finite.
    """
    n_days = open_days.shape[1]
    inside = day < n_days
    who, when = draw[inside].astype(np.int64), day[inside].astype(np.int64)
    come = np.bincount(who * n_days + when, minlength=draws * n_days).reshape(draws, n_days)
    done = np.zeros((draws, n_days), dtype=np.int64)
    queue = np.zeros(draws, dtype=np.int64)
    for d in range(n_days):
        queue += come[:, d]
        if open_days[:, d].any():
            done[:, d] = np.where(open_days[:, d], np.minimum(queue, int(most_a_day)), 0)
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
    """(draws, weeks) jobs of which what is above a week's limit is left for the next. most: (1 or draws, weeks)."""
    out, over = np.empty(jobs.shape), np.zeros(len(jobs))
    for week in range(jobs.shape[1]):
        wanted = jobs[:, week] + over
        out[:, week] = np.minimum(wanted, most[:, week])
        over = wanted - out[:, week]
    return out
