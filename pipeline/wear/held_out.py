"""Were the last weeks of a club's own history forecast better with the values fitted to it, or with the trade's?

In: History with all that is on file, and the numbers of both ways learned from its first part alone. Out: Comparison
by limit: the log score of every bed and week held out (the logarithm of the chance given to what then happened: ended
by that limit in that week, or not), summed. Play in those weeks is taken as it was, the same for both, so that only the
wear model is judged. Scores are in nats; higher is better (Good 1952, the logarithmic score; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.wear.history import CAUSES, History, last_played, of_steps, player_or_nobody
from pipeline.wear.learning import LIMITS, Learned, exposure_of, teaches
from pipeline.wear.limits import survival
from pipeline.wear.looks import Looked
from pipeline.wear.reference import SESSION_WEIGHTS

WEEK_DAYS = 7
LEAST_WEEKS = 4
MOST_WEEKS = 26
LEAST_CHANCE = 1e-4  # nothing is ruled out: rows of a log are wrong more often than that
HELD_OUT_PART = 0.3  # of the span of the endings on file


@dataclass(frozen=True)
class Comparison:
    """One limit over the weeks held out. endings: by this limit within them (shared where no reason was given).
    trade, fitted: log score of each way, NaN where there was too little to compare. steepness: see adoption."""

    limit: str
    weeks: int
    endings: float
    trade: float
    fitted: float
    steepness: float

    @property
    def gain(self) -> float:
        """How much better the fitted values foretold the weeks, in nats; NaN where nothing was compared."""
        return self.fitted - self.trade

    @property
    def is_adopted(self) -> bool:
        """Whether the fitted values come into force."""
        return self.gain > 0.0


def weeks_to_hold_out(h: History) -> int:
    """How many of the last weeks: a part of what is on file, within limits; 0 where the history is too short."""
    if len(h.day) == 0:
        return 0
    span = (h.as_of_day - int(h.day.min())) // WEEK_DAYS
    weeks = int(min(span * HELD_OUT_PART, MOST_WEEKS))
    return weeks if weeks >= LEAST_WEEKS else 0


def until(h: History, day: int) -> History:
    """The history as far as `day` (days since 1970-01-01): later steps are gone, beds that ended later are still in.

    Players, squads and families keep their codes, those without any bed left included.
    """
    known = replace(h, cause=np.where(h.day[h.last] <= day, h.cause, 0), as_of_day=day)
    return of_steps(known, h.day <= day, h.play)


def reweighted(h: History, weights: dict[tuple[str, str], tuple[float, float]]) -> History:
    """The history with its play weighed anew. weights: (feature, level) -> (abrasion, playability)."""
    cost = [h.play.hours.copy(), h.play.hours.copy()]
    for feature in SESSION_WEIGHTS:
        names, code = h.play.coded(feature)
        for i in range(2):
            # a level without a weight, the last entry, counts 1
            cost[i] *= np.array([*(weights.get((feature, n), (1.0, 1.0))[i] for n in names), 1.0])[code]
    so_far = []
    for c in cost:
        total = np.cumsum(np.bincount(h.play.step, c, len(h.day)))
        before = np.concatenate([[0.0], total])[h.first]
        so_far.append(total - before[h.bed] if len(total) else total)
    return replace(h, abrasion=so_far[0], playability=so_far[1])


def log_scores(h: History, learned: Learned, after: int, ended: dict[str, np.ndarray]) -> dict[str, float]:
    """limit -> log score of the weeks after day `after`.

    h: the whole history, its play weighed as `learned` has it. learned: from until(h, after). ended: limit -> (n_beds,)
    how far each bed of h ended by that limit.
    """
    e, shapes = exposure_of(h, learned.shapes), learned.shapes
    player = player_or_nobody(h)
    own = _own_of_rackets(h, learned)
    # an ending counts in the week last played, since a racket may lie in the bag for days before it is handed in
    played = last_played(h)
    has_ended = h.cause != CAUSES.index("none")
    end = np.where(has_ended, played, h.last)
    held = (h.day > after) & (np.arange(len(h.day)) <= end[h.bed])
    week = (h.day - after - 1) // WEEK_DAYS
    n_weeks = int(week.max(initial=0)) + 1
    cell = (h.bed * n_weeks + week)[held]
    cells, at = np.unique(cell, return_inverse=True)
    bed = cells // n_weeks
    looked = Looked(h, e.x, shapes.look_fade)
    scores = {}
    for limit in LIMITS:
        mean = (learned.a[limit] / learned.b[limit])[player]
        factor = np.ones(len(h.day))
        factor[looked.at] = looked.factor(limit, learned.looks[limit])
        step = e.added(h, limit) * factor * (mean * learned.family[limit][np.maximum(h.family, 0)] * own)[h.bed]
        total = np.cumsum(step)
        so_far = total - (total[h.first] - step[h.first])[h.bed]
        warp = learned.baseline[limit]
        added = (warp.warped(so_far) - warp.warped(np.maximum(so_far - step, 0.0)))[held] * learned.level[limit].level
        growth = np.bincount(at, added, len(cells)) / mean[bed]
        a, b = learned.a[limit][player][bed], learned.b[limit][player][bed]
        chance = 1.0 - survival(growth, a, b)
        if limit == "goes_dead":
            chance = chance * learned.reports[player][bed]
        chance = np.clip(chance, LEAST_CHANCE, 1.0 - LEAST_CHANCE)
        last_cell = np.where(h.day[end] > after, np.arange(h.n_beds) * n_weeks + week[end], -1)
        happened = np.zeros(len(cells))
        ends = last_cell >= 0
        happened[np.searchsorted(cells, last_cell[ends])] = ended[limit][ends]
        counts = teaches(h, limit)[bed]
        each = happened * np.log(chance) + (1.0 - happened) * np.log1p(-chance)
        scores[limit] = float(each[counts].sum())
    return scores


def _own_of_rackets(h: History, learned: Learned) -> np.ndarray:
    """(n_beds,) what was learned of each bed's racket; 1 for a racket that was not yet there."""
    out = np.ones(int(h.racket.max(initial=-1)) + 1)
    out[learned.racket_code] = learned.racket
    return out[h.racket]


def endings_after(h: History, after: int, ended: np.ndarray) -> float:
    """Endings of one limit in the weeks held out."""
    return float(ended[h.day[h.last] > after].sum()) if h.n_beds else 0.0
