"""Whose numbers are in force: trade values, fits made now, or fits kept from an earlier origin."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from pipeline.wear.estimate import ENOUGH_NEW, MAX_AGE_DAYS, Estimate, Kept, estimate
from pipeline.wear.reference import session_weight_rows
from tests.fleet.clubs import ORIGIN, academy

TRADE = tuple(session_weight_rows())


@pytest.fixture(scope="module")
def fitted() -> Estimate:
    return estimate(academy(), ORIGIN)


def test_fits_change_weights_and_shapes(fitted: Estimate) -> None:
    assert fitted.fits
    assert fitted.weights != TRADE
    assert {row[:2] for row in fitted.weights} == {row[:2] for row in TRADE}


def test_trade_values_on_request() -> None:
    made = estimate(academy(players=4, weeks=12), ORIGIN, is_fitting=False)
    assert made.fits == {}
    assert made.weights == TRADE
    assert made.sentence.startswith("Runs on trade values")


def test_kept_fits_come_back_from_text_as_they_were(fitted: Estimate) -> None:
    back = Kept.from_json(fitted.kept.to_json())
    assert (back.as_of, back.endings, set(back.fits)) == (ORIGIN, fitted.kept.endings, set(fitted.fits))
    for limit, fit in fitted.fits.items():
        got = back.fits[limit]
        assert (got.shape, got.strength, got.rest_scale) == (fit.shape, fit.strength, fit.rest_scale)
        assert got.weights == fit.weights
        assert got.bed_effects == fit.bed_effects
        assert np.array_equal(got.family, fit.family)


@pytest.mark.parametrize(
    "text", ["", "{", "{}", "[]", '{"as_of": "2026-01-01", "endings": 1, "fits": [{"limit": "breaks"}]}']
)
def test_text_that_is_no_kept_fit_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        Kept.from_json(text)


def test_kept_fits_stand_while_little_is_new(fitted: Estimate) -> None:
    kept = fitted.kept
    assert kept.serves(ORIGIN, kept.endings)
    assert kept.serves(ORIGIN + timedelta(days=MAX_AGE_DAYS), kept.endings + 3)
    assert not kept.serves(ORIGIN + timedelta(days=MAX_AGE_DAYS + 1), kept.endings)
    assert not kept.serves(ORIGIN, kept.endings + max(ENOUGH_NEW, kept.endings) + 1)


def test_kept_fits_never_speak_of_the_past(fitted: Estimate) -> None:
    """They know what came after: an earlier origin is fitted anew."""
    assert not fitted.kept.serves(ORIGIN - timedelta(days=1), fitted.kept.endings)
    past = ORIGIN - timedelta(days=28)
    with_kept, without = estimate(academy(), past, kept=fitted.kept), estimate(academy(), past)
    assert with_kept.weights == without.weights
    assert with_kept.kept.as_of == past


def test_with_kept_fits_the_posterior_is_the_same(fitted: Estimate) -> None:
    again = estimate(academy(), ORIGIN, kept=fitted.kept)
    assert again.weights == fitted.weights
    for limit in ("breaks", "goes_dead"):
        assert again.learned.a[limit] == pytest.approx(fitted.learned.a[limit], rel=1e-6)
        assert again.learned.b[limit] == pytest.approx(fitted.learned.b[limit], rel=1e-6)
