"""The trial's scores against brute force, integrals and a known law; no product code takes part."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import poisson

from tests.trial import metrics


@given(st.lists(st.tuples(st.integers(0, 5), st.booleans()), min_size=2, max_size=40))
def test_auc_is_the_share_of_pairs_in_order(pairs: list[tuple[int, bool]]) -> None:
    ended = [score for score, happened in pairs if happened]
    stayed = [score for score, happened in pairs if not happened]
    got = metrics.auc([s for s, _ in pairs], [h for _, h in pairs])
    if not ended or not stayed:
        assert np.isnan(got)
        return
    by_hand = np.mean([1.0 if a > b else 0.5 if a == b else 0.0 for a in ended for b in stayed])
    assert got == pytest.approx(by_hand, abs=1e-12)


def test_auc_of_a_perfect_and_of_a_reversed_order() -> None:
    assert metrics.auc([0.1, 0.2, 0.8, 0.9], [0, 0, 1, 1]) == 1.0
    assert metrics.auc([0.9, 0.8, 0.2, 0.1], [0, 0, 1, 1]) == 0.0
    assert metrics.auc([0.5, 0.5, 0.5, 0.5], [0, 0, 1, 1]) == 0.5


def test_brier_skill_is_nought_for_the_base_rate_and_one_for_certainty() -> None:
    happened = [1, 0, 0, 0, 1]
    assert metrics.brier_skill([0.4] * 5, happened) == pytest.approx(0.0, abs=1e-12)
    assert metrics.brier_skill(happened, happened) == 1.0
    assert metrics.brier_skill([0, 1, 1, 1, 0], happened) < -1.0


def test_expected_over_real_counts_endings() -> None:
    assert metrics.expected_over_real([0.5, 0.25, 0.25], [1, 0, 0]) == pytest.approx(1.0)
    assert np.isnan(metrics.expected_over_real([0.5], [0]))


@pytest.mark.parametrize("real", [-1.0, 0.0, 2.5, 3.0, 9.0])
def test_crps_is_the_integral_of_the_squared_distance_of_the_steps(real: float) -> None:
    draws = np.array([0.0, 1.0, 1.0, 3.0, 4.0, 7.0])

    def squared(t: float) -> float:
        return float((np.mean(draws <= t) - (t >= real)) ** 2)

    breaks = sorted({*draws.tolist(), real})
    by_integral = sum(quad(squared, a, b)[0] for a, b in pairwise(breaks))
    assert metrics.crps(draws, real) == pytest.approx(by_integral, abs=1e-9)


def test_crps_of_a_single_value_is_the_distance() -> None:
    assert metrics.crps([4.0, 4.0, 4.0], 7.0) == pytest.approx(3.0)


def test_randomised_pit_is_uniform_when_the_law_is_right() -> None:
    rng = np.random.default_rng(5)
    draws = rng.poisson(6.0, 20000)
    pits = np.array([metrics.randomised_pit(draws, y, rng) for y in rng.poisson(6.0, 4000)])
    # means of 4,000 uniforms in tenths: standard error sqrt(0.1 x 0.9 / 4000) = 0.0047; four of them
    shares = np.histogram(pits, bins=10, range=(0, 1))[0] / pits.size
    assert np.all(np.abs(shares - 0.1) < 4 * 0.0048 + 0.005)


def test_coverage_by_randomised_pit_is_the_nominal_one_even_for_small_counts() -> None:
    """Whole numbers neither flatter nor spoil it: the mean over the law itself is 0.8 at every mean."""
    for mean in (0.3, 2.0, 15.0):
        counts = np.arange(0, 80)
        weights = poisson.pmf(counts, mean)
        sample = np.repeat(counts, np.round(weights * 200000).astype(int))
        covered = sum(
            w * metrics.band_coverage(sample, int(n)) for n, w in zip(counts, weights, strict=True) if w > 1e-9
        )
        assert covered == pytest.approx(0.8, abs=0.002)


def test_coverage_is_the_chance_over_the_randomisation() -> None:
    rng = np.random.default_rng(1)
    draws = np.array([0, 0, 0, 1, 2])
    for real in (0, 1, 2, 3, -1):
        by_chance = np.mean([0.1 <= metrics.randomised_pit(draws, real, rng) <= 0.9 for _ in range(20000)])
        assert metrics.band_coverage(draws, real) == pytest.approx(by_chance, abs=0.015)


def test_a_band_too_narrow_covers_too_little() -> None:
    rng = np.random.default_rng(2)
    narrow = rng.poisson(20.0, 4000)
    wide = rng.negative_binomial(5, 5 / 25, 300)
    assert np.mean([metrics.band_coverage(narrow, int(y)) for y in wide]) < 0.6
