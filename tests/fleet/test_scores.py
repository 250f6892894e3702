"""The scores of the track record against brute force, integrals, closed forms and laws that are known to be right."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from pipeline.fleet import scores

PAIRS = st.lists(st.tuples(st.integers(0, 5), st.booleans()), min_size=2, max_size=40)


@given(PAIRS)
def test_auc_is_the_share_of_pairs_in_order(pairs: list[tuple[int, bool]]) -> None:
    ended, stayed = [s for s, y in pairs if y], [s for s, y in pairs if not y]
    got = scores.auc([s for s, _ in pairs], [float(y) for _, y in pairs])
    if not ended or not stayed:
        assert np.isnan(got)
        return
    by_hand = np.mean([1.0 if a > b else 0.5 if a == b else 0.0 for a in ended for b in stayed])
    assert got == pytest.approx(by_hand, abs=1e-12)


def test_auc_is_mann_whitney_s_u() -> None:
    """SciPy's U over the number of pairs, ties included."""
    rng = np.random.default_rng(3)
    score, happened = rng.integers(0, 9, 300), rng.random(300) < 0.3
    u = stats.mannwhitneyu(score[happened], score[~happened]).statistic
    assert scores.auc(score, happened) == pytest.approx(u / (happened.sum() * (~happened).sum()), abs=1e-12)


def test_an_open_outcome_counts_by_its_part() -> None:
    """Half ended = the row twice, ended once; every score agrees with such doubled rows."""
    p, y = np.array([0.9, 0.6, 0.4, 0.1]), np.array([1.0, 0.5, 0.0, 0.0])
    doubled_p, doubled_y = np.repeat(p, 2), np.array([1, 1, 1, 0, 0, 0, 0, 0])
    for score in (scores.auc, scores.brier, scores.brier_skill, scores.expected_over_real):
        assert score(p, y) == pytest.approx(score(doubled_p, doubled_y), abs=1e-12)


def test_brier_of_a_chance_that_is_right_is_its_variance() -> None:
    """E (p - Y)^2 = p (1 - p) where Y comes with chance p: with 3 of 10 come true and 0.3 said, 0.21."""
    assert scores.brier([0.3] * 10, [1] * 3 + [0] * 7) == pytest.approx(0.21, abs=1e-12)


def test_brier_skill_is_nought_for_the_base_rate_one_for_certainty_and_below_for_the_reverse() -> None:
    happened = [1, 0, 0, 0, 1]
    assert scores.brier_skill([0.4] * 5, happened) == pytest.approx(0.0, abs=1e-12)
    assert scores.brier_skill(happened, happened) == 1.0
    assert scores.brier_skill([0, 1, 1, 1, 0], happened) < -1.0
    assert np.isnan(scores.brier_skill([0.1, 0.2], [0, 0]))


def test_expected_over_real_counts_endings() -> None:
    assert scores.expected_over_real([0.5, 0.25, 0.25], [1, 0, 0]) == pytest.approx(1.0)
    assert np.isnan(scores.expected_over_real([0.5], [0]))


def test_calibration_by_tenths() -> None:
    got = scores.calibration([0.0, 0.05, 0.15, 0.1, 1.0, 0.95], [0, 1, 0, 1, 1, 1])
    assert got["tenth"].tolist() == [0, 1, 9]
    assert got["count"].tolist() == [2, 2, 2]
    assert got["predicted"].tolist() == pytest.approx([0.025, 0.125, 0.975])
    assert got["came_true"].tolist() == [0.5, 0.5, 1.0]


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60))
def test_calibration_leaves_nobody_out(rows: list[tuple[float, bool]]) -> None:
    p, y = [a for a, _ in rows], [float(b) for _, b in rows]
    got = scores.calibration(p, y)
    assert got["count"].sum() == len(rows)
    assert (got["count"] * got["came_true"]).sum() == pytest.approx(sum(y))
    assert (got["count"] * got["predicted"]).sum() == pytest.approx(sum(p))
    assert ((got["low"] < got["high"]) & (got["low"] >= 0) & (got["high"] <= 1)).all()


def test_the_band_of_a_share_holds_four_fifths_of_its_posterior() -> None:
    """Seven of twenty: the density of Beta(7.5, 13.5), integrated between the ends (Jeffreys prior, from memory)."""
    band = scores.calibration([0.35] * 20, [1] * 7 + [0] * 13).iloc[0]
    assert quad(stats.beta(7.5, 13.5).pdf, band["low"], band["high"])[0] == pytest.approx(0.8, abs=1e-9)
    assert band["low"] < 0.35 < band["high"]


@pytest.mark.parametrize("real", [-1.0, 0.0, 2.5, 3.0, 9.0])
def test_crps_is_the_integral_of_the_squared_distance_of_the_steps(real: float) -> None:
    draws = np.array([0.0, 1.0, 1.0, 3.0, 4.0, 7.0])

    def squared(t: float) -> float:
        return float((np.mean(draws <= t) - (t >= real)) ** 2)

    breaks = sorted({*draws.tolist(), real})
    by_integral = sum(quad(squared, a, b)[0] for a, b in pairwise(breaks))
    assert scores.crps(draws, real) == pytest.approx(by_integral, abs=1e-9)


@pytest.mark.parametrize("real", [-2.0, 0.0, 0.7])
def test_crps_of_the_normal_law(real: float) -> None:
    """y (2 Phi(y) - 1) + 2 phi(y) - 1 / sqrt(pi) (Gneiting and Raftery 2007, from memory)."""
    draws = stats.norm.ppf((np.arange(4000) + 0.5) / 4000)
    closed = real * (2 * stats.norm.cdf(real) - 1) + 2 * stats.norm.pdf(real) - 1 / np.sqrt(np.pi)
    assert scores.crps(draws, real) == pytest.approx(closed, abs=5e-4)


def test_crps_is_twice_the_pinball_loss_over_all_levels() -> None:
    """Gneiting and Raftery 2007 (from memory)."""
    draws, real, levels = np.random.default_rng(2).gamma(4.0, 3.0, 800), 17.0, (np.arange(2000) + 0.5) / 2000
    quantiles = np.quantile(draws, levels, method="inverted_cdf")
    losses = [scores.pinball(q, level, real) for q, level in zip(quantiles, levels, strict=True)]
    assert 2 * np.mean(losses) == pytest.approx(scores.crps(draws, real), rel=2e-3)


@pytest.mark.parametrize("level", [0.1, 0.5, 0.9])
def test_pinball_is_least_at_the_quantile(level: float) -> None:
    real = np.random.default_rng(4).poisson(12.0, 4000)
    losses = [np.mean([scores.pinball(q, level, y) for y in real]) for q in range(30)]
    assert int(np.argmin(losses)) == int(np.quantile(real, level, method="inverted_cdf"))


def test_randomised_pit_is_uniform_where_the_law_is_right() -> None:
    rng = np.random.default_rng(5)
    draws = rng.poisson(6.0, 20000)
    pits = np.array([scores.randomised_pit(*scores.pit_interval(draws, y), rng) for y in rng.poisson(6.0, 4000)])
    # tenths of 4,000 uniforms: standard error sqrt(0.1 x 0.9 / 4000) = 0.0047; four of them, and the draws' own error
    shares = np.histogram(pits, bins=10, range=(0, 1))[0] / pits.size
    assert np.all(np.abs(shares - 0.1) < 4 * 0.0048 + 0.005)


@pytest.mark.parametrize("mean", [0.3, 2.0, 15.0])
def test_the_band_covers_four_fifths_under_the_law_itself(mean: float) -> None:
    """Whole numbers neither flatter nor spoil it, however small the counts."""
    counts = np.arange(0, 80)
    below, upto = stats.poisson.cdf(counts - 1, mean), stats.poisson.cdf(counts, mean)
    weights = stats.poisson.pmf(counts, mean)
    covered = sum(w * scores.band_coverage(a, b) for a, b, w in zip(below, upto, weights, strict=True))
    assert covered == pytest.approx(0.8, abs=1e-9)


def test_the_three_parts_of_the_line_add_up() -> None:
    for low, high in ((0.0, 0.3), (0.05, 0.95), (0.92, 1.0), (0.4, 0.4)):
        parts = [scores.band_coverage(low, high, *ends) for ends in ((0.0, 0.1), (0.1, 0.9), (0.9, 1.0))]
        assert sum(parts) == pytest.approx(1.0)


def test_a_forecast_that_does_not_fit_its_outcomes_is_refused() -> None:
    with pytest.raises(ValueError, match="One chance for each outcome is needed"):
        scores.brier([0.1, 0.2], [1])
    with pytest.raises(ValueError, match="An outcome is 0, 1 or a part between"):
        scores.auc([0.1, 0.2], [2, 0])
    with pytest.raises(ValueError, match="An outcome is 0, 1 or a part between"):
        scores.brier([0.1], [float("nan")])
