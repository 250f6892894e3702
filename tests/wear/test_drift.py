"""The level of the newest weeks against the whole history."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.wear.drift import DISCOUNTS, PRIOR_ENDINGS, follow


def test_nothing_seen_says_one() -> None:
    level = follow(np.zeros(0), np.zeros(0))
    assert level.level == pytest.approx(1.0)
    assert level.spread > 0.0


def test_a_steady_club_stays_near_one_and_remembers() -> None:
    rng = np.random.default_rng(1)
    expected = np.full(60, 6.0)
    level = follow(expected, rng.poisson(expected).astype(float))
    assert abs(level.level - 1.0) < 4 * level.spread
    assert level.discount > float(np.mean(DISCOUNTS))


def test_twice_the_endings_move_it_up() -> None:
    expected = np.full(40, 6.0)
    seen = np.where(np.arange(40) < 28, 6.0, 12.0)
    level = follow(expected, seen)
    assert 1.4 < level.level < 2.1
    assert level.discount < follow(expected, expected).discount


def test_half_the_endings_move_it_down() -> None:
    expected = np.full(40, 6.0)
    level = follow(expected, np.where(np.arange(40) < 28, 6.0, 3.0))
    assert 0.45 < level.level < 0.8


def test_few_endings_move_it_little() -> None:
    assert follow(np.array([0.5]), np.array([3.0])).level < 1.3


def test_weeks_without_play_are_no_evidence() -> None:
    busy = follow(np.full(10, 5.0), np.full(10, 8.0), discounts=(1.0,))
    idle = follow(np.r_[np.full(10, 5.0), np.zeros(10)], np.r_[np.full(10, 8.0), np.zeros(10)], discounts=(1.0,))
    assert idle.level == pytest.approx(busy.level)


def test_the_posterior_of_a_single_discount_is_the_gamma_update() -> None:
    """Without discount: (prior + endings) / (prior + expected)."""
    level = follow(np.array([4.0, 6.0]), np.array([7.0, 9.0]), discounts=(1.0,))
    assert level.level == pytest.approx((PRIOR_ENDINGS + 16.0) / (PRIOR_ENDINGS + 10.0))


def test_periods_must_match() -> None:
    with pytest.raises(ValueError, match=r"shorter|longer"):
        follow(np.ones(3), np.ones(2))
