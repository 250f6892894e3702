"""Beds that have ended already, unseen: the racket lies in the bag and counts as in play until it is handed in.

In: History, Learned, the beds in play with their shares of the player's play. Out: the chance of each that it is over
and how long it would have been. Bayes: a bed that ended on a day it was played (chance: that day's hazard) and whose
end is not on file yet (chance: the club's own delays from last play to record) against one that is not over and merely
was not taken out since (chance: what is left to the other rackets on each day the player was seen with one of them).
"""

from __future__ import annotations

import numpy as np

from pipeline.fleet.outlook import unseen_days
from pipeline.wear.history import History, named_play
from pipeline.wear.learning import Learned

LONGEST_DAYS = 14
# a day without it says less than independent choices would: players stay with a racket for days (assumption)
TEMPER = 0.5
LEAST_EVIDENCE = 0.1


def added_at_steps(h: History, learned: Learned, limit: str) -> np.ndarray:
    """(n_steps,) endings of one limit that the model expects at each step, whoever reports them."""
    so_far = learned.expected[limit]
    before = np.concatenate([[0.0], so_far[:-1]])
    before[h.first] = 0.0
    warp = learned.baseline[limit]
    return warp.warped(so_far) - warp.warped(before)


def expected_at_steps(h: History, learned: Learned) -> np.ndarray:
    """(n_steps,) endings by wear and mishits that the model expects at each step, with who reports counted in."""
    player = np.where(h.player >= 0, h.player, len(h.players))
    total = learned.mishit_per_hour * learned.exposure.played
    for limit in ("breaks", "goes_dead"):
        reports = learned.reports[player][h.bed] if limit == "goes_dead" else 1.0
        total = total + added_at_steps(h, learned, limit) * reports
    return np.asarray(total)


def over_unseen(h: History, learned: Learned, index: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) chance that each bed in play is over, and (n,) mean days since then.

    index: (n,) into History's beds. share: (n,) of the player's play.
    """
    chance, since = np.zeros(len(index)), np.zeros(len(index))
    if len(index) == 0:
        return chance, since
    delays = unseen_days(h, learned)
    later = np.array([(delays > d).mean() for d in range(LONGEST_DAYS + 1)])
    added, (played, is_named) = expected_at_steps(h, learned), named_play(h)
    since_day = h.as_of_day - LONGEST_DAYS
    recent = np.flatnonzero(is_named & (h.day >= since_day))
    who = h.player[h.bed[recent]]
    seen_on = {int(p): np.unique(h.day[recent[who == p]]) for p in np.unique(h.player[index])}
    for i, bed in enumerate(index):
        steps = np.arange(h.first[bed], h.last[bed] + 1)
        steps = steps[(h.day[steps] >= since_day) & (played[steps] > 0)]
        if len(named := np.flatnonzero(is_named[steps])):
            steps = steps[named[-1] :]
        if not len(steps):
            continue
        back = h.as_of_day - h.day[steps]
        without = (seen_on[int(h.player[bed])][None, :] > h.day[steps][:, None]).sum(axis=1)
        unused = np.maximum(np.power(1.0 - min(share[i], 0.95), TEMPER * without), LEAST_EVIDENCE)
        odds = added[steps] * later[back] / unused
        chance[i] = odds.sum() / (1.0 + odds.sum())
        since[i] = (odds * back).sum() / max(odds.sum(), 1e-12)
    return chance, since
