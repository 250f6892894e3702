"""What grade a look is likely to show, and where a bed stood on a day."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.wear.bed_step import step_on
from pipeline.wear.history import SIGNS
from pipeline.wear.look_grades import LIFE_EDGES, learn_look_grades, trade_chances
from pipeline.wear.pitch import combined
from pipeline.wear.reference import value
from tests.wear.hand_made import Bed, history

NOTCHING = SIGNS.index("notching")


def learned(material: list[str], used: list[float], notching: list[int]):
    grades = np.full((len(material), len(SIGNS)), -1)
    grades[:, NOTCHING] = notching
    life = np.array(used, dtype=float)
    return learn_look_grades(np.array(material, dtype=object), {"breaks": life, "goes_dead": life}, grades)


def test_a_more_worn_bed_never_looks_better() -> None:
    """Signs grow with wear (common practice): the chance of at least each grade rises with life used."""
    at_least = np.cumsum(trade_chances(np.linspace(0, 3, 40))[:, ::-1], axis=1)[:, ::-1]
    assert (np.diff(at_least, axis=0) >= -1e-12).all()


@given(
    st.lists(
        st.tuples(st.sampled_from(["polyester", "multifilament"]), st.floats(0, 3), st.integers(0, 3)), max_size=30
    )
)
def test_chances_are_chances(looks: list[tuple[str, float, int]]) -> None:
    made = learned([m for m, _, _ in looks], [x for _, x, _ in looks], [g for _, _, g in looks])
    found = made.chances(np.array(["polyester", "natural_gut"]), NOTCHING, np.array([0.5, 2.0]))
    assert (found > 0).all()
    assert found.sum(axis=1) == pytest.approx([1.0, 1.0])


def test_without_looks_the_trade_speaks() -> None:
    made = learned([], [], [])
    low, high = LIFE_EDGES[1], LIFE_EDGES[2]
    found = made.chances(np.array(["polyester"]), NOTCHING, np.array([(low + high) / 2]))
    assert found == pytest.approx(trade_chances(np.array([(low + high) / 2])))


def test_the_update_is_conjugate() -> None:
    """Dirichlet prior and counts: (prior + count) / (prior total + looks), for the club and then for the material."""
    made = learned(["polyester"] * 5, [0.5] * 5, [2, 2, 2, 1, 2])
    weight = value("look_grades_prior")
    low, high = LIFE_EDGES[2], LIFE_EDGES[3]
    counts = np.array([0.0, 1.0, 4.0, 0.0])
    club = (weight * trade_chances(np.array([(low + high) / 2]))[0] + counts) / (weight + 5)
    expected = (weight * club + counts) / (weight + 5)
    assert made.chances(np.array(["polyester"]), NOTCHING, np.array([0.5]))[0] == pytest.approx(expected)
    assert made.chances(np.array(["aramid"]), NOTCHING, np.array([0.5]))[0] == pytest.approx(club)


def test_many_looks_speak_for_themselves() -> None:
    rng = np.random.default_rng(4)
    truth = np.array([0.1, 0.2, 0.3, 0.4])
    made = learned(["polyester"] * 4000, [0.7] * 4000, list(rng.choice(4, 4000, p=truth)))
    found = made.chances(np.array(["polyester"]), NOTCHING, np.array([0.7]))[0]
    assert found == pytest.approx(truth, abs=4 * np.sqrt(0.25 / 4000) + 0.005)


def test_the_step_of_a_bed_on_a_day() -> None:
    h = history([Bed(days=(3, 5, 9), abrasion=(1, 2, 3)), Bed(strung=9, days=(12, 20), abrasion=(1, 2))])
    first, second = h.first
    start = int(h.day[0]) - 3
    beds, days = np.array([0, 0, 0, 0, 1, 1]), start + np.array([1, 3, 6, 50, 2, 12])
    assert list(step_on(h, beds, days)) == [first, first, first + 1, first + 2, second, second]
    assert len(step_on(h, np.zeros(0, dtype=int), np.zeros(0, dtype=int))) == 0


@given(st.floats(0.3, 1.2), st.floats(0.3, 1.2), st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_two_estimates_as_one(left: float, other: float, spread: float, other_spread: float) -> None:
    """The mean of the logarithms, weighed by precision: between the two, surer than either; one that is missing leaves
    the other."""
    one, how_sure = combined(*(np.array([v]) for v in (left, spread, other, other_spread)))
    assert min(left, other) - 1e-9 <= one[0] <= max(left, other) + 1e-9
    assert how_sure[0] < min(spread, other_spread)
    assert how_sure[0] == pytest.approx((spread**-2 + other_spread**-2) ** -0.5)
    alone, as_sure = combined(np.array([np.nan]), np.array([np.nan]), np.array([other]), np.array([other_spread]))
    assert (alone[0], as_sure[0]) == (pytest.approx(other), pytest.approx(other_spread))


def test_looks_at_one_bed_at_much_the_same_life_are_one_proof() -> None:
    """Bed 7: three looks between 0.45 and 0.6 lives count a third each, one at 0.7 counts one; bed 8 in the same bin
    counts one. By hand: two looks in the bin, one of grade 2 (from bed 7, all three alike) and one of grade 0."""
    used, bed = np.array([0.45, 0.5, 0.59, 0.7, 0.5]), np.array([7, 7, 7, 7, 8])
    grades = np.full((5, len(SIGNS)), -1)
    grades[:, NOTCHING] = [2, 2, 2, 3, 0]
    made = learn_look_grades(
        np.array(["polyester"] * 5, dtype=object), {"breaks": used, "goes_dead": used * 9}, grades, bed
    )
    weight = value("look_grades_prior")
    trade = trade_chances(np.array([0.525, 0.7]))
    for at, counts, looks in ((0.5, [1.0, 0.0, 1.0, 0.0], 2.0), (0.7, [0.0, 0.0, 0.0, 1.0], 1.0)):
        club = (weight * trade[int(at > 0.6)] + counts) / (weight + looks)
        found = made.chances(np.array(["polyester", "other"]), NOTCHING, np.array([at, at]))
        assert found[1] == pytest.approx(club) and found[0] == pytest.approx(
            (weight * club + counts) / (weight + looks)
        )
    fraying = made.chances(np.array(["polyester"]), SIGNS.index("fraying"), np.array([0.5]))  # nobody graded it
    assert fraying == pytest.approx(trade[:1])


def test_the_trade_s_chances_at_the_middle_of_the_first_and_of_the_last_bin() -> None:
    """0 to 0.15 has 0.075 in its middle; beyond 1.7 the middle is taken 0.2 on. Half of the beds show at least a slight
    sign at 0.35 lives, a clear one at 0.75, a severe one at 1.2; logistic, of width 0.18."""
    found = learned([], [], []).chances(np.array(["x", "x"]), NOTCHING, np.array([0.01, 3.0]))
    for row, at in zip(found, (0.075, 1.9), strict=True):
        slight, clear, severe = (1.0 / (1.0 + np.exp((half - at) / 0.18)) for half in (0.35, 0.75, 1.2))
        assert row == pytest.approx([1.0 - slight, slight - clear, clear - severe, severe])


def test_a_bed_on_the_day_of_a_step_and_before_its_first() -> None:
    h = history([Bed(days=(3, 5), abrasion=(1, 2)), Bed(days=(0,)), Bed(days=(4, 8), abrasion=(1, 2))], 20)
    start = int(h.day[0]) - 3
    found = step_on(h, np.array([0, 0, 1, 2, 2, 2]), start + np.array([4, 5, 30, 0, 8, 7]))
    assert found.tolist() == [0, 1, 2, 3, 4, 3]
