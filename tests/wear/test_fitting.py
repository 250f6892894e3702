"""The marginal likelihood: its gradient, what it finds in simulated beds, and that a fit never loses to the trade
values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from pipeline.wear import fitting
from pipeline.wear.adoption import problem_of, shapes_of, weights_of
from pipeline.wear.history import SIGNS, History
from pipeline.wear.learning import learn
from pipeline.wear.reference import session_weight_rows
from tests.wear.hand_made import Bed, history
from tests.wear.simulated import drawn_beds


def mixed_history() -> History:
    """Every kind of thing the likelihood has to do with: causes, looks, hybrids, gauges, kinds of play, nobody's
    beds."""
    rng = np.random.default_rng(11)
    causes = ("breaks", "goes_dead", "mishit", "other", "unknown", "none")
    kinds = (
        {"activity": "drills", "spin": "heavy"},
        {"activity": "doubles", "surface": "clay", "level": "national"},
        {"intensity": "hard", "level": "club", "spin": "flat"},
        {},
    )
    beds = []
    for i in range(60):
        n = int(rng.integers(1, 9))
        hours = np.cumsum(rng.uniform(0.3, 6.0, n))
        days = np.cumsum(rng.integers(1, 6, n))
        looks = {int(rng.integers(0, n)): {SIGNS[i % 4]: int(rng.integers(0, 4))}} if i % 3 == 0 else {}
        beds.append(
            Bed(
                f"P{i % 7}",
                causes[i % len(causes)],
                tuple(days),
                tuple(hours),
                tuple(0.9 * hours),
                looks=looks,
                mains=("polyester", "multifilament", "synthetic_gut")[i % 3],
                crosses=("polyester", "polyester", "synthetic_gut")[i % 3],
                gauge_mm=1.2 + 0.05 * (i % 4),
                profile="shaped" if i % 5 == 0 else "round",
                is_string_known=i % 13 != 0,
                levels=kinds[i % 4],
            )
        )
    return history(beds)


@pytest.mark.parametrize("limit", ["breaks", "goes_dead"])
def test_the_gradient_is_the_slope(limit: str) -> None:
    h = mixed_history()
    p = problem_of(h, learn(h), limit)
    at = fitting._Layout(p)
    assert at.n_weights > 3
    rng = np.random.default_rng(2)
    v = rng.normal(0.0, 0.2, at.size)
    v[0], v[1] = np.log(2.2), np.log(1.7)
    value, gradient = fitting.objective(v, p, at)
    slope = approx_fprime(v, lambda u: fitting.objective(u, p, at)[0], 1e-6)
    assert np.isfinite(value)
    assert gradient == pytest.approx(slope, rel=2e-4, abs=2e-3)


@pytest.mark.parametrize("limit", ["breaks", "goes_dead"])
def test_a_fit_never_loses_to_the_trade_values(limit: str) -> None:
    h = mixed_history()
    found = fitting.fit(problem_of(h, learn(h), limit))
    assert found.log_likelihood >= found.trade_log_likelihood
    assert all(w > 0 for w in found.weights.values())


def test_the_shape_that_was_put_in_is_found() -> None:
    """Recovery: shape 2 among 20 alike players with 12 beds each; the prior stands at the trade value of 3."""
    h = history(drawn_beds(np.random.default_rng(4), [1.0] * 20, 12, shape=2.0))
    found = fitting.fit(problem_of(h, learn(h), "breaks"))
    assert found.endings > 100
    standard_error = 0.78 * 2.0 / np.sqrt(found.endings)  # of a Weibull shape: 0.78 k / sqrt(n)
    assert abs(found.shape - 2.0) < 4 * standard_error
    # alike players: the prior strength goes up from the trade value
    assert found.strength > 3.0


def test_players_who_differ_give_a_weaker_prior_than_players_who_do_not() -> None:
    rng = np.random.default_rng(6)
    alike = history(drawn_beds(rng, [1.0] * 20, 8))
    apart = history(drawn_beds(rng, list(np.exp(rng.normal(0.0, 1.2, 20))), 8))
    one, two = (fitting.fit(problem_of(h, learn(h), "breaks")) for h in (alike, apart))
    assert two.strength < one.strength


def test_a_heavier_kind_of_play_is_found() -> None:
    """Half of the players do drills that cost twice what the reference hour does: their beds end at half the logged
    hours."""
    rng = np.random.default_rng(8)
    plain = drawn_beds(rng, [1.0] * 12, 10)
    hard = [
        Bed(
            b.player + "d",
            b.cause,
            b.days,
            tuple(np.array(b.abrasion) / 2.0),
            b.playability,
            levels={"activity": "drills"},
        )
        for b in drawn_beds(rng, [1.0] * 12, 10)
    ]
    found = fitting.fit(problem_of(history(plain + hard), learn(history(plain + hard)), "breaks"))
    trade = {(f, lv): a for f, lv, a, _ in session_weight_rows()}["activity", "drills"]
    assert trade < found.weights["activity", "drills"] < 2.4


def test_fits_go_into_shapes_and_weights() -> None:
    h = mixed_history()
    made = learn(h)
    fits = {limit: fitting.fit(problem_of(h, made, limit)) for limit in ("breaks", "goes_dead")}
    shapes = shapes_of(fits, made.shapes)
    assert shapes.shape_breaks == fits["breaks"].shape
    assert shapes.strength_dead == fits["goes_dead"].strength
    rows = {(f, lv): (a, p) for f, lv, a, p in weights_of(fits)}
    assert set(rows) == {(f, lv) for f, lv, _, _ in session_weight_rows()}
    assert rows["activity", "drills"] == (
        fits["breaks"].weights["activity", "drills"],
        fits["goes_dead"].weights["activity", "drills"],
    )
    assert rows["activity", "singles"] == (1.0, 1.0)
    assert ("spin", "heavy") not in fits["goes_dead"].weights
