"""How often beds end in their first weeks, against what the level of the beds that have been in for a while says.

In: endings and expectations one step ahead in the club's own past (own_past.py), by the age of the bed. Out: parts of
that level by band of age, and what they make of a new bed's hazard. Young beds end less often than the level of the
others says, and a forecast of weeks counts the beds that follow. A ratio of counts, drawn to 1 by a prior of so many
endings (gamma-Poisson).
"""

from __future__ import annotations

import numpy as np

# ages in days up to which beds count as young, in bands
YOUNG_DAYS = (7.0, 14.0, 28.0)
PRIOR_ENDINGS = 10.0


def in_bands(age_days: np.ndarray, counted: np.ndarray) -> np.ndarray:
    """(bands,) sums over young beds by band of age. age_days, counted: (n_steps,)."""
    return np.bincount(np.digitize(age_days, YOUNG_DAYS), counted, len(YOUNG_DAYS) + 1)[:-1]


def young_parts(came: np.ndarray, due: np.ndarray) -> np.ndarray:
    """(bands,) endings of young beds over those expected, by band of age. came, due: (bands,), with the club's level in
    what was due."""
    return np.asarray((came + PRIOR_ENDINGS) / (due + PRIOR_ENDINGS))


def slowed(hazard: np.ndarray, at: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """(m,) what a bed's hazard comes to without the parts when it comes to `hazard` with them.

    hazard: (m,) cumulative. at: (m, bands) without the parts, at the end of each band of age, increasing. parts:
    (bands,).
    """
    left, out = np.array(hazard, dtype=float), np.zeros(len(hazard))
    for grown, part in zip(np.diff(at, axis=1, prepend=0.0).T, parts, strict=True):
        spent = np.minimum(left, grown * part)
        out += spent / part
        left -= spent
    return out + left
