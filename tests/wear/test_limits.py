"""The two limits as mathematics: identities that hold for every input."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.wear.baseline import EDGES, Baseline
from pipeline.wear.fitting import REFERENCE_LEVELS
from pipeline.wear.limits import cumulative_hazard, life_at_hazard, life_used_dead, lives_of, survival
from pipeline.wear.reference import MATERIALS, VALUES, session_weight_rows, value

positive = st.floats(0.01, 50.0)
lives_used = st.floats(0.0, 20.0)
shapes = st.floats(0.7, 9.0)
quick = settings(max_examples=60, deadline=None)

STRAIGHT = Baseline(EDGES, np.ones(len(EDGES)))


@quick
@given(lives_used, shapes)
def test_life_and_hazard_undo_each_other(x: float, shape: float) -> None:
    assert float(life_at_hazard(cumulative_hazard(np.array(x), shape), shape)) == pytest.approx(x, rel=1e-9, abs=1e-9)


@quick
@given(shapes)
def test_half_of_such_beds_end_at_one_life(shape: float) -> None:
    assert np.exp(-cumulative_hazard(np.array(1.0), shape)) == pytest.approx(0.5)


@quick
@given(lives_used, lives_used, shapes)
def test_hazard_never_falls(x: float, more: float, shape: float) -> None:
    assert cumulative_hazard(np.array(x + more), shape) >= cumulative_hazard(np.array(x), shape)


@quick
@given(positive, positive, positive, positive)
def test_surviving_twice_is_surviving_the_sum(a: float, b: float, first: float, second: float) -> None:
    """Having lasted `first` raises the rate to b + first: S(first) S(second | first) = S(first + second)."""
    whole = survival(np.array(first + second), np.array(a), np.array(b))
    parts = survival(np.array(first), np.array(a), np.array(b)) * survival(
        np.array(second), np.array(a), np.array(b + first)
    )
    assert float(parts) == pytest.approx(float(whole), rel=1e-9)


@quick
@given(positive, positive, positive)
def test_survival_and_ending_make_one(a: float, b: float, added: float) -> None:
    """The chance to end, as the integral of the density a b**a / (b + z)**(a + 1), and to survive."""
    z = np.linspace(0.0, added, 4001)
    density = a * np.exp(a * np.log(b) - (a + 1.0) * np.log(b + z))
    lasted = float(survival(np.array(added), np.array(a), np.array(b)))
    assert lasted + float(np.trapezoid(density, z)) == pytest.approx(1.0, abs=2e-3 * max(1.0, (a * added / b) ** 2))
    assert 0.0 <= lasted <= 1.0


@quick
@given(positive, positive)
def test_nothing_added_nothing_lost(a: float, b: float) -> None:
    assert float(survival(np.array(0.0), np.array(a), np.array(b))) == pytest.approx(1.0)


@quick
@given(st.lists(st.floats(0.2, 5.0), min_size=len(EDGES), max_size=len(EDGES)), st.floats(0.0, 4.0))
def test_the_baseline_and_its_inverse(slopes: list[float], u: float) -> None:
    warp = Baseline(EDGES, np.array(slopes))
    assert float(warp.unwarped(warp.warped(np.array(u)))) == pytest.approx(u, abs=1e-9)
    assert float(STRAIGHT.warped(np.array(u))) == pytest.approx(u)


@quick
@given(st.floats(0.0, 40.0), st.floats(0.0, 5000.0), st.floats(0.0, 10.0), st.floats(0.0, 500.0))
def test_more_play_and_more_age_use_more_life(hours: float, age: float, more_hours: float, more_age: float) -> None:
    def used(h: float, t: float) -> float:
        return float(life_used_dead(np.array(h), np.array(t), np.array(13.0), np.array(0.1)))

    assert used(hours + more_hours, age) >= used(hours, age)
    assert used(hours, age + more_age) >= used(hours, age)


def beds(**cells: object) -> pd.DataFrame:
    row = {
        "mains_material": "polyester",
        "crosses_material": "polyester",
        "mains_gauge_mm": 1.25,
        "mains_profile": "round",
        "density_per_cm2": 16 * 19 / 632.0,
    }
    return pd.DataFrame([row | cells])


def test_the_reference_bed_has_the_reference_lives() -> None:
    for material, m in MATERIALS.items():
        lives = lives_of(beds(mains_material=material, crosses_material=material, mains_gauge_mm=m.gauge_mm))
        assert lives.break_hours[0] == pytest.approx(m.break_hours)
        assert lives.dead_hours[0] == pytest.approx(m.dead_hours)
        assert lives.rest[0] == pytest.approx(m.rest_per_decade)


def test_what_shortens_the_life_to_breaking() -> None:
    def life(**cells: object) -> float:
        return float(lives_of(beds(**cells)).break_hours[0])

    assert life(mains_gauge_mm=1.15) < life() < life(mains_gauge_mm=1.35)
    assert life(mains_profile="shaped") < life()
    assert life(density_per_cm2=16 * 16 / 645.0) < life() < life(density_per_cm2=18 * 20 / 632.0)
    soft = {"mains_material": "multifilament", "mains_gauge_mm": 1.30}
    assert life(**soft) < life(**soft, crosses_material="multifilament")


def test_soft_crosses_keep_polyester_alive_longer() -> None:
    """Common practice."""
    hybrid = lives_of(beds(crosses_material="multifilament"))
    assert hybrid.dead_hours[0] > lives_of(beds()).dead_hours[0]
    assert hybrid.rest[0] < lives_of(beds()).rest[0]


def test_what_is_not_known_takes_the_reference() -> None:
    blank = lives_of(beds(mains_gauge_mm=None, density_per_cm2=None, mains_profile=None))
    assert blank.break_hours[0] == lives_of(beds()).break_hours[0]
    unknown = lives_of(beds(mains_material=None, crosses_material=None, mains_gauge_mm=None))
    assert unknown.break_hours[0] == MATERIALS["unknown"].break_hours


def test_every_value_has_a_unit_a_meaning_and_a_source() -> None:
    assert len({v.name for v in VALUES}) == len(VALUES)
    for v in VALUES:
        assert v.unit and v.meaning and v.source, v.name
    with pytest.raises(KeyError, match="no_such_value"):
        value("no_such_value")


def test_reference_levels_weigh_one() -> None:
    weights = {(f, lv): (a, p) for f, lv, a, p in session_weight_rows()}
    for feature, levels in REFERENCE_LEVELS.items():
        for level in levels:
            assert weights[feature, level] == (1.0, 1.0)
