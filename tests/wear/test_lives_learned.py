"""Lives learned from clubs whose beds are taken out for other reasons: simulated apart from the model's code.

A club of one string: each bed has a life of its own in hours of play (log-normal, median 16 h), is played an hour and a
half every second day, and ends when its hours reach it, unless something else takes it out first.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from pipeline.wear import fitting
from pipeline.wear.adoption import problem_of, shapes_of
from pipeline.wear.history import History
from pipeline.wear.learning import Shapes, learn
from pipeline.wear.parameters import said_of
from pipeline.wear.reference import MATERIALS
from pipeline.wear.taken_out import TakenOut as Found
from pipeline.wear.taken_out import taken_out as compare
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


def by_sight(rng: np.random.Generator, life: float) -> tuple[float, str]:
    """Half of the beds are watched, and taken out at about eight tenths of their own lives: the log shows nothing."""
    return (life * rng.uniform(0.7, 0.9) if rng.random() < 0.5 else np.inf), "other"


def early_by_sight(rng: np.random.Generator, life: float) -> tuple[float, str]:
    return (life * rng.uniform(0.5, 0.8) if rng.random() < 0.3 else np.inf), "other"


def by_calendar(rng: np.random.Generator, _life: float) -> tuple[float, str]:
    """Half of the beds are taken out on their twentieth day, whatever they are like."""
    return (15.0 if rng.random() < 0.5 else np.inf), "other"


def by_chance(rng: np.random.Generator, _life: float) -> tuple[float, str]:
    return rng.exponential(24.0), "other"


def club(taken_out: TakenOut, seed: int = 0, beds: int = 500) -> History:
    """Such a club's history."""
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
    return history(made)


def learned_median(taken_out: TakenOut) -> float:
    """The median life that the fit gives such a club, in hours."""
    h = club(taken_out)
    found = fitting.fit(problem_of(h, learn(h), "breaks"), has_spreads=False)
    return float(MATERIALS["multifilament"].break_hours * found.family[0] ** (-1.0 / found.shape))


def test_the_life_of_beds_that_are_left_in_is_found() -> None:
    assert learned_median(never) == pytest.approx(MEDIAN_HOURS, rel=0.05)


@pytest.mark.parametrize("taken_out", [by_hours, by_mishit, by_frame])
def test_beds_taken_out_for_other_reasons_do_not_move_the_life(taken_out: TakenOut) -> None:
    """Scheduled restrings that follow the wear on file, mishits and frame faults: at most 10 % off."""
    assert learned_median(taken_out) == pytest.approx(MEDIAN_HOURS, rel=0.10)


def found_in(taken_out: TakenOut, seed: int) -> tuple[Found, float, float]:
    """What is said of such a club, and its median life in hours: as learned, and as corrected."""
    h = club(taken_out, seed)
    fit = fitting.fit(problem_of(h, learn(h), "breaks"), has_spreads=False)
    made = learn(h, shapes_of({"breaks": fit}, Shapes()))
    found = compare(h, made)
    assert found is not None
    life = float(MATERIALS["multifilament"].break_hours * made.family["breaks"][0] ** (-1.0 / fit.shape))
    return found, life, life * found.life_factor(fit.shape)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("taken_out", [by_sight, early_by_sight])
def test_restrings_that_follow_wear_the_log_does_not_show_are_corrected_for(taken_out: TakenOut, seed: int) -> None:
    """At most 10 % off, and nearer than without the correction."""
    found, life, corrected = found_in(taken_out, seed)
    assert found.is_in_force
    assert corrected == pytest.approx(MEDIAN_HOURS, rel=0.10)
    assert abs(corrected - MEDIAN_HOURS) < abs(life - MEDIAN_HOURS)
    assert found.part == pytest.approx(0.5 if taken_out is by_sight else 0.3, abs=0.12)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("taken_out", [by_hours, by_calendar, by_chance])
def test_restrings_by_hours_day_or_chance_leave_the_life_alone(taken_out: TakenOut, seed: int) -> None:
    """Corrected or not, at most 10 % off; what the file explains clearly better is not corrected for."""
    found, _, corrected = found_in(taken_out, seed)
    assert corrected == pytest.approx(MEDIAN_HOURS, rel=0.10)
    assert not found.is_in_force if taken_out is not by_chance else found.part < 0.1


def test_the_correction_is_told_in_words() -> None:
    assert said_of(None) == ""
    assert said_of(Found(0.5, 0.8, 0.4, 9.0, 250)) == (
        "corrected for restrings that follow wear: 50 % of beds seem to be taken out at 80 % of their life "
        "(250 taken out)"
    )
    kept = Found(0.5, 0.8, 0.4, -9.0, 250)
    assert said_of(kept) == "not corrected: the 250 beds taken out follow age and hours on file"
    assert kept.life_factor(3.0) == 1.0
