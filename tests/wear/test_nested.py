"""Players and rackets integrated out: against SciPy's quadrature, against the closed form, and the slopes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats
from scipy.optimize import approx_fprime
from scipy.special import gammaln

from pipeline.wear.learning import part_outlasted
from pipeline.wear.nested import Marginal, marginal


def of_one(endings: list[float], hazard: list[float], a: float, c: float) -> Marginal:
    return marginal(np.array(endings), np.array(hazard), np.zeros(len(endings), dtype=np.int64), 1, a, c)


@pytest.mark.parametrize("a", [0.2, 1.0, 3.0, 40.0])
@pytest.mark.parametrize(("endings", "hazard"), [([0, 0], [0.5, 2.0]), ([1, 0], [0.1, 3.0]), ([8, 12], [20.0, 5.0])])
def test_two_levels_agree_with_numerical_integration(a: float, endings: list[float], hazard: list[float]) -> None:
    """SciPy: over theta ~ Gamma(a, a) of the product of each racket's mean of (theta rho)**N exp(-theta rho H),
    that mean in turn over rho ~ Gamma(c, c)."""
    c = 12.0

    def racket(theta: float, n: float, h: float) -> float:
        """Mean over rho: a gamma integral, so in closed form."""
        return float(np.exp(gammaln(c + n) - gammaln(c) + n * np.log(theta / c) - (c + n) * np.log1p(theta * h / c)))

    def player(t: float) -> float:
        theta = np.exp(t)
        each = [racket(theta, n, h) for n, h in zip(endings, hazard, strict=True)]
        return float(np.prod(each) * stats.gamma.pdf(theta, a, scale=1.0 / a) * theta)

    edges = (-120.0, -20.0, -5.0, -1.0, 0.0, 1.0, 5.0)
    parts = [integrate.quad(player, *pair, epsabs=0.0, epsrel=1e-10, limit=200)[0] for pair in pairwise(edges)]
    assert float(of_one(endings, hazard, a, c).log_like[0]) == pytest.approx(np.log(sum(parts)), abs=3e-6)
    by_hand, _ = integrate.quad(
        lambda r: r ** endings[1] * np.exp(-r * hazard[1]) * stats.gamma.pdf(r, c, scale=1.0 / c),
        0.0,
        8.0,
        epsrel=1e-10,
    )
    assert racket(1.0, endings[1], hazard[1]) == pytest.approx(by_hand, rel=1e-6)


def test_rackets_that_are_alike_give_the_closed_form() -> None:
    """Gamma(a + n) / Gamma(a) a**a (a + Z)**-(a + n): the one level of a player."""
    a, endings, hazard = 2.3, [3.0, 1.0], [2.0, 0.7]
    closed = gammaln(a + 4) - gammaln(a) + a * np.log(a) - (a + 4) * np.log(a + 2.7)
    assert float(of_one(endings, hazard, a, 1e15).log_like[0]) == pytest.approx(closed, abs=1e-8)


@pytest.mark.parametrize("a", [0.3, 3.0, 30.0])
def test_the_slopes_are_those_of_the_likelihood(a: float) -> None:
    endings, hazard = np.array([2.0, 0.0, 5.0, 0.0]), np.array([1.5, 0.4, 9.0, 2.0])
    player = np.array([0, 0, 1, 2])
    made = marginal(endings, hazard, player, 3, a, 12.0)
    by_a = approx_fprime(np.array([a]), lambda v: marginal(endings, hazard, player, 3, v[0], 12.0).log_like.sum(), 1e-6)
    by_hazard = approx_fprime(hazard, lambda v: marginal(endings, v, player, 3, a, 12.0).log_like.sum(), 1e-6)
    assert made.by_a.sum() == pytest.approx(by_a[0], abs=1e-4)
    assert made.by_hazard == pytest.approx(by_hazard, abs=1e-4)


@pytest.mark.parametrize("hazard", [0.01, 0.05, 0.0999, 0.1001, 1.0, 8.0])
def test_the_part_of_a_stretch_outlasted_is_the_mean_of_a_life_that_ended_in_it(hazard: float) -> None:
    """SciPy truncexpon: an exponential life cut off at 1."""
    expected = stats.truncexpon.mean(hazard, scale=1.0 / hazard)
    assert float(part_outlasted(np.array([hazard]))[0]) == pytest.approx(expected, abs=1e-5)
