"""Which racket a player takes out: do the strings' days tell, beyond what each racket's share of the play says?

In: History, the rackets at the origin with their shares. Out: those shares as the coming weeks will have them. A
player who keeps the freshest strings for play takes a racket out less as its bed grows old, and more after a restring;
another plays one racket until it breaks. A conditional logit (McFadden 1974; from memory) on the club's own days: of
the rackets that the player could have taken, each with its share of that player's play as an offset, the one taken
has a preference for log(1 + days since stringing). Days without the racket's name say nothing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.wear.history import History, named_play, strung_day

LOOK_BACK_DAYS = 182
MOST_DAYS_PLAYED = 4000
# standard deviation of the preference over clubs (assumption); with it a handful of days says little
SPREAD = 0.3
# a run of days is not as much proof as so many independent choices: players stay with a racket for days (assumption)
TEMPER = 0.5
AHEAD_DAYS = 7.0
ROUNDS = 20


def choices(h: History) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The days on which it is written which racket a player took, with all that could have been taken.

    (m,) arrays, one row for a racket on such a day: number of the day played (0, 1, ...), whether it was taken, its
    share of what the player's rackets were played in the span, days since its stringing.
    """
    nothing = (np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool), np.zeros(0), np.zeros(0))
    if h.n_beds == 0:
        return nothing
    recent = np.flatnonzero(h.day > h.as_of_day - LOOK_BACK_DAYS)
    played, is_named = named_play(h, recent)
    is_taken = is_named & (h.player[h.bed[recent]] >= 0)
    taken, played = recent[is_taken], played[is_taken]
    newest = np.argsort(h.day[taken], kind="stable")[-MOST_DAYS_PLAYED:]
    taken, played = taken[newest], played[newest]
    if not len(taken):
        return nothing
    strung = strung_day(h)
    hours = np.bincount(h.racket[h.bed[taken]], played, int(h.racket.max()) + 1)
    # every such day beside all beds of its player that were in on it: those beds lie side by side once sorted by player
    by_player = np.argsort(h.player, kind="stable")
    by_player = by_player[h.day[h.last[by_player]] >= h.day[taken].min()]
    who = h.player[h.bed[taken]]
    start, stop = (np.searchsorted(h.player[by_player], who, side=side) for side in ("left", "right"))
    at = np.repeat(np.arange(len(taken)), stop - start)
    bed = by_player[np.arange(len(at)) - np.repeat(np.cumsum(stop - start) - (stop - start), stop - start) + start[at]]
    day = h.day[taken][at]
    is_in = (strung[bed] < day) & (h.day[h.last[bed]] >= day)
    at, bed, day = at[is_in], bed[is_in], day[is_in]
    hit = bed == h.bed[taken][at]
    keep = ((np.bincount(at, minlength=len(taken)) > 1) & (np.bincount(at, hit, len(taken)) > 0))[at]
    at, bed, day, hit = np.unique(at[keep], return_inverse=True)[1], bed[keep], day[keep], hit[keep]
    use = hours[h.racket[bed]] + 1.0
    return at, hit, use / np.bincount(at, use)[at], (day - strung[bed]).astype(float)


def preference_by_age(at: np.ndarray, hit: np.ndarray, share: np.ndarray, age_days: np.ndarray) -> float:
    """What log(1 + days since stringing) adds to the log of a racket's share, below 0 where fresh strings are liked.

    The mode under a normal prior around 0, by Newton's method. (m,) arrays as of `choices`.
    """
    if not len(at):
        return 0.0
    value, log_age, count = 0.0, np.log1p(age_days), int(at.max()) + 1
    for _ in range(ROUNDS):
        weight = share * np.exp(value * log_age)
        chance = weight / np.bincount(at, weight, count)[at]
        mean = np.bincount(at, chance * log_age, count)
        slope = TEMPER * (log_age[hit].sum() - mean.sum()) - value / SPREAD**2
        bend = TEMPER * (np.bincount(at, chance * log_age**2, count) - mean**2).sum() + 1.0 / SPREAD**2
        step = float(np.clip(slope / bend, -0.5, 0.5))
        value += step
        if abs(step) < 1e-8:
            break
    return value


def shares_ahead(h: History, rackets: pd.DataFrame, as_of: pd.Timestamp) -> np.ndarray:
    """(n,) share of the player's play of each racket in play, as the days since stringing will have it; the others keep
    theirs, and so does a player's whole.

    rackets: as of rackets_now: player_id, share, status, bed_id.
    """
    share = rackets["share"].to_numpy(dtype=float).copy()
    if not len(share) or h.n_beds == 0:
        return share
    by_age = preference_by_age(*choices(h))
    strung = pd.Series(strung_day(h), index=h.beds["bed_id"])
    age = (as_of - pd.Timestamp(0)).days - rackets["bed_id"].map(strung).to_numpy(dtype=float)
    is_in = (rackets["status"] == "in_play").to_numpy() & np.isfinite(age) & (share > 0)
    if not is_in.any():
        return share
    player = pd.factorize(rackets["player_id"])[0] + 1
    liked = share[is_in] * np.exp(by_age * np.log1p(np.maximum(age[is_in], 0.0) + AHEAD_DAYS))
    whole, total = (np.bincount(player[is_in], v, player.max() + 1) for v in (share[is_in], liked))
    share[is_in] = liked * (whole / np.maximum(total, 1e-12))[player[is_in]]
    return share
