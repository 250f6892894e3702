"""Scores of a forecast: probabilities or draws and what came true in, one number out. No libraries beyond NumPy.

`auc`, `brier_skill` and `expected_over_real` judge the 14-day probabilities of rackets, `crps` and `band_coverage` the
predictive draws of weekly jobs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def auc(score: ArrayLike, happened: ArrayLike) -> float:
    """Chance that a bed that ended was scored above one that did not; ties count half. nan if either kind is missing.

    Mann-Whitney: (sum of the ranks of those that ended - n1 (n1 + 1) / 2) / (n1 n0), ties at their mean rank.
    """
    scores, events = np.asarray(score, dtype=float), np.asarray(happened, dtype=bool)
    n1, n0 = int(events.sum()), int((~events).sum())
    if n1 == 0 or n0 == 0:
        return float("nan")
    _, place, count = np.unique(scores, return_inverse=True, return_counts=True)
    mean_rank = np.cumsum(count) - (count - 1) / 2.0
    return float((mean_rank[place][events].sum() - n1 * (n1 + 1) / 2.0) / (n1 * n0))


def brier(prob: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared distance of the probabilities from what came true (0 or 1)."""
    return float(np.mean((np.asarray(prob, dtype=float) - np.asarray(happened, dtype=float)) ** 2))


def brier_skill(prob: ArrayLike, happened: ArrayLike) -> float:
    """1 - Brier / Brier of the base rate of these very beds (which no forecast could know): 0 no better, 1 perfect."""
    events = np.asarray(happened, dtype=float)
    base = brier(np.full(events.shape, events.mean() if events.size else np.nan), events)
    return 1.0 - brier(prob, events) / base if base > 0 else float("nan")


def expected_over_real(prob: ArrayLike, happened: ArrayLike) -> float:
    """Sum of the probabilities over the number that came true: 1 = as many endings as announced."""
    real = float(np.sum(happened))
    return float(np.sum(prob)) / real if real > 0 else float("nan")


def crps(draws: ArrayLike, real: float) -> float:
    """Continuous ranked probability score of a predictive sample: mean |X - y| - mean |X - X'| / 2, in units of y.

    Of the sample as a distribution (all pairs, a draw with itself too), equal to the integral of (F(t) - 1[t >= y])^2.
    """
    x = np.sort(np.asarray(draws, dtype=float))
    n = x.size
    spread = float(np.sum((2.0 * np.arange(1, n + 1) - n - 1.0) * x)) / n**2
    return float(np.mean(np.abs(x - real))) - spread


def pit_interval(draws: ArrayLike, real: float) -> tuple[float, float]:
    """F(y - 1) and F(y) of whole-number draws: the randomised PIT is uniform between the two."""
    x = np.asarray(draws)
    return float(np.mean(x < real)), float(np.mean(x <= real))


def randomised_pit(draws: ArrayLike, real: float, rng: np.random.Generator) -> float:
    """F(y - 1) + V (F(y) - F(y - 1)), V uniform: uniform on (0, 1) if y is drawn from the law of the draws."""
    low, high = pit_interval(draws, real)
    return low + float(rng.random()) * (high - low)


def band_coverage(draws: ArrayLike, real: float, low: float = 0.1, high: float = 0.9) -> float:
    """Chance that the randomised PIT falls within low..high; its mean over weeks is the coverage of the band.

    The chance over V is worked out, not drawn, so that the same forecasts give the same coverage.
    """
    start, end = pit_interval(draws, real)
    if end == start:
        return float(low <= start <= high)
    return max(0.0, min(end, high) - max(start, low)) / (end - start)
