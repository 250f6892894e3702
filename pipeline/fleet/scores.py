"""Scores of a forecast: chances or draws and what came true in, numbers out.

`auc`, `brier`, `brier_skill`, `expected_over_real` and `calibration` judge the chances of rackets; `crps`, `pinball`,
`pit_interval` and `band_coverage` the drawn restrings of a week. What came true is 0, 1 or, where a record leaves it
open, a part between: such a row counts by that part as ended and by the rest as not. Sources: Mann and Whitney
1947; Brier 1950; Gneiting and Raftery 2007; Czado, Gneiting and Held 2009 (all from memory).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

TENTHS = 10
JEFFREYS = 0.5  # prior counts of the band about a share


def _chances(prob: ArrayLike, happened: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    p, y = np.asarray(prob, dtype=float), np.asarray(happened, dtype=float)
    if p.shape != y.shape or p.ndim != 1:
        raise ValueError(f"One chance for each outcome is needed: there are {p.shape} chances and {y.shape} outcomes.")
    if np.any((y < 0) | (y > 1)) or np.isnan(y).any():
        raise ValueError("An outcome is 0, 1 or a part between: mend the outcomes.")
    return p, y


def auc(score: ArrayLike, happened: ArrayLike) -> float:
    """Chance that a bed that ended was scored above one that did not, ties counting half: 0.5 is guessing, 1 perfect.

    score: (n,) in any unit, higher = sooner. happened: (n,) 0..1. nan where either kind is missing.

    >>> auc([0.9, 0.4, 0.4, 0.1], [1, 1, 0, 0])
    0.875
    """
    s, y = _chances(score, happened)
    if np.isnan(s).any() or y.sum() <= 0 or (1 - y).sum() <= 0:
        return float("nan")
    _, place = np.unique(s, return_inverse=True)
    ended = np.bincount(place, y)
    stayed = np.bincount(place, 1.0 - y)
    below = np.cumsum(stayed) - stayed
    pairs = float(y.sum() * (1.0 - y).sum())
    return float((ended * (below + 0.5 * stayed)).sum() / pairs)


def brier(prob: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared distance of the chances from what came true: 0 perfect; lower is better.

    >>> brier([0.5, 0.5], [1, 0])
    0.25
    """
    p, y = _chances(prob, happened)
    return float(np.mean(y * (1.0 - p) ** 2 + (1.0 - y) * p**2)) if p.size else float("nan")


def brier_skill(prob: ArrayLike, happened: ArrayLike) -> float:
    """1 - Brier / Brier of these outcomes' own base rate (which nobody knew): 0 no better than it, 1 perfect."""
    p, y = _chances(prob, happened)
    base = brier(np.full(y.shape, y.mean()), y) if y.size else 0.0
    return 1.0 - brier(p, y) / base if base > 0 else float("nan")


def expected_over_real(prob: ArrayLike, happened: ArrayLike) -> float:
    """Endings announced over endings that came: 1 = as many as announced; nan where none came."""
    p, y = _chances(prob, happened)
    return float(p.sum() / y.sum()) if y.sum() > 0 else float("nan")


def calibration(prob: ArrayLike, happened: ArrayLike) -> pd.DataFrame:
    """Chances beside what came true, by tenths of the chance (0-10 %, 10-20 %, ... 90-100 %); empty tenths are left
    out.

    Columns: tenth (0..9), count, predicted (mean chance), came_true (share), low, high (80 % band of the share,
    Jeffreys: quantiles of Beta(k + 1/2, n - k + 1/2)).
    """
    p, y = _chances(prob, happened)
    tenth = np.clip((p * TENTHS).astype(int), 0, TENTHS - 1)
    frame = pd.DataFrame({"tenth": tenth, "p": p, "y": y}).groupby("tenth")
    out = frame.agg(count=("p", "size"), predicted=("p", "mean"), came_true=("y", "mean"), ended=("y", "sum"))
    a, b = out["ended"] + JEFFREYS, out["count"] - out["ended"] + JEFFREYS
    out["low"], out["high"] = stats.beta.ppf(0.1, a, b), stats.beta.ppf(0.9, a, b)
    return out.drop(columns="ended").reset_index()


def crps(draws: ArrayLike, real: float) -> float:
    """Continuous ranked probability score: mean |X - y| - mean |X - X'| / 2, in the unit of y; lower is better.

    draws: (n,) from the forecast, all pairs taken (a draw with itself too), so that it equals the integral over t of
    (F(t) - [t >= y])^2. Of a single value it is the distance.

    >>> crps([4, 4, 4], 7)
    3.0
    """
    x = np.sort(np.asarray(draws, dtype=float))
    n = x.size
    spread = float(np.sum((2.0 * np.arange(1, n + 1) - n - 1.0) * x)) / n**2
    return float(np.mean(np.abs(x - real))) - spread


def pinball(quantile: float, level: float, real: float) -> float:
    """Loss of a quantile: level x (y - q) where the week came out above it, (1 - level) x (q - y) where below.

    >>> pinball(10.0, 0.9, 12.0), pinball(10.0, 0.9, 8.0)
    (1.8, 0.2)
    """
    over = real - quantile
    return round(max(level * over, (level - 1.0) * over), 12)


def pit_interval(draws: ArrayLike, real: float) -> tuple[float, float]:
    """F(y - 1) and F(y) of whole-number draws: the randomised PIT is uniform between the two."""
    x = np.asarray(draws)
    return float(np.mean(x < real)), float(np.mean(x <= real))


def randomised_pit(low: float, high: float, rng: np.random.Generator) -> float:
    """low + V (high - low), V uniform: uniform on 0..1 where the forecast is right (Czado, Gneiting and Held)."""
    return low + float(rng.random()) * (high - low)


def band_coverage(low: float, high: float, start: float = 0.1, end: float = 0.9) -> float:
    """Chance that the randomised PIT between low and high falls within start..end.

    Its mean over weeks is the coverage of the 80 % band. Worked out, not drawn: the same forecasts, the same coverage.

    >>> band_coverage(0.0, 0.2)
    0.5
    """
    if high <= low:
        return float(start <= low <= end)
    return max(0.0, min(high, end) - max(low, start)) / (high - low)
