"""Where a bed stood on a day.

In: History, beds and days. Out: the index of the step that tells.
"""

from __future__ import annotations

import numpy as np

from pipeline.wear.history import History


def step_on(h: History, bed: np.ndarray, day_number: np.ndarray) -> np.ndarray:
    """(n,) the beds' last step on or before a day (days since 1970-01-01); the first step where the day is earlier."""
    if len(bed) == 0:
        return np.zeros(0, dtype=np.int64)
    base = int(min(h.day.min(), day_number.min()))
    span = int(max(h.day.max(), day_number.max())) - base + 1
    key = h.bed.astype(np.int64) * span + (h.day - base)
    at = np.searchsorted(key, bed.astype(np.int64) * span + (day_number - base), side="right") - 1
    return np.clip(at, h.first[bed], h.last[bed])
