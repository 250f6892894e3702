"""The wear model's likelihood and posterior against worked examples and a reference library.

Parameter mapping. A bed's play is in reference hours and its life B is set to the reference life, so x = hours / B
and the cumulative hazard is f ln 2 x**k. A Weibull of scale s and shape k has (hours / s)**k: s = B (f ln 2)**(-1 /
k).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import ExponentialFitter, KaplanMeierFitter, WeibullAFTFitter, WeibullFitter
from scipy import integrate, stats
from scipy.optimize import minimize, root

from pipeline.wear import baseline, fitting
from pipeline.wear.fitting import Problem
from pipeline.wear.learning import Learned, Shapes, learn
from pipeline.wear.limits import LN2, cumulative_hazard, life_at_hazard, survival
from tests.wear.hand_made import Bed, history

LAST_STRETCH_HOURS = (
    0.001  # the likelihood takes the hazard over a bed's last step: one this short makes it the density
)
STRENGTH_THAT_FIXES_THETA = 1e7
RACKETS_ALIKE = 1e15
INSTANT = 1e-10  # part of a life: a last stretch so short that the ending has a known moment


@pytest.fixture(autouse=True)
def without_priors(monkeypatch: pytest.MonkeyPatch) -> None:
    """Prior spreads so wide, and a baseline held so straight, that only the data speak."""
    for name in fitting.SPREAD:
        monkeypatch.setitem(fitting.SPREAD, name, 1e9)
    monkeypatch.setattr(baseline, "PRIOR_ENDINGS", 1e15)


def problem(
    hours: Sequence[float], is_failure: Sequence[bool], features: np.ndarray | None = None, names: tuple[str, ...] = ()
) -> Problem:
    """Each unit a bed of its own that lived so many hours; reference life 1 h and no family prior."""
    beds = [
        Bed(
            f"P{i}",
            "breaks" if failed else "none",
            (10, 30),
            (t - LAST_STRETCH_HOURS / 2, t + (LAST_STRETCH_HOURS / 2 if failed else 0)),
        )
        for i, (t, failed) in enumerate(zip(hours, is_failure, strict=True))
    ]
    h = history(beds)
    n, steps = len(beds), len(h.day)
    return Problem(
        h, "breaks", np.ones(n), np.zeros(steps), np.ones(steps), np.array(is_failure, dtype=float), np.ones(n),
        np.where(is_failure, 0.5, 1.0), np.zeros((n, 0)) if features is None else features, names, 1.0, 1.0, 0.85, 0.0,
        RACKETS_ALIKE,
    )  # fmt: skip


def most_likely(p: Problem, scale_guess: float) -> tuple[np.ndarray, float]:
    """Shape, scale and effects at the maximum of the project's likelihood with every multiplier held at 1, and its log.

    The log likelihood is per hour: the length of the last stretch is taken out of it.
    """
    at = fitting._Layout(p)
    v0 = np.zeros(at.size)
    v0[1] = np.log(STRENGTH_THAT_FIXES_THETA)
    v0[3] = -np.log(LN2) - np.log(scale_guess)
    free = np.ones(at.size, dtype=bool)
    free[[1, 2]] = False

    def negative(u: np.ndarray) -> tuple[float, np.ndarray]:
        v = v0.copy()
        v[free] = u
        value, gradient = fitting.objective(v, p, at)
        return value, gradient[free]

    found = minimize(negative, v0[free], jac=True, method="BFGS", options={"gtol": 1e-6})
    shape = float(np.exp(found.x[0]))
    scale = float((np.exp(found.x[1]) * LN2) ** (-1.0 / shape))
    per_hour = float(p.ended.sum()) * np.log(LAST_STRETCH_HOURS)
    return np.array([shape, scale, *found.x[2:]]), -float(found.fun) - per_hour


# NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten units censored at 500 h
NIST_HOURS = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
NIST_FAILED = [True] * 10 + [False] * 10


def test_weibull_with_censoring_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3: scale 606.528, shape 1.7208, AIC 154.27."""
    (shape, scale), log_likelihood = most_likely(problem(NIST_HOURS, NIST_FAILED), 600.0)
    assert scale == pytest.approx(606.528, abs=0.0005)
    assert shape == pytest.approx(1.7208, abs=0.00005)
    assert 2 * 2 - 2 * log_likelihood == pytest.approx(154.27, abs=0.005)


def test_weibull_with_censoring_agrees_with_the_reference_library() -> None:
    """lifelines WeibullFitter (lambda_ is the scale, rho_ the shape) on the same data."""
    reference = WeibullFitter().fit(NIST_HOURS, NIST_FAILED)
    (shape, scale), log_likelihood = most_likely(problem(NIST_HOURS, NIST_FAILED), 600.0)
    assert scale == pytest.approx(reference.lambda_, rel=1e-6)
    assert shape == pytest.approx(reference.rho_, rel=1e-6)
    assert log_likelihood == pytest.approx(reference.log_likelihood_, abs=1e-6)


def test_string_effects_agree_with_weibull_regression_of_the_reference_library() -> None:
    """lifelines WeibullAFTFitter: an effect on the log life is its coefficient of lambda_; the shape is exp of
    rho_'s intercept. It stops within 1e-6 of its own maximum, so SciPy goes on from there to the root of the score."""
    rng = np.random.default_rng(3)
    thicker = rng.normal(0.0, 1.0, 120)
    hours = 40.0 * np.exp(0.4 * thicker) * rng.weibull(2.2, 120) + 2.0
    failed = hours < 60.0
    hours = np.minimum(hours, 60.0)
    reference = WeibullAFTFitter().fit(
        pd.DataFrame({"hours": hours, "failed": failed, "thicker": thicker}), "hours", "failed"
    )
    told = [
        reference.params_[name] for name in (("rho_", "Intercept"), ("lambda_", "Intercept"), ("lambda_", "thicker"))
    ]

    def score(u: np.ndarray) -> np.ndarray:
        z = np.exp(u[0]) * (np.log(hours) - u[1] - u[2] * thicker)
        by_scale = np.exp(u[0]) * (np.exp(z) - failed)
        return np.array([(failed * (1.0 + z) - z * np.exp(z)).sum(), by_scale.sum(), (by_scale * thicker).sum()])

    exact = root(score, told, tol=1e-13).x
    assert told == pytest.approx(exact, abs=2e-6)
    (shape, scale, effect), log_likelihood = most_likely(
        problem(hours, failed, thicker[:, None], ("gauge_exponent",)), 40.0
    )
    assert [np.log(shape), np.log(scale), effect] == pytest.approx(exact, abs=1e-6)
    assert log_likelihood == pytest.approx(reference.log_likelihood_, rel=1e-6)


def learned_from(beds: list[Bed], strength: float, strength_family: float = 1e15) -> Learned:
    """Posterior of constant hazards (shape 1): z is f ln 2 hours / B; rackets taken as alike."""
    shapes = Shapes(
        shape_breaks=1.0, strength_breaks=strength, strength_family=strength_family, strength_racket=RACKETS_ALIKE
    )
    return learn(history(beds), shapes, tolerance=1e-10)


def broken_at(hours: float, player: str = "P1", string: str = "polyester") -> Bed:
    """A bed known to have broken at so many reference hours, neither sooner nor later."""
    return Bed(player, "breaks", (10, 30), (hours * (1.0 - INSTANT), hours), mains=string, crosses=string)


def hours_for(z: float) -> float:
    """Reference hours on a standard polyester bed that add up to z at shape 1."""
    one = history([Bed(abrasion=(1.0,))])
    return z / float(learn(one, Shapes(shape_breaks=1.0)).exposure.added(one, "breaks")[0])


def test_gamma_poisson() -> None:
    """Johnson, Ott & Dogucu, Bayes Rules!, ch. 5: Gamma(10, 2), counts 6 2 2 1 -> Gamma(21, 6).

    The multiplier has prior mean 1, so the rate is 5 times it and a period at risk adds z = 5: Gamma(10, 10) ->
    Gamma(21, 30).
    """
    endings_of_period = (6, 2, 2, 1)
    beds = []
    for count in endings_of_period:
        beds += [broken_at(hours_for(5.0 / (count + 1))) for _ in range(count)]
        beds.append(Bed(cause="none", abrasion=(hours_for(5.0 / (count + 1)),)))
    made = learned_from(beds, strength=10.0)
    assert made.a["breaks"][0] == pytest.approx(21.0, rel=1e-9)
    assert made.b["breaks"][0] / 5.0 == pytest.approx(6.0, rel=1e-9)
    # a player without any bed keeps the prior
    assert made.a["breaks"][-1] == made.b["breaks"][-1] == pytest.approx(10.0)


def test_gamma_prior_on_an_exponential_life() -> None:
    """NIST/SEMATECH e-Handbook 8.4.6 (numbers from memory): prior a 2, b 1400, then 2 failures in 1,909 h: median life
    901.13 h, lower 80 % bound 600.0 h. The multiplier is the rate times 700 h."""
    beds = [broken_at(hours_for(900.0 / 700.0)), broken_at(hours_for(1009.0 / 700.0))]
    made = learned_from(beds, strength=2.0)
    a, b_hours = made.a["breaks"][0], made.b["breaks"][0] * 700.0
    assert (a, b_hours) == pytest.approx((4.0, 1400.0 + 1909.0), rel=1e-9)
    rate = stats.gamma(a, scale=1.0 / b_hours)
    assert 1.0 / rate.median() == pytest.approx(901.13, abs=0.005)
    assert 1.0 / rate.ppf(0.8) == pytest.approx(600.0, abs=0.05)


def test_flat_prior_gives_the_exponential_rate_of_the_reference_library() -> None:
    """lifelines ExponentialFitter: lambda_ is total time over failures; the posterior mean under a flat prior is
    its inverse."""
    rng = np.random.default_rng(5)
    life = rng.exponential(30.0, 40)
    failed, hours = life < 45.0, np.minimum(life, 45.0)
    reference = ExponentialFitter().fit(hours, failed)
    scale = hours_for(1.0)
    beds = [
        broken_at(t * scale / 30.0) if f else Bed(abrasion=(t * scale / 30.0,))
        for t, f in zip(hours, failed, strict=True)
    ]
    made = learned_from(beds, strength=1e-9)
    assert 30.0 * made.b["breaks"][0] / made.a["breaks"][0] == pytest.approx(reference.lambda_, rel=1e-6)


def test_kaplan_meier_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 8.2.1.5: 20 units, survival 0.95 0.90 0.8471 0.7941 0.7374 0.6704 (computed).

    Each stretch between two failures is a string family of its own and each unit at risk in it a bed with z = 1:
    the family's multiplier without a prior is endings over exposure, which is the estimate's d / n.
    """
    failures, withdrawn = [10, 32, 56, 98, 122, 181], [50, 100, 125, 150] + [200] * 10
    families = ["polyester", "multifilament", "synthetic_gut", "natural_gut", "aramid", "other"]
    beds = []
    for t, material in zip(failures, families, strict=True):
        one = history([Bed(mains=material, crosses=material, abrasion=(1.0,))])
        z_one = float(learn(one, Shapes(shape_breaks=1.0)).exposure.added(one, "breaks")[0])
        at_risk = sum(life >= t for life in failures + withdrawn)
        beds += [
            broken_at(1.0 / z_one, "P0", material)
            if i == 0
            else Bed(f"P{i}", abrasion=(1.0 / z_one,), mains=material, crosses=material)
            for i in range(at_risk)
        ]
    made = learned_from(beds, strength=1e15, strength_family=1e-12)
    got = np.cumprod(1.0 - made.family["breaks"])
    assert got == pytest.approx([0.95, 0.90, 0.8471, 0.7941, 0.7374, 0.6704], abs=5e-5)
    reference = KaplanMeierFitter().fit(failures + withdrawn, [True] * 6 + [False] * 14)
    assert got == pytest.approx(reference.survival_function_at_times(failures).to_numpy(), abs=1e-6)


@pytest.mark.parametrize(("a", "b", "added"), [(3.0, 3.0, 0.5), (0.7, 1.2, 2.0), (21.0, 30.0, 0.01), (5.5, 2.0, 7.0)])
def test_survival_is_the_gamma_mixture(a: float, b: float, added: float) -> None:
    """Integrated numerically with SciPy: the mean of exp(-theta added) over theta ~ Gamma(a, rate b)."""
    mixture, _ = integrate.quad(
        lambda u: np.exp(-stats.gamma.ppf(u, a, scale=1.0 / b) * added), 0.0, 1.0, epsabs=1e-12, epsrel=1e-12, limit=400
    )
    assert float(survival(np.array(added), np.array(a), np.array(b))) == pytest.approx(mixture, abs=1e-9)


def test_weibull_hazard_and_quantiles_agree_with_scipy() -> None:
    """SciPy weibull_min with median 1; life_at_hazard undoes cumulative_hazard."""
    x = np.linspace(0.0, 3.0, 31)
    for shape in (0.8, 1.0, 3.0, 6.0):
        reference = stats.weibull_min(shape, scale=LN2 ** (-1.0 / shape))
        assert np.exp(-cumulative_hazard(x, shape)) == pytest.approx(reference.sf(x), abs=1e-12)
        assert life_at_hazard(cumulative_hazard(x, shape), shape) == pytest.approx(x, abs=1e-9)
        assert float(life_at_hazard(np.array(-np.log(0.1)), shape)) == pytest.approx(reference.ppf(0.9), rel=1e-9)


@pytest.mark.parametrize(("strength", "z", "endings"), [(3.0, 4.0, 2), (10.0, 30.0, 21), (0.8, 0.3, 1), (5.0, 12.0, 0)])
def test_posterior_agrees_with_numerical_integration(strength: float, z: float, endings: int) -> None:
    """Integrated with SciPy: mean and variance of theta under its prior Gamma(strength, rate strength) times
    theta**endings exp(-theta z)."""
    one = hours_for(z / (endings + 1))
    beds = [broken_at(one) if i < endings else Bed(abrasion=(one,)) for i in range(endings + 1)]
    made = learned_from(beds, strength)
    a, b = float(made.a["breaks"][0]), float(made.b["breaks"][0])
    prior = stats.gamma(strength, scale=1.0 / strength)

    def moment(order: int) -> float:
        whole, _ = integrate.quad(
            lambda t: t ** (endings + order) * np.exp(-t * z) * prior.pdf(t),
            0.0, np.inf, epsabs=0.0, epsrel=1e-10, limit=400,
        )  # fmt: skip
        return float(whole)

    mean = moment(1) / moment(0)
    assert a / b == pytest.approx(mean, rel=1e-6)
    assert a / b**2 == pytest.approx(moment(2) / moment(0) - mean**2, rel=1e-6)


@pytest.mark.parametrize("family", [0.6, 1.0, 1.7])
@pytest.mark.parametrize("look", [0.5, 1.0, 2.4])
def test_chance_to_outlast_more_play_agrees_with_numerical_integration(family: float, look: float) -> None:
    """S = (b / (b + f m dz))**a, with f of the string, m of the look, dz the hazard of the coming play: SciPy
    integrates the Weibull hazard over the play, then the chance over the player's multiplier."""
    a, b, shape, used, then = 4.2, 3.1, 2.6, 0.7, 1.25
    added = cumulative_hazard(np.array(then), shape) - cumulative_hazard(np.array(used), shape)
    hazard, _ = integrate.quad(lambda x: LN2 * shape * x ** (shape - 1.0), used, then, epsabs=1e-13)
    multiplier = stats.gamma(a, scale=1.0 / b)
    chance, _ = integrate.quad(
        lambda t: np.exp(-t * family * look * hazard) * multiplier.pdf(t), 0.0, np.inf, epsabs=1e-12, limit=400
    )
    assert float(survival(family * look * added, np.array(a), np.array(b))) == pytest.approx(chance, abs=1e-9)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(0.2, 60.0), st.floats(0.2, 60.0), st.floats(0.3, 3.0), st.floats(0.8, 6.0), st.floats(0.0, 2.0),
    st.floats(0.01, 0.99),
)  # fmt: skip
def test_quantile_and_chance_undo_each_other(
    a: float, b: float, multiplier: float, shape: float, used: float, ending: float
) -> None:
    """The life used at which a bed has ended with a chance, from SciPy's lomax (the hazard's law under a gamma
    multiplier), put back into the project's survival gives that chance."""
    reference = stats.lomax(a, scale=b / multiplier)
    now = cumulative_hazard(np.array(used), shape)
    then = life_at_hazard(now + reference.ppf(ending), shape)
    added = cumulative_hazard(then, shape) - now
    assert 1.0 - float(survival(multiplier * added, np.array(a), np.array(b))) == pytest.approx(ending, abs=1e-6)
