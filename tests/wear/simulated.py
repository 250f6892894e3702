"""Beds drawn from the model's own law, to see whether the learning finds what was put in.

In: numbers of players and beds, the multipliers, a generator. Out: beds in the form of hand_made. An hour of
reference play every other day; a bed ends on the day its cumulative hazard passes an exponential threshold.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.wear.limits import cumulative_hazard, lives_of
from tests.wear.hand_made import Bed, history

LONGEST_DAYS = 160


def drawn_beds(
    rng: np.random.Generator,
    players: Sequence[float],
    beds_each: int,
    shape: float = 3.0,
    mains: str = "polyester",
    cause: str = "breaks",
    hours_a_step: float = 2.0,
) -> list[Bed]:
    """players: true multiplier of each. A bed without an ending within LONGEST_DAYS is still in."""
    lives = lives_of(history([Bed(mains=mains, crosses=mains)]).beds)
    life = float((lives.break_hours if cause == "breaks" else lives.dead_hours)[0])
    steps = np.arange(2, LONGEST_DAYS, 2)
    beds = []
    for i, theta in enumerate(players):
        for _ in range(beds_each):
            hours = hours_a_step * np.cumsum(rng.uniform(0.5, 1.5, len(steps)))
            z = theta * cumulative_hazard(hours / life, shape)
            over = z > rng.exponential()
            last = int(np.argmax(over)) if over.any() else len(steps) - 1
            other = np.zeros(last + 1)
            beds.append(
                Bed(
                    f"P{i}",
                    cause if over.any() else "none",
                    tuple(steps[: last + 1]),
                    tuple(hours[: last + 1] if cause == "breaks" else other),
                    tuple(hours[: last + 1] if cause == "goes_dead" else other),
                    mains=mains,
                    crosses=mains,
                )
            )
    return beds
