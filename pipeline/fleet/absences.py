"""When nobody strings though rackets wait: a stringer who is ill or away.

In: past bench days with what was strung and what waited on each. Out: Absences: on which of them the bench stood idle,
whether it does now, and how such spells begin and end. A chain of two kinds of bench day, at work and idle for so many
days running, seen through whether anything was strung: at work, each waiting racket is left with the chance that this
club leaves it, so that nothing at all is rare when many wait; idle, nothing is. Forward and backward over the year,
the rates fitted by expectation and maximisation (Baum & Welch; Rabiner 1989, from memory). Units: bench days.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LONGEST = 40
ROUNDS = 6
# before anything is seen: a spell begins on one bench day in 250, as if 50 had been watched; it ends on one in four
PRIOR_DAYS = 50.0
PRIOR_SPELLS = 0.2
PRIOR_ENDS = 0.25
PRIOR_ENDS_SEEN = 1.0
# a bench at work leaves everything at least this often, and one that is idle is wrong about it this often
LEAST_LEFT = 0.02
FALSE_IDLE = 1e-3
# below so many spells in the year, and so little chance of one now, a club has none
LEAST_SPELLS = 0.5
LEAST_NOW = 0.02


@dataclass(frozen=True)
class Absences:
    """idle: (days,) chance that the bench stood idle on each past bench day. now: (LONGEST + 1,) chance that it is at
    work after the last one (first), or has been idle for 1, 2, ... bench days. begins: chance a bench day. ends:
    (LONGEST + 1,) chance that a spell of so many days is over on the next."""

    idle: np.ndarray
    now: np.ndarray
    begins: float
    ends: np.ndarray

    @property
    def is_away(self) -> float:
        """Chance that the bench stands idle now."""
        return float(self.now[1:].sum())

    def ahead(self, open_days: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(draws, days) days on which the bench is at work. open_days: (days,) those on which it would be."""
        state = rng.choice(len(self.now), draws, p=self.now / self.now.sum())
        out = np.zeros((draws, len(open_days)), dtype=bool)
        for day in np.flatnonzero(open_days):
            change = rng.random(draws)
            state = np.where(
                state == 0,
                (change < self.begins).astype(np.int64),
                np.where(change < self.ends[state], 0, np.minimum(state + 1, LONGEST)),
            )
            out[:, day] = state == 0
        return out


def absences(is_done: np.ndarray, left: np.ndarray, taken: np.ndarray) -> Absences | None:
    """What a club's past bench days say; None for a club without such spells.

    is_done: (days,) whether anything was strung on the bench day. left: (days,) rackets that had waited since an
    earlier day. taken: (days,) of these, strung on the day.
    """
    if len(is_done) == 0:
        return None
    begins, ends = PRIOR_SPELLS / PRIOR_DAYS, np.full(LONGEST + 1, PRIOR_ENDS)
    at_work = is_done.astype(float)
    for _ in range(ROUNDS):
        part = np.clip((at_work @ taken) / max(at_work @ left, 1.0), 0.05, 0.95)
        nothing = np.maximum(np.power(1.0 - part, left), LEAST_LEFT)
        work = np.where(is_done, 1.0 - np.minimum(nothing, 1.0 - LEAST_LEFT), nothing)
        seen = np.full((len(is_done), LONGEST + 1), 1.0)
        seen[is_done, 1:] = FALSE_IDLE
        seen[:, 0] = work
        chance, begun, over, at_risk, now = _smoothed(seen, begins, ends)
        at_work = chance[:, 0]
        begins = (begun + PRIOR_SPELLS) / (at_work.sum() + PRIOR_DAYS)
        ends = (over + PRIOR_ENDS * PRIOR_ENDS_SEEN) / (at_risk + PRIOR_ENDS_SEEN)
    if begun < LEAST_SPELLS and now[1:].sum() < LEAST_NOW:
        return None
    return Absences(1.0 - at_work, now, float(begins), ends)


def _smoothed(
    seen: np.ndarray, begins: float, ends: np.ndarray
) -> tuple[np.ndarray, float, np.ndarray, np.ndarray, np.ndarray]:
    """(days, states) chance of each state; spells begun; of spells so long, (states,) how many ended and could have;
    (states,) the chances after the last day."""
    n, size = seen.shape
    step = np.zeros((size, size))
    step[0, 0], step[0, 1] = 1.0 - begins, begins
    length = np.arange(1, size)
    step[length, 0] = ends[1:]
    step[length, np.minimum(length + 1, size - 1)] += 1.0 - ends[1:]
    forward, backward = np.zeros((n, size)), np.ones((n, size))
    state = step[0]
    for t in range(n):
        state = state * seen[t]
        state = state / state.sum()
        forward[t] = state
        state = state @ step
    for t in range(n - 2, -1, -1):
        backward[t] = step @ (seen[t + 1] * backward[t + 1])
        backward[t] /= backward[t].sum()
    chance = forward * backward
    chance /= chance.sum(axis=1, keepdims=True)
    pair = forward[:-1, :, None] * step[None] * (seen[1:] * backward[1:])[:, None, :]
    moves = (pair / np.maximum(pair.sum(axis=(1, 2), keepdims=True), 1e-300)).sum(axis=0)
    begun = float(moves[0, 1] + chance[0, 1])
    return chance, begun, moves[:, 0] * (np.arange(size) > 0), moves.sum(axis=1), forward[-1]
