"""Tension left in a bed, relative to a day after stringing.

In: playability hours, age in hours, the bed's reference life and rest loss, material. Out: per cent of the tension 24
h after stringing. The loss at rest is linear in the log of time and adds to the loss from play (USRSA, instruction
page on tension loss; Cross 2000, from memory). A bed at its reference life is down by 20 % (trade-body
recommendation, Racquet Sports Industry, Feb 2007). Total loss is bounded by material in the ratios of a laboratory
string table (aggregates of 147 rows: medians 14.9 gut, 19.4 nylon, 42.2 % polyester).
"""

from __future__ import annotations

import numpy as np

LOSS_AT_LIFE = 0.20
LOSS_BOUND = {
    "natural_gut": 0.27,
    "multifilament": 0.33,
    "synthetic_gut": 0.35,
    "other": 0.38,
    "unknown": 0.38,
    "aramid": 0.50,
    "polyester": 0.55,
}


def tension_left_percent(
    playability_hours: np.ndarray, age_hours: np.ndarray, dead_hours: np.ndarray, rest: np.ndarray, material: np.ndarray
) -> np.ndarray:
    """(n,) per cent of the tension 24 h after stringing; 100 before the first day is over.

    playability_hours: reference hours played. age_hours: since stringing. dead_hours: reference life in hours.
    rest: part of a life per decade of hours. material: of the mains.
    """
    bound = np.array([LOSS_BOUND.get(m, LOSS_BOUND["other"]) for m in material])
    lives = playability_hours / dead_hours + rest * np.log10(np.maximum(age_hours, 24.0) / 24.0)
    # concave, slope LOSS_AT_LIFE / bound chosen so that one life is a loss of LOSS_AT_LIFE
    rate = -np.log(1.0 - LOSS_AT_LIFE / bound)
    return np.asarray(100.0 * (1.0 - bound * (1.0 - np.exp(-rate * lives))))
