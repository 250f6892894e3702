"""What grade a look is likely to show, given how worn a bed is, as this club's graders have graded.

In: past looks: material of the mains, sign, life used, grade. Out: LookGrades, whose chances() are predictive
probabilities of grades 0-3. A Dirichlet prior at the trade's expectation, updated by the counts of the whole club,
which are in turn the prior of each material: (prior + count) / (prior total + looks). Life used is that of the limit
that the sign speaks of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.wear.history import SIGNS
from pipeline.wear.reference import value

GRADES = 4
LIMIT_OF_SIGN = {"fraying": "breaks", "notching": "breaks", "misalignment": "goes_dead", "lost_feel": "goes_dead"}
LIFE_EDGES = np.array([0.15, 0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 1.7])
# life used at which half of the beds show at least slight, clear, severe, and how gradual that is (assumption; that
# signs grow with wear is common practice)
TRADE_HALF = np.array([0.35, 0.75, 1.2])
TRADE_WIDTH = 0.18


def trade_chances(life_used: np.ndarray) -> np.ndarray:
    """(n, 4) chance of each grade before a club has taught anything: logistic in life used, so that a more worn bed
    never looks better."""
    at_least = 1.0 / (1.0 + np.exp(-(life_used[:, None] - TRADE_HALF[None, :]) / TRADE_WIDTH))
    at_least = np.concatenate([np.ones((len(life_used), 1)), at_least, np.zeros((len(life_used), 1))], axis=1)
    return at_least[:, :-1] - at_least[:, 1:]


@dataclass(frozen=True)
class LookGrades:
    """chance: (materials, signs, bins, 4). materials: their names; the last entry of chance is any other material."""

    materials: tuple[str, ...]
    chance: np.ndarray

    def chances(self, material: np.ndarray, sign: int, life_used: np.ndarray) -> np.ndarray:
        """(n, 4) chance of grades 0-3 for one sign (index into SIGNS)."""
        row = {m: i for i, m in enumerate(self.materials)}
        at = np.array([row.get(str(m), len(self.materials)) for m in material], dtype=np.int64)
        return np.asarray(self.chance[at, sign, np.searchsorted(LIFE_EDGES, life_used, side="right")])


def learn_look_grades(
    material: np.ndarray, life_used: dict[str, np.ndarray], grades: np.ndarray, bed: np.ndarray | None = None
) -> LookGrades:
    """Chances from past looks.

    material: (n,) of the mains. life_used: limit -> (n,). grades: (n, 4 signs), -1 where a sign was left out. bed:
    (n,) which bed was looked at (else each look is at a bed of its own): looks at one bed at much the same life used
    are one proof together, however many they are.
    """
    weight = value("look_grades_prior")
    names = tuple(sorted({str(m) for m in material}))
    code = np.array([names.index(str(m)) for m in material], dtype=np.int64)
    n_bins = len(LIFE_EDGES) + 1
    low, high = np.append(0.0, LIFE_EDGES), np.append(LIFE_EDGES, LIFE_EDGES[-1] + 0.4)
    trade = trade_chances((low + high) / 2.0)
    out = np.empty((len(names) + 1, len(SIGNS), n_bins, GRADES))
    for s, sign in enumerate(SIGNS):
        seen = grades[:, s] >= 0
        bins = np.searchsorted(LIFE_EDGES, life_used[LIMIT_OF_SIGN[sign]][seen], side="right")
        counts = np.zeros((len(names), n_bins, GRADES))
        np.add.at(counts, (code[seen], bins, grades[seen, s]), _proof(bed, bins, seen))
        club = _updated(counts.sum(axis=0), trade, weight)
        out[:-1, s] = _updated(counts, club[None], weight)
        out[-1, s] = club
    return LookGrades(names, out)


def _proof(bed: np.ndarray | None, bins: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """(m,) what each look counts: one, shared by the looks at one bed within one bin of life used."""
    if bed is None or not len(bins):
        return np.ones(len(bins))
    _, place, count = np.unique(bed[seen] * (len(LIFE_EDGES) + 1) + bins, return_inverse=True, return_counts=True)
    return np.asarray(1.0 / count[place])


def _updated(counts: np.ndarray, prior_chance: np.ndarray, weight: float) -> np.ndarray:
    """Posterior mean of a Dirichlet over the last axis."""
    return np.asarray((weight * prior_chance + counts) / (weight + counts.sum(axis=-1, keepdims=True)))
