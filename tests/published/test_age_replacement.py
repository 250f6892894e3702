"""The cheapest point to restring, held against the worked example of reliability texts and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special

from pipeline.fleet.what_if.age_replacement import (
    cheapest_seen,
    cost_per_hour_at,
    weibull_cheapest,
    weibull_cost_per_hour,
)


def test_the_worked_example() -> None:
    """Weibull shape 2.5, scale 1000 h, planned 1, failing 5: 493.05 h, 0.0034620/h against 0.0056353/h (computed)."""
    found = weibull_cheapest(2.5, 1000, 1, 5)
    assert found.age_hours == pytest.approx(493.05, abs=0.005)
    assert found.cost_per_hour == pytest.approx(0.0034620, abs=5e-8)
    assert found.never_per_hour == pytest.approx(0.0056353, abs=5e-8)


@pytest.mark.parametrize("shape", [0.5, 0.9, 1.0])
def test_without_wearing_out_never(shape: float) -> None:
    assert weibull_cheapest(shape, 1000, 1, 5).age_hours is None
    assert weibull_cheapest(2.5, 1000, 5, 5).age_hours is None


def test_the_integral_agrees_with_the_incomplete_gamma_function() -> None:
    """Integral of S to T = scale / shape x gamma(1 / shape) x P(1 / shape, (T / scale)^shape)."""
    for shape, age in ((1.3, 200.0), (2.5, 493.05), (4.0, 900.0)):
        lived = 1000 / shape * special.gamma(1 / shape) * special.gammainc(1 / shape, (age / 1000) ** shape)
        survive = math.exp(-((age / 1000) ** shape))
        assert weibull_cost_per_hour(age, shape, 1000, 1, 5) == pytest.approx((survive + 5 * (1 - survive)) / lived)


@pytest.mark.parametrize("shape", [1.5, 2.5, 4.0])
def test_no_other_age_is_cheaper(shape: float) -> None:
    found = weibull_cheapest(shape, 10, 1, 6)
    assert found.age_hours is not None
    for factor in (0.5, 0.9, 0.99, 1.01, 1.1, 2.0):
        assert weibull_cost_per_hour(found.age_hours * factor, shape, 10, 1, 6) >= found.cost_per_hour


def test_a_dearer_failing_is_replaced_earlier() -> None:
    ages = [weibull_cheapest(2.5, 1000, 1, failing).age_hours for failing in (2, 5, 20)]
    assert ages == sorted(ages, reverse=True) and None not in ages


def test_simulated_lives_give_the_closed_form() -> None:
    """40,000 Weibull lives, a fifth cut off early: the cost curve within 4 standard errors, the age within a tenth."""
    rng = np.random.default_rng(5)
    lives = 1000 * rng.weibull(2.5, 40_000)
    cut = rng.uniform(200, 4000, 40_000)
    hours, ended = np.minimum(lives, cut), lives <= cut
    at = np.array([300.0, 493.05, 900.0])
    seen = cost_per_hour_at(at, hours, ended, ended, 1, 5)
    for age, cost in zip(at, seen, strict=True):
        exact = weibull_cost_per_hour(age, 2.5, 1000, 1, 5)
        failed = 1 - math.exp(-((age / 1000) ** 2.5))
        error = 4 * math.sqrt(failed * (1 - failed) / 30_000) / (exact * age) * 4 * exact + 1e-5
        assert cost == pytest.approx(exact, abs=error)
    found = cheapest_seen(hours, ended, ended, 1, 5)
    assert found.age_hours == pytest.approx(493.05, rel=0.1)
    assert found.cost_per_hour == pytest.approx(0.0034620, rel=0.03)
    assert found.never_per_hour == pytest.approx(0.0056353, rel=0.05)


def test_lives_without_wear_are_never_replaced() -> None:
    lives = np.random.default_rng(6).exponential(10, 20_000)
    everything = np.ones(20_000, dtype=bool)
    assert cheapest_seen(lives, everything, everything, 1, 5).age_hours is None


def test_nothing_seen_gives_no_answer() -> None:
    nothing = np.zeros(0)
    assert cheapest_seen(nothing, nothing.astype(bool), nothing.astype(bool), 1, 5).age_hours is None
