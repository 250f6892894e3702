"""Beds that have ended already, unseen: the racket lies in the bag and counts as in play until it is handed in.

In: History, Learned, the beds in play with their shares of the player's play. Out: the chance of each that it is over
and how long it would have been. Bayes: a bed that ended on a day it was played (chance: that day's hazard) and whose
end is not on file yet (chance: the club's own delays from last play to record) against one that is not over and merely
was not taken out since (chance: what is left to the other rackets on each day the player was seen with one of them).
"""

from __future__ import annotations

import numpy as np

from pipeline.fleet.outlook import unseen_days
from pipeline.wear.history import History, just_before, named_play, player_or_nobody
from pipeline.wear.learning import Learned

LONGEST_DAYS = 14
# a day without it says less than independent choices would: players stay with a racket for days (assumption)
TEMPER = 0.5
LEAST_EVIDENCE = 0.1


def added_at_steps(h: History, learned: Learned, limit: str, steps: np.ndarray) -> np.ndarray:
    """(m,) endings of one limit that the model expects at each of these steps, whoever reports them.

    steps: (m,) into History's steps.
    """
    so_far, warp = learned.expected[limit], learned.baseline[limit]
    return warp.warped(so_far[steps]) - warp.warped(just_before(h, so_far, steps))


def expected_at_steps(h: History, learned: Learned, steps: np.ndarray) -> np.ndarray:
    """(m,) endings by wear and mishits that the model expects at each of these steps, with who reports counted in."""
    reports = learned.reports[player_or_nobody(h)][h.bed[steps]]
    total = learned.mishit_per_hour * named_play(h, steps)[0]
    for limit, told in (("breaks", 1.0), ("goes_dead", reports)):
        total = total + added_at_steps(h, learned, limit, steps) * told
    return np.asarray(total)


def over_unseen(h: History, learned: Learned, index: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) chance that each bed in play is over, and (n,) mean days since then.

    index: (n,) into History's beds. share: (n,) of the player's play.
    """
    chance, since = np.zeros(len(index)), np.zeros(len(index))
    if len(index) == 0:
        return chance, since
    delays = unseen_days(h)
    later = np.array([(delays > d).mean() for d in range(LONGEST_DAYS + 1)])
    recent = np.flatnonzero(h.day >= h.as_of_day - LONGEST_DAYS)
    added, (played, is_named) = expected_at_steps(h, learned, recent), named_play(h, recent)
    who, day = h.player[h.bed[recent]], h.day[recent]
    named = np.flatnonzero(is_named)
    named = named[np.argsort(who[named], kind="stable")]
    opens, ends = (np.searchsorted(who[named], h.player[index], side=side) for side in ("left", "right"))
    # the recent steps of a bed lie side by side
    start, stop = (np.searchsorted(recent, at) for at in (h.first[index], h.last[index] + 1))
    for i in range(len(index)):
        steps = np.arange(start[i], stop[i])
        steps = steps[played[steps] > 0]
        if len(of_bed := np.flatnonzero(is_named[steps])):
            steps = steps[of_bed[-1] :]
        if not len(steps):
            continue
        back = h.as_of_day - day[steps]
        seen_on = np.unique(day[named[opens[i] : ends[i]]])
        without = (seen_on[None, :] > day[steps][:, None]).sum(axis=1)
        unused = np.maximum(np.power(1.0 - min(share[i], 0.95), TEMPER * without), LEAST_EVIDENCE)
        odds = added[steps] * later[back] / unused
        chance[i] = odds.sum() / (1.0 + odds.sum())
        since[i] = (odds * back).sum() / max(odds.sum(), 1e-12)
    return chance, since
