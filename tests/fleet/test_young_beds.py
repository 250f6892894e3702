"""The first weeks of a bed. Worked by hand from the definitions of cumulative hazard and of a gamma-Poisson ratio."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fleet.young_beds import YOUNG_DAYS, in_bands, slowed, young_parts


def test_the_parts_are_counts_against_expectations_drawn_to_one() -> None:
    """Ten expected in each band and none, ten, thirty came: 10 / 20, 20 / 20, 40 / 20; the old ones do not count."""
    age = np.array([3.0, 7.0, 14.0, 27.9, 28.0])
    ended, expected = np.array([0.0, 10.0, 20.0, 10.0, 99.0]), np.array([10.0, 10.0, 5.0, 5.0, 1.0])
    came, due = in_bands(age, ended), in_bands(age, expected)
    assert came == pytest.approx([0.0, 10.0, 30.0])
    assert young_parts(came, due) == pytest.approx([0.5, 1.0, 2.0])
    nothing = in_bands(np.zeros(0), np.zeros(0))
    assert young_parts(nothing, nothing) == pytest.approx(np.ones(len(YOUNG_DAYS)))


def test_a_hazard_is_spent_band_by_band() -> None:
    """Bands end at 1, 2, 4; in them a half, all and a quarter counts: 0.5, 1.5, 2.0 with the parts."""
    at, parts = np.tile([1.0, 2.0, 4.0], (5, 1)), np.array([0.5, 1.0, 0.25])
    found = slowed(np.array([0.25, 0.5, 1.0, 1.75, 3.0]), at, parts)
    assert found == pytest.approx([0.5, 1.0, 1.5, 3.0, 5.0])


def test_without_parts_nothing_changes_and_less_hazard_is_a_longer_life() -> None:
    rng = np.random.default_rng(2)
    hazard, at = rng.exponential(1.0, 500), np.cumsum(rng.exponential(0.3, (500, 3)), axis=1)
    assert slowed(hazard, at, np.ones(3)) == pytest.approx(hazard)
    assert (slowed(hazard, at, np.array([0.3, 0.6, 0.9])) > hazard).all()
