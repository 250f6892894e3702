"""The year a school-age player lives in: terms, holidays, camp weeks, and which courts are used when.

In: a day (ordinal). Out: the part of the year, the surface. The dates are the same each year, made up for this club.
"""

from __future__ import annotations

from datetime import date

import numpy as np


def month_day(day: int) -> tuple[int, int]:
    on = date.fromordinal(day)
    return on.month, on.day


def season(day: int) -> str:
    """What part of the school year a day is in."""
    when = month_day(day)
    if when >= (12, 23) or when <= (1, 2):
        return "closed"
    if when >= (12, 20) or when <= (1, 6) or (2, 14) <= when <= (2, 22) or (7, 18) <= when <= (8, 30):
        return "camp" if (7, 20) <= when <= (7, 31) or (8, 20) <= when <= (8, 28) else "holiday"
    if (10, 24) <= when <= (11, 1) or (3, 28) <= when <= (4, 11):
        return "camp" if (10, 26) <= when <= (10, 30) or (4, 6) <= when <= (4, 10) else "holiday"
    return "term"


def surface(day: int, rng: np.random.Generator) -> str:
    """Clay from spring to autumn, indoor hard or carpet in winter."""
    if (4, 18) <= month_day(day) <= (9, 30):
        return "clay" if rng.random() < 0.82 else "hard"
    return "hard" if rng.random() < 0.7 else "carpet"
