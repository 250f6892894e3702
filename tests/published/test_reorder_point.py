"""Reorder points and single orders, held against textbook examples and against stockpyl."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fleet.reels.ordering import newsvendor, reorder_point, reorder_quantile

stockpyl_newsvendor = pytest.importorskip("stockpyl.newsvendor")


def test_reorder_point_of_stevenson() -> None:
    """Stevenson, Operations Management, ch. 12 ex. 8: demand until delivery 50, sd 5, risk 3 %: 59.40."""
    assert reorder_point(50, 5, 0.97) == pytest.approx(59.40, abs=0.005)


def test_reorder_point_of_taylor() -> None:
    """Taylor, Introduction to Management Science, ch. 16: 30 a day, sd 5 a day, 10 days, 95 %: 326.09 with the printed
    z of 1.65; with the exact z 326.01."""
    sd = 5 * np.sqrt(10)
    assert reorder_point(300, sd, 0.95) == pytest.approx(326.01, abs=0.005)
    assert 300 + 1.65 * sd == pytest.approx(326.09, abs=0.005)


def test_newsvendor() -> None:
    """N(1000, 200), underage 40, overage 10: 1168.32; ratio 0.6: 1050.67; computed."""
    assert newsvendor(1000, 200, 40, 10) == pytest.approx(1168.32, abs=0.005)
    assert newsvendor(1000, 200, 6, 4) == pytest.approx(1050.67, abs=0.005)


@pytest.mark.parametrize("costs", [(40, 10), (6, 4), (1, 19)])
def test_newsvendor_agrees_with_stockpyl(costs: tuple[float, float]) -> None:
    underage, overage = costs
    level, _ = stockpyl_newsvendor.newsvendor_normal(overage, underage, 1000, 200)
    assert newsvendor(1000, 200, underage, overage) == pytest.approx(level, rel=1e-9)


@pytest.mark.parametrize("mean", [3.0, 12.0, 40.0])
@pytest.mark.parametrize("service", [0.8, 0.95])
def test_simulated_reorder_point_agrees_with_stockpyl(mean: float, service: float) -> None:
    """Poisson demand: the smallest level that covers the service level; from draws, within one unit of the exact."""
    level, _ = stockpyl_newsvendor.newsvendor_poisson(1 - service, service, mean)
    draws = np.random.default_rng(3).poisson(mean, 200_000)
    assert abs(reorder_quantile(draws, service) - level) <= 1.0
    assert (draws <= reorder_quantile(draws, service)).mean() >= service


def test_simulated_reorder_point_comes_to_the_normal_one() -> None:
    """200,000 draws of N(50, 5): the 97 % point within 4 standard errors of mean + z sd."""
    draws = np.random.default_rng(4).normal(50, 5, 200_000)
    z = 1.880794
    error = np.sqrt(0.97 * 0.03 / 200_000) / (np.exp(-z * z / 2) / np.sqrt(2 * np.pi)) * 5
    assert reorder_quantile(draws, 0.97) == pytest.approx(reorder_point(50, 5, 0.97), abs=4 * error)
