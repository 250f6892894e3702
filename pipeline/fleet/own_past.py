"""The level at which a club's beds have ended against forecasts made one step ahead in its own past.

In: History, Learned. Out: a level for each limit, 1 = as foretold. At every step of a player's beds the multiplier is
what that player's earlier endings and exposure said by then (the prequential principle: Dawid 1984, from memory), so
that an ending does not foretell itself; a bed counts as far as it could have been in at a fortnight's start, since
those are the beds that a ranking speaks of. Fortnights of expected and real endings then go through the drift filter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.fleet.unseen import added_at_steps
from pipeline.fleet.young_beds import YOUNG_DAYS, in_bands, young_parts
from pipeline.wear.drift import Level, follow
from pipeline.wear.history import History, last_played, player_or_nobody, strung_day
from pipeline.wear.learning import CODES, REPORTING_DELAY_DAYS, Learned, teaches

PERIOD_DAYS = 14
BLOCK_STEPS = 1_000_000  # a player's play says nothing of another's: a large club is gone through in parts


@dataclass(frozen=True)
class OwnPast:
    """levels: limit -> level of the newest fortnights, those in which endings may not be on file yet left out. young:
    limit -> (bands,) parts of that level for beds in their first weeks (young_beds.py)."""

    levels: dict[str, Level]
    young: dict[str, np.ndarray]


def own_past(h: History, learned: Learned) -> OwnPast:
    """What forecasts made one step ahead would have missed, over the club's whole past."""
    if h.n_beds == 0:
        return _nothing(learned)
    n_periods = (h.as_of_day - REPORTING_DELAY_DAYS - int(h.day.min())) // PERIOD_DAYS + 1
    if n_periods < 1:
        return _nothing(learned)
    # when it was last played, not when the racket came out of the bag: a bed that was over was in nobody's ranking
    end, strung = last_played(h), strung_day(h)
    taught = {limit: teaches(h, limit) for limit in CODES}
    came, due = ({limit: np.zeros(n_periods) for limit in CODES} for _ in range(2))
    young_came, young_due = ({limit: np.zeros(len(YOUNG_DAYS)) for limit in CODES} for _ in range(2))
    for beds in _blocks(h):
        block = _Block(h, learned, beds, strung)
        for limit in CODES:
            ended, expected = block.ended_and_expected(limit, end, taught[limit])
            came[limit] += np.bincount(block.back, ended * block.counts_as_old, n_periods)
            due[limit] += np.bincount(block.back, expected * block.counts_as_old, n_periods)
            young_came[limit] += in_bands(block.age, ended)
            young_due[limit] += in_bands(block.age, expected)
    levels = {limit: follow(due[limit][::-1], came[limit][::-1]) for limit in CODES}
    # young beds against the mean level of the same fortnights, not that of the newest ones
    mean = {limit: (came[limit].sum() + 1.0) / (due[limit].sum() + 1.0) for limit in CODES}
    return OwnPast(levels, {k: young_parts(young_came[k], young_due[k] * mean[k]) for k in CODES})


def _blocks(h: History) -> Iterator[np.ndarray]:
    """Beds of whole players, so many that their steps are about BLOCK_STEPS; beds of nobody are one player's."""
    player = player_or_nobody(h)
    so_far = np.cumsum(np.bincount(player, h.last - h.first + 1, len(h.players) + 1))
    block = (np.maximum(so_far - 1, 0) // BLOCK_STEPS)[player]
    order = np.argsort(block, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(block[order])) + 1)


class _Block:
    """The steps of some players' beds by player and day, those left out in which endings may not be on file yet.

    back: (m,) fortnights before the newest one that is told. age: (m,) days since stringing. counts_as_old: (m,) how
    far the bed could have been in at the fortnight's start.
    """

    def __init__(self, h: History, learned: Learned, beds: np.ndarray, strung: np.ndarray) -> None:
        self.h, self.learned = h, learned
        count = h.last[beds] - h.first[beds] + 1
        steps = np.arange(count.sum()) + np.repeat(h.first[beds] - (np.cumsum(count) - count), count)
        player = player_or_nobody(h)
        order = np.lexsort((h.day[steps], player[h.bed[steps]]))
        self.steps = steps[order]
        self.bed = h.bed[self.steps]
        self.who, day = player[self.bed], h.day[self.steps]
        same_day = self.who.astype(np.int64) * (int(day.max() - day.min()) + 1) + (day - day.min())
        self.opens, self.begins = np.searchsorted(same_day, same_day), np.searchsorted(self.who, self.who)
        back = (h.as_of_day - REPORTING_DELAY_DAYS - day) // PERIOD_DAYS
        self.told = back >= 0
        self.back = back[self.told]
        self.age = (day - strung[self.bed])[self.told]
        self.counts_as_old = np.clip(self.age / PERIOD_DAYS, 0.0, 1.0)

    def ended_and_expected(self, limit: str, end: np.ndarray, taught: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(m,) endings of one limit, and those foretold one step ahead. end: (n_beds,) step of each bed's last play.
        taught: (n_beds,) whether it says anything of the limit.
        """
        h, learned = self.h, self.learned
        strength = learned.shapes.strength(limit)
        added = added_at_steps(h, learned, limit, self.steps) * taught[self.bed]
        # in units of the player's multiplier: what the posterior's rate was made of
        made_of = learned.b[limit] - strength
        total = np.bincount(self.who, added, len(h.players) + 1)
        mean = np.where(made_of > 1e-9, total / np.maximum(made_of, 1e-9), 1.0)
        exposed = added / np.maximum(mean, 1e-9)[self.who]
        ending = learned.responsibility[:, CODES[limit]] * taught
        ended = np.where(end[self.bed] == self.steps, ending[self.bed], 0.0)
        earlier = [np.concatenate([[0.0], np.cumsum(v)]) for v in (ended, exposed)]
        endings, exposure = (v[self.opens] - v[self.begins] for v in earlier)
        reports = learned.reports[self.who] if limit == "goes_dead" else 1.0
        expected = (strength + endings) / (strength + exposure) * exposed * reports
        return ended[self.told], expected[self.told]


def _nothing(learned: Learned) -> OwnPast:
    return OwnPast(dict(learned.level), {limit: np.ones(len(YOUNG_DAYS)) for limit in CODES})
