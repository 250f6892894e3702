"""Lives learned from clubs whose beds are taken out for other reasons: simulated apart from the model's code.

A club of one string: each bed has a life of its own in hours of play (log-normal, median 16 h), is played an hour and a
half every second day, and ends when its hours reach it, unless something else takes it out first.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from pipeline.wear import fitting
from pipeline.wear.adoption import problem_of
from pipeline.wear.learning import learn
from pipeline.wear.reference import MATERIALS
from tests.wear.hand_made import Bed, history

MEDIAN_HOURS, SPREAD = 16.0, 0.35
TakenOut = Callable[[np.random.Generator, float], tuple[float, str]]  # life in hours -> hours at which, and why


def never(_rng: np.random.Generator, _life: float) -> tuple[float, str]:
    return np.inf, ""


def by_hours(rng: np.random.Generator, _life: float) -> tuple[float, str]:
    """Scheduled restrings that follow the hours played, half of the beds at about eight tenths of the usual life."""
    return (MEDIAN_HOURS * rng.uniform(0.7, 0.9) if rng.random() < 0.5 else np.inf), "other"


def by_mishit(rng: np.random.Generator, _life: float) -> tuple[float, str]:
    return rng.exponential(40.0), "mishit"


def by_frame(rng: np.random.Generator, _life: float) -> tuple[float, str]:
    return rng.exponential(40.0), "other"


def learned_median(taken_out: TakenOut, seed: int = 0, beds: int = 500) -> float:
    """The median life that the fit gives such a club, in hours."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(beds):
        life = float(MEDIAN_HOURS * np.exp(SPREAD * rng.normal()))
        out, why = taken_out(rng, life)
        n = int(np.ceil(min(life, out) / 1.5))
        cause = "breaks" if life <= out else why
        days, hours = 2 * np.arange(1, n + 1), 1.5 * np.arange(1, n + 1)
        # what the store says of a mishit: nothing of abrasion
        made.append(
            Bed(f"P{i % 25}", cause, tuple(days), tuple(hours), mains="multifilament", crosses="multifilament",
                gauge_mm=1.30, teaches_abrasion=cause != "mishit")
        )  # fmt: skip
    h = history(made)
    found = fitting.fit(problem_of(h, learn(h), "breaks"), has_spreads=False)
    return float(MATERIALS["multifilament"].break_hours * found.family[0] ** (-1.0 / found.shape))


def test_the_life_of_beds_that_are_left_in_is_found() -> None:
    assert learned_median(never) == pytest.approx(MEDIAN_HOURS, rel=0.05)


@pytest.mark.parametrize("taken_out", [by_hours, by_mishit, by_frame])
def test_beds_taken_out_for_other_reasons_do_not_move_the_life(taken_out: TakenOut) -> None:
    """Scheduled restrings that follow the wear on file, mishits and frame faults: at most 10 % off."""
    assert learned_median(taken_out) == pytest.approx(MEDIAN_HOURS, rel=0.10)
