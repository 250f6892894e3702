"""What an inspection says about the bed it was made on: multipliers of the hazard by limit, material, sign and grade.

In: History with the last grades seen before each step, exposure, endings. Out: multipliers learned by conjugate gamma
updates in two levels: what became of all the club's beds after a grade is the prior of each group of materials,
(prior + endings) / (prior / m0 + expected). Only the last look at a bed is in force, so that looking again is not more
proof of the same; its word fades with the play since. Sizes are assumptions, the order of grades common practice.

Signs do not weigh the same on every string: monofilaments notch and keep their lines until tension is lost; soft and
solid nylon mains wander from the first day, so that misalignment says less of them, and nothing while they are new.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.wear.history import SIGNS, History
from pipeline.wear.reference import MATERIALS, value

GRADES = 4
GROUPS = ("monofilament", "soft", "solid")
MONOFILAMENTS = ("polyester", "aramid")

# limit -> sign -> multipliers of grades none, slight, clear, severe before a club has taught anything
LOOK_PRIORS: dict[str, dict[str, tuple[float, float, float, float]]] = {
    "breaks": {
        "fraying": (0.7, 1.0, 1.5, 2.2),
        "notching": (0.7, 1.0, 1.5, 2.2),
        "misalignment": (0.95, 1.0, 1.1, 1.2),
        "lost_feel": (1.0, 1.0, 1.0, 1.0),
    },
    "goes_dead": {
        "fraying": (0.95, 1.0, 1.1, 1.2),
        "notching": (0.9, 1.0, 1.15, 1.3),
        "misalignment": (0.85, 1.0, 1.3, 1.6),
        "lost_feel": (0.7, 1.0, 1.6, 2.4),
    },
}
# where a group differs from that: fraying is hardly ever right of a monofilament; nylon mains wander anyway
GROUP_PRIORS: dict[tuple[str, str, str], tuple[float, float, float, float]] = {
    ("monofilament", "breaks", "fraying"): (1.0, 1.0, 1.1, 1.2),
    ("monofilament", "goes_dead", "fraying"): (1.0, 1.0, 1.0, 1.0),
    ("soft", "goes_dead", "misalignment"): (0.95, 1.0, 1.1, 1.2),
    ("solid", "goes_dead", "misalignment"): (0.95, 1.0, 1.1, 1.2),
}


def priors(limit: str) -> np.ndarray:
    """(groups, signs, grades) multipliers of the trade."""
    return np.array([[GROUP_PRIORS.get((g, limit, s), LOOK_PRIORS[limit][s]) for s in SIGNS] for g in GROUPS])


def group_of(mains_material: pd.Series) -> np.ndarray:
    """(n,) index into GROUPS by the material of the mains."""
    codes, names = pd.factorize(mains_material.fillna("unknown"))
    of = [0 if n in MONOFILAMENTS else (1 if MATERIALS.get(n, MATERIALS["other"]).is_soft else 2) for n in names]
    return np.array(of, dtype=np.int64)[codes] if len(codes) else np.zeros(0, dtype=np.int64)


def told(grades: np.ndarray, group: np.ndarray, dead_used: np.ndarray) -> np.ndarray:
    """(n, signs) the grades that say something: -1 for misalignment of nylon or gut mains that were still new.

    dead_used: (n,) life used towards dead when the look was made.
    """
    out = grades.copy()
    wanders = (group != GROUPS.index("monofilament")) & (dead_used < value("misalignment_says_from"))
    out[wanders, SIGNS.index("misalignment")] = -1
    return out


def look_fade(x: np.ndarray, x_looked: np.ndarray, fade_lives: float) -> np.ndarray:
    """(n,) what is left of a look's word: halves with every `fade_lives` of life used since."""
    return np.asarray(np.power(0.5, (x - x_looked) / fade_lives))


def log_word(looks: np.ndarray, group: np.ndarray, grades: np.ndarray) -> np.ndarray:
    """(n,) log of the multiplier that grades of one look make together. looks: (groups, signs, grades); group: (n,);
    grades: (n, signs), -1 where a sign was not graded."""
    log_looks, total = np.log(looks), np.zeros(len(group))
    for s in range(len(SIGNS)):
        grade = grades[:, s]
        total += np.where(grade >= 0, log_looks[group, s, np.maximum(grade, 0)], 0.0)
    return total


class Looked:
    """The steps of a history that follow a look, ready for learning.

    at: (m,) their indices. group, grades: of the bed and of the look. fade: limit -> (m,) what is left of its word.
    """

    def __init__(self, h: History, x: dict[str, np.ndarray], fade_lives: float) -> None:
        self.at = np.flatnonzero(h.looked >= 0)
        looked = h.looked[self.at]
        self.group = group_of(h.beds["mains_material"])[h.bed[self.at]] if h.n_beds else np.zeros(0, dtype=np.int64)
        self.grades = told(h.grades[self.at], self.group, x["goes_dead"][looked])
        self.fade = {k: look_fade(v[self.at], v[looked], fade_lives) for k, v in x.items()}
        # by sign: which of the steps carry a grade of it, and their cell of group and grade
        self.graded = [np.flatnonzero(self.grades[:, s] >= 0) for s in range(len(SIGNS))]
        self.cell = [self.group[at] * GRADES + self.grades[at, s] for s, at in enumerate(self.graded)]
        self.faded = {k: [fade[at] for at in self.graded] for k, fade in self.fade.items()}

    def word(self, looks: np.ndarray) -> np.ndarray:
        """(m,) log of what the grades make together, unfaded."""
        total = np.zeros(len(self.at))
        for s, at in enumerate(self.graded):
            total[at] += np.log(looks[:, s]).ravel()[self.cell[s]]
        return total

    def factor(self, limit: str, looks: np.ndarray) -> np.ndarray:
        """(m,) multiplier in force at those steps."""
        return np.asarray(np.exp(self.word(looks) * self.fade[limit]))

    def counted(self, limit: str, ended: np.ndarray) -> np.ndarray:
        """(groups, signs, grades) endings that followed a grade, faded. ended: (m,)."""
        by_sign = [
            np.bincount(self.cell[s], ended[at] * self.faded[limit][s], len(GROUPS) * GRADES)
            for s, at in enumerate(self.graded)
        ]
        return np.stack(by_sign).reshape(len(SIGNS), len(GROUPS), GRADES).transpose(1, 0, 2)

    def learned(self, limit: str, dz: np.ndarray, ended: np.ndarray, looks: np.ndarray, weight: float) -> np.ndarray:
        """(groups, signs, grades) multipliers after one update, sign by sign, the others held fixed.

        dz, ended: (m,) hazard (scaled by family and player) and endings at those steps. weight: endings a prior weighs.
        """
        new, trade, n = looks.copy(), priors(limit), len(GROUPS) * GRADES
        total, counted = self.word(new), self.counted(limit, ended)
        for s, at in enumerate(self.graded):
            if not len(at):
                continue
            cell, fade = self.cell[s], self.faded[limit][s]
            own = np.log(new[:, s]).ravel()[cell]
            expected = np.bincount(cell, dz[at] * np.exp((total[at] - own) * fade) * fade, n).reshape(-1, GRADES)
            endings = counted[:, s]
            # all materials together, against what the trade expects of each
            club = (weight + endings.sum(axis=0)) / (weight + (expected * trade[:, s]).sum(axis=0))
            prior = trade[:, s] * club[None, :]
            new[:, s] = (weight + endings) / (weight / prior + expected)
            total[at] += np.log(new[:, s]).ravel()[cell] - own
        return new
