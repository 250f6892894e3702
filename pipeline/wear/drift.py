"""How a club's endings drift against what the model expects: a level that follows the newest weeks as far as it pays.

In: expected and observed endings by period, oldest first. Out: the level now (1 = as the whole history says). A
gamma-Poisson filter: after each period the past is discounted by d and the period's counts added (West & Harrison,
Bayesian Forecasting and Dynamic Models, discount models; from memory). Several d are weighed by the predictive
(negative binomial) likelihood of the club's own periods, so that a steady club keeps close to d = 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

DISCOUNTS = (1.0, 0.98, 0.96, 0.93, 0.9, 0.86, 0.8, 0.7)
PRIOR_ENDINGS = 15.0


@dataclass(frozen=True)
class Level:
    """level: multiplier now. spread: its coefficient of variation. discount: mean of d as weighed."""

    level: float
    spread: float
    discount: float


def follow(expected: np.ndarray, observed: np.ndarray, discounts: tuple[float, ...] = DISCOUNTS) -> Level:
    """The level after the last period. expected, observed: (periods,) endings, oldest first."""
    levels, spreads, scores = [], [], []
    for d in discounts:
        a = b = PRIOR_ENDINGS
        score = 0.0
        for e, o in zip(expected, observed, strict=True):
            a, b = d * a, d * b
            # a discounted past never says less than half of the prior did
            if b < PRIOR_ENDINGS * 0.5:
                a, b = a * PRIOR_ENDINGS * 0.5 / b, PRIOR_ENDINGS * 0.5
            score += (
                gammaln(a + o)
                - gammaln(a)
                - gammaln(o + 1.0)
                + a * np.log(b / (b + e))
                + (o * np.log(e / (b + e)) if e > 0 else 0.0)
            )
            a, b = a + o, b + e
        levels.append(a / b)
        spreads.append(1.0 / np.sqrt(d * a))
        scores.append(score)
    weight = np.exp(np.array(scores) - max(scores))
    weight /= weight.sum()
    level = float(weight @ np.array(levels))
    between = float(weight @ (np.array(levels) / level - 1.0) ** 2)
    spread = float(np.sqrt(weight @ np.array(spreads) ** 2 + between))
    return Level(level, spread, float(weight @ np.array(discounts)))
