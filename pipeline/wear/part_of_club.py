"""The part of a large club that its shapes and weights are fitted to.

In: History. Out: the same for some of its players, all their beds included; the whole where it is small. Some thousand
endings say as much as a forecast can use: the spread of a Weibull shape from n endings is about 0.78 / sqrt(n) of it
(Abernethy; from memory), 1.1 % at MOST_ENDINGS, where the players' multipliers spread by a third. Posteriors, families
and levels are learned from every bed all the same.
"""

from __future__ import annotations

import zlib

import numpy as np

from pipeline.wear.history import CAUSES, History, of_steps

MOST_ENDINGS = 5_000
WORN = tuple(CAUSES.index(cause) for cause in ("breaks", "goes_dead", "unknown"))


def part_to_fit(h: History, most_endings: int = MOST_ENDINGS) -> History:
    """The history of players drawn by a checksum of their ids, so many that their beds have about `most_endings`
    endings that may be wear's; `h` itself where there are no more than that.

    The draw knows nothing of play, strings or endings, and is the same at every refresh: a new bed adds to the part and
    moves no one else in or out but at its rim.
    """
    is_worn = np.isin(h.cause, WORN)
    if int(is_worn.sum()) <= most_endings:
        return h
    has_player = h.player >= 0
    endings = np.bincount(h.player[has_player & is_worn], minlength=len(h.players))
    drawn = np.array([zlib.crc32(name.encode()) for name in h.players])
    order = np.lexsort((np.array(h.players), drawn))
    enough = int(np.searchsorted(np.cumsum(endings[order]), most_endings)) + 1
    is_chosen = np.zeros(len(h.players) + 1, dtype=bool)  # the last entry is nobody's
    is_chosen[order[:enough]] = True
    beds = is_chosen[h.player]
    return of_steps(h, beds[h.bed], h.play.of_beds(h.bed, beds))
