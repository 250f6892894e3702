"""The level at which a club's beds have ended against forecasts made one step ahead in its own past.

In: History, Learned. Out: a level for each limit, 1 = as foretold. At every step of a player's beds the multiplier is
what that player's earlier endings and exposure said by then (the prequential principle: Dawid 1984, from memory), so
that an ending does not foretell itself; a bed counts as far as it could have been in at a fortnight's start, since
those are the beds that a ranking speaks of. Fortnights of expected and real endings then go through the drift filter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fleet.unseen import added_at_steps
from pipeline.fleet.young_beds import YOUNG_DAYS, young_parts
from pipeline.wear.drift import Level, follow
from pipeline.wear.history import History, last_played, strung_day
from pipeline.wear.learning import CODES, REPORTING_DELAY_DAYS, Learned, teaches

PERIOD_DAYS = 14


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
    age = h.day - strung_day(h)[h.bed]
    counts_as_old = np.clip(age / PERIOD_DAYS, 0.0, 1.0)
    # when it was last played, not when the racket came out of the bag: a bed that was over was in nobody's ranking
    end = last_played(h)
    strength = {"breaks": learned.shapes.strength_breaks, "goes_dead": learned.shapes.strength_dead}
    player = np.where(h.player >= 0, h.player, len(h.players))[h.bed]
    order = np.lexsort((h.day, player))
    who, day = player[order], h.day[order]
    same_day = who.astype(np.int64) * (int(day.max() - day.min()) + 1) + (day - day.min())
    opens, begins = np.searchsorted(same_day, same_day), np.searchsorted(who, who)
    back = (h.as_of_day - REPORTING_DELAY_DAYS - day) // PERIOD_DAYS
    told = back >= 0
    n_periods = int(back.max()) + 1
    if n_periods < 1:
        return _nothing(learned)
    levels, young = {}, {}
    for limit, code in CODES.items():
        taught = teaches(h, limit)
        added = added_at_steps(h, learned, limit) * taught[h.bed]
        # in units of the player's multiplier: what the posterior's rate was made of
        made_of = learned.b[limit] - strength[limit]
        total = np.bincount(player, added, len(h.players) + 1)
        mean = np.where(made_of > 1e-9, total / np.maximum(made_of, 1e-9), 1.0)
        exposed = (added / np.maximum(mean, 1e-9)[player])[order]
        ended = np.zeros(len(h.day))
        ended[end] = learned.responsibility[:, code] * taught
        ended = ended[order]
        earlier = [np.concatenate([[0.0], np.cumsum(v)]) for v in (ended, exposed)]
        endings, exposure = (v[opens] - v[begins] for v in earlier)
        reports = learned.reports[who] if limit == "goes_dead" else 1.0
        expected = (strength[limit] + endings) / (strength[limit] + exposure) * exposed * reports
        old = counts_as_old[order][told]
        due, came = (np.bincount(back[told], v[told] * old, n_periods)[::-1] for v in (expected, ended))
        levels[limit] = follow(due, came)
        # against the mean level of the same fortnights, not that of the newest ones
        level = (came.sum() + 1.0) / (due.sum() + 1.0)
        young[limit] = young_parts(age[order][told], ended[told], expected[told] * level)
    return OwnPast(levels, young)


def _nothing(learned: Learned) -> OwnPast:
    return OwnPast(dict(learned.level), {limit: np.ones(len(YOUNG_DAYS)) for limit in CODES})
