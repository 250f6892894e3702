"""Do restrings that wear did not force follow the wear all the same? Then beds that would soon have ended are missing
among those that end, and the lives learned from the rest are too long.

In: History and Learned. Out: TakenOut. Two accounts of the same beds are compared. On file: a bed is taken out at a
rate that depends on its age and on the wear the log shows (OtherCauses), and not on its own life. Watched: a part of
the beds is taken out when a part of its own life is over, which somebody sees at the strings, and the rest at a
constant rate. With the cumulative hazard v = exp(alpha) u**kappa in place of the learned u, and rho = at**shape, a
watched bed lasts to u with exp(-v / rho), another with exp(-v). In general the two cannot be told apart (Tsiatis, PNAS
72, 1975, from memory); here the form of wearing out tells them apart, by log likelihood less half the log of the number
of endings a parameter (Schwarz 1978, from memory). A wrong "watched" moves lives by a few parts in a hundred, a wrong
"on file" by twenty and more: so the file has to win clearly.

What is forecast does not change: it goes by how beds end here, with those that are taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from pipeline.wear.history import History, last_played, player_or_nobody, sums_from
from pipeline.wear.learning import BREAKS, DEAD, LIMITS, OTHER, Learned
from pipeline.wear.limits import LN2
from pipeline.wear.other_causes import DaysAtRisk

LEAST_TAKEN_OUT = 20
# log likelihood by which the account on file must win to stand: strong evidence (Kass & Raftery 1995, from memory)
CLEARLY = 5.0
SPREAD_LEVEL, SPREAD_FORM = 0.7, 0.25
USUAL_PART, USUAL_AT = -1.0, 1.4  # on the log odds: a quarter is watched, and comes out at four fifths of its life
NEVER = 1e-300


@dataclass(frozen=True)
class TakenOut:
    """part: of the beds that somebody watches. at: part of its own life at which such a bed is taken out. median: the
    learned cumulative hazard at which half of the beds would have ended. gain: log likelihood of watched over on file.
    """

    part: float
    at: float
    median: float
    gain: float
    endings: int

    @property
    def is_in_force(self) -> bool:
        """Whether lives are corrected."""
        return self.gain > -CLEARLY

    def life_factor(self, shape: float) -> float:
        """What a learned median life is to be multiplied by; 1 where the correction is not in force."""
        return float((self.median / LN2) ** (1.0 / shape)) if self.is_in_force else 1.0


def taken_out(h: History, learned: Learned) -> TakenOut | None:
    """Compare the two accounts; None where too few beds were taken out to tell."""
    if h.n_beds == 0:
        return None
    ended = learned.responsibility
    is_worn, is_out = ended[:, (BREAKS, DEAD)].sum(axis=1) > 0.5, ended[:, OTHER] > 0.5
    if is_out.sum() < LEAST_TAKEN_OUT or is_worn.sum() < LEAST_TAKEN_OUT:
        return None
    player = player_or_nobody(h)
    start = last_played(h)
    u, before = np.zeros(h.n_beds), np.zeros(h.n_beds)
    for k in LIMITS:
        mean = (learned.a[k] / learned.b[k])[player] * learned.family[k][np.maximum(h.family, 0)] * learned.racket
        mean = mean * (learned.reports[player] if k == "goes_dead" else 1.0)
        so_far, last = sums_from(learned.exposure.added(h, k) * learned.factor[k], h, start)
        u, before = u + so_far * mean, before + np.maximum(so_far - last, 0.0) * mean
    age = np.maximum((h.age_hours[h.last] - 12.0) / 24.0, 1.0)
    earlier = np.where(start > h.first, (h.age_hours[np.maximum(start - 1, 0)] - 12.0) / 24.0, 0.0)
    days = np.maximum(age - earlier, 1.0)
    shape = learned.shapes.shape_breaks

    def worn_at(v: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
        level, form = float(v[0]), float(np.exp(v[1]))
        held = 0.5 * (v[0] / SPREAD_LEVEL) ** 2 + 0.5 * (v[1] / SPREAD_FORM) ** 2
        scale = np.exp(level)
        return scale * np.maximum(u, 1e-12) ** form, scale * np.maximum(before, 0.0) ** form, held

    def on_file(v: np.ndarray) -> float:
        end, begun, held = worn_at(v)
        chance = np.where(is_worn, np.exp(-begun) - np.exp(-end), np.exp(-end))
        return float(held - np.log(np.maximum(chance, NEVER)).sum())

    def watched(v: np.ndarray) -> float:
        end, begun, held = worn_at(v)
        part, at, rate = 1.0 / (1.0 + np.exp(-v[2])), 1.0 / (1.0 + np.exp(-v[3])), np.exp(v[4])
        rho = at ** (shape * np.exp(v[1]))
        lasts, seen, seen_before = np.exp(-end), np.exp(-end / rho), np.exp(-begun / rho)
        chance = np.where(
            is_worn,
            (1.0 - part) * (np.exp(-begun) - lasts),
            np.where(is_out, (1.0 - part) * lasts * rate + part * (seen_before - seen) / days,
                     (1.0 - part) * lasts + part * seen),
        )  # fmt: skip
        held += 0.5 * ((v[2] - USUAL_PART) / 1.5) ** 2 + 0.5 * ((v[3] - USUAL_AT) / 0.6) ** 2
        return float(held - np.log(np.maximum(chance, NEVER)).sum() + rate * age.sum())

    filed = minimize(on_file, np.zeros(2), method="L-BFGS-B", bounds=[(-3, 3), (-1, 1)])
    usual_rate = np.log(is_out.sum() / age.sum()) - 0.7
    bounds = [(-3, 3), (-1, 1), (-6, 4), (-1, 4), (-14, 0)]
    best = min(
        (minimize(watched, [*filed.x, odds, USUAL_AT, usual_rate], method="L-BFGS-B", bounds=bounds)
         for odds in (-2.0, 0.0)),
        key=lambda one: float(one.fun),
    )  # fmt: skip
    risk = DaysAtRisk(h, learned.exposure)
    by_file, count_free = risk.log_likelihood(is_out.astype(float))
    weight = 0.5 * np.log(float(is_out.sum()))
    gain = (-float(best.fun) - 2 * weight) - (-float(filed.fun) + by_file - count_free * weight)
    form = float(np.exp(best.x[1]))
    return TakenOut(
        float(1.0 / (1.0 + np.exp(-best.x[2]))),
        float(1.0 / (1.0 + np.exp(-best.x[3]))),
        float((LN2 / np.exp(best.x[0])) ** (1.0 / form)),
        float(gain),
        int(is_out.sum()),
    )
