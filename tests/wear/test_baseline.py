"""The club's own shape of wearing out: a piecewise-linear warp, learned bin by bin, against sums done by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.wear.baseline import EDGES, PRIOR_ENDINGS, Baseline, expected_in_bins, learn_baseline

SLOPES = np.array([2.0, 0.5, 1.0, 3.0, 0.25, 1.5, 1.0, 0.75, 2.0, 4.0])
BENT = Baseline(EDGES, SLOPES)

STRAIGHT = Baseline(EDGES, np.ones(len(EDGES)))


def test_without_evidence_nothing_is_bent() -> None:
    u = np.array([0.0, 0.005, 0.01, 0.2, 1.0, 1.6, 7.5])
    assert STRAIGHT.warped(u) == pytest.approx(u) and STRAIGHT.unwarped(u) == pytest.approx(u)


def test_the_warp_is_the_integral_of_its_slopes() -> None:
    steps = np.linspace(0.0, 3.0, 300_001)
    slope = SLOPES[np.searchsorted(EDGES, (steps[1:] + steps[:-1]) / 2, side="right") - 1]
    integral = np.concatenate([[0.0], np.cumsum(slope * np.diff(steps))])
    at = np.array([0, 500, 1000, 2000, 7000, 20_000, 64_999, 100_000, 160_000, 300_000])
    assert BENT.warped(steps[at]) == pytest.approx(integral[at], abs=1e-9)
    # by hand: 0.01 at slope 2, then half of the next bin's 0.02 at slope 0.5
    assert BENT.warped(np.array([0.02])) == pytest.approx([0.025])


def test_there_and_back() -> None:
    u = np.concatenate([EDGES, np.linspace(0.0, 5.0, 101)])
    assert BENT.unwarped(BENT.warped(u)) == pytest.approx(u)
    assert BENT.warped(u.reshape(3, 37)).shape == (3, 37)


def test_each_slope_is_prior_and_endings_over_prior_and_expected() -> None:
    """Two beds: one goes to 0.02 and ends there, one to 3 and does not; the second counts for a half."""
    start, end, weight = np.array([0.0, 0.015, 0.0]), np.array([0.015, 0.02, 3.0]), np.array([1.0, 1.0, 0.5])
    made = learn_baseline(expected_in_bins(start, end, weight), np.array([0.02, 3.0]), np.array([1.0, 0.0]))
    width = np.append(np.diff(EDGES), 3.0 - EDGES[-1])
    expected = 0.5 * width + np.array([0.01, 0.01] + [0.0] * 8)
    endings = np.array([0.0, 1.0] + [0.0] * 8)
    assert made.slopes == pytest.approx((PRIOR_ENDINGS + endings) / (PRIOR_ENDINGS + expected))


def test_an_ending_on_an_edge_and_one_beyond_the_last_are_counted_once() -> None:
    ended_at, ended = np.array([0.25, 1.6, 99.0, 0.0]), np.array([1.0, 1.0, 0.5, 1.0])
    made = learn_baseline(np.zeros(len(EDGES)), ended_at, ended)
    counts = (made.slopes - 1.0) * PRIOR_ENDINGS
    assert counts == pytest.approx([1, 0, 0, 0, 0, 1, 0, 0, 0, 1.5])


def test_a_hazard_that_doubles_is_found() -> None:
    """10,000 beds whose hazard is 1 up to u = 0.25 and 2 beyond: slopes within five standard errors."""
    rng = np.random.default_rng(8)
    true = Baseline(EDGES, np.where(EDGES < 0.25, 1.0, 2.0))
    u = true.unwarped(rng.exponential(size=10_000))
    made = learn_baseline(expected_in_bins(np.zeros_like(u), u, np.ones_like(u)), u, np.ones_like(u))
    counts = np.bincount(np.searchsorted(EDGES, u, side="right") - 1, minlength=len(EDGES))
    pull = PRIOR_ENDINGS / counts  # towards 1
    assert np.all(np.abs(made.slopes - true.slopes) < 5 * true.slopes / np.sqrt(counts) + pull)
    assert made.slopes[4] < 1.3 < 1.6 < made.slopes[5]
