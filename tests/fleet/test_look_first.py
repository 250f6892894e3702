"""What a look is worth: preposterior analysis held against enumeration and its own identities."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.fleet.look_first import COLUMNS, Stakes, coherent, every_look, look_first, look_values, value_of_look
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.wear.history import SIGNS
from pipeline.wear.reference import value
from tests.fleet.clubs import ORIGIN, academy, break_racket
from tests.sql.club_rows import put, strung

CHANCE = st.floats(0.01, 0.97)
WEIGHTS = st.lists(st.floats(0.02, 1.0), min_size=4, max_size=4)
MULTIPLIERS = st.lists(st.floats(0.2, 4.0), min_size=4, max_size=4)


def stakes(end: float, dead: float = 0.0, wasted: float = 0.4, failing: float = 1.0, breaking: float = 1.0) -> Stakes:
    return Stakes(*(np.array([v]) for v in (end, breaking, dead, wasted, failing)))


@given(CHANCE, CHANCE, st.floats(0.0, 1.0), st.floats(0.1, 4.0), WEIGHTS, MULTIPLIERS, MULTIPLIERS)
def test_never_negative_and_never_more_than_knowing_everything(
    end: float, dead: float, wasted: float, failing: float, weights: list[float], breaks: list[float], goes: list[float]
) -> None:
    chance = np.array([weights]) / np.sum(weights)
    at_stake = stakes(end, dead, wasted, failing, 0.5)
    worth, change = value_of_look(at_stake, chance, np.array([breaks]), np.array([goes]))
    wait, hand_in = failing * end, wasted * (1 - value("dead_life_lost") * dead)
    assert 0.0 <= worth[0] <= min(wait, hand_in) + 1e-9
    assert -1e-12 <= change[0] <= 1 + 1e-12
    if change[0] < 1e-12:
        assert worth[0] < 1e-6


@given(CHANCE, WEIGHTS, MULTIPLIERS)
def test_chances_after_a_look_average_to_those_before(end: float, weights: list[float], by: list[float]) -> None:
    chance = np.array([weights]) / np.sum(weights)
    after = coherent(-np.log1p(-np.array([end])), np.array([by]), chance)
    assert float((chance * after).sum()) == pytest.approx(end, abs=1e-6)
    # in the order of the multipliers; two chances that are 1 to the last digit are one
    assert (np.diff(after[0][np.argsort(by, kind="stable")]) >= 0.0).all()


def test_a_look_that_says_nothing_is_worth_nothing() -> None:
    worth, change = value_of_look(stakes(0.4), np.full((1, 4), 0.25), np.ones((1, 4)), np.ones((1, 4)))
    assert (worth[0], change[0]) == (pytest.approx(0.0, abs=1e-9), 0.0)


def test_worth_by_enumeration() -> None:
    """Expected value of sample information (Raiffa & Schlaifer, Applied Statistical Decision Theory, from memory):
    cost of the better act now less the mean cost of the better act after each outcome. Two outcomes, by hand."""
    end = 0.5
    chance, by = np.array([[0.5, 0.5]]), np.array([[0.0, 1.0]])
    # the first outcome makes an end impossible, so that the second must carry all of it: chance 1
    worth, change = value_of_look(stakes(end, wasted=0.6, failing=1.0), chance, by, by)
    # now: wait costs 0.5, handing in 0.6; after: wait for nothing, or hand in at 0.6: 0.5 - (0.5 x 0 + 0.5 x 0.6) = 0.2
    assert worth[0] == pytest.approx(0.2, abs=1e-3)
    assert change[0] == pytest.approx(0.5)


def test_every_outcome_is_there_once() -> None:
    rng = np.random.default_rng(3)
    chance = rng.dirichlet(np.ones(4), size=(2, len(SIGNS)))
    looks = {"breaks": rng.uniform(0.5, 2, (4, 4)), "goes_dead": rng.uniform(0.5, 2, (4, 4))}
    applies = np.ones((2, 4), dtype=bool)
    applies[1, 0] = False
    out, by_breaks, by_dead = every_look(chance, looks, applies)
    assert out.shape == by_breaks.shape == by_dead.shape == (2, 256)
    assert out.sum(axis=1) == pytest.approx([1.0, 1.0])
    mean = [float((out[i] * by_breaks[i]).sum()) for i in (0, 1)]
    by_sign = (chance * looks["breaks"][None]).sum(axis=2)
    assert mean[0] == pytest.approx(float(np.prod(by_sign[0])))
    assert mean[1] == pytest.approx(float(np.prod(by_sign[1, 1:]))), "a sign that cannot be graded says nothing"


@pytest.fixture(scope="module")
def made() -> Snapshot:
    return snapshot(academy(players=8, weeks=30), ORIGIN)


def test_one_row_a_racket_in_play_most_worth_first(made: Snapshot) -> None:
    frame = look_first(made)
    assert tuple(frame.columns) == COLUMNS
    assert set(frame["racket_id"]) == set(made.beds.racket_id)
    assert frame["look_value"].is_monotonic_decreasing
    assert (frame["look_value"] >= 0).all() and frame["look_value"].max() > 0
    assert set(frame["sign"]) <= set(SIGNS)
    assert set(frame["call_now"]) <= {"hand_in", "wait"}


def test_the_ranking_carries_the_same_value_as_its_last_column(made: Snapshot) -> None:
    ranked = made.rank()
    assert ranked.columns[-1] == "look_value"
    mine = ranked.set_index("racket_id")["look_value"]
    pd.testing.assert_series_equal(mine.sort_index(), look_values(made).sort_index(), check_names=False)


def test_a_broken_racket_is_past_looking_at() -> None:
    con = academy(players=4, weeks=20)
    break_racket(con, "P00-1")
    ranked = snapshot(con, ORIGIN).rank().set_index("racket_id")
    assert pd.isna(ranked.loc["P00-1", "look_value"])


def test_polyester_is_not_looked_at_for_fraying(made: Snapshot) -> None:
    """Monofilaments notch and do not fray (common practice)."""
    beds = made.estimate.history.beds
    polyester = set(beds.loc[beds["mains_material"] == "polyester", "racket_id"])
    frame = look_first(made)
    assert "fraying" not in set(frame.loc[frame["racket_id"].isin(polyester), "sign"])


def test_looking_again_at_once_is_worth_less() -> None:
    """A look whose word is fresh would show the same again."""
    con = academy(players=8, weeks=30)
    con.execute("delete from facts.inspections where inspected_on > ?", [ORIGIN - timedelta(days=20)])
    before = look_values(snapshot(con, ORIGIN))
    row = {"inspected_on": str(ORIGIN), "notching": 1, "misalignment": 1, "lost_feel": 0, "fraying": 0}
    put(con, "inspections", [row | {"inspection_id": f"N-{r}", "racket_id": r} for r in before.index])
    after = look_first(snapshot(con, ORIGIN)).set_index("racket_id")
    assert after["look_value"].sum() < 0.2 * before.sum()
    assert after["reason"].str.contains("nobody has graded it since 29 Mar").all()


def test_a_bed_that_has_hardly_been_played_shows_nothing() -> None:
    con = academy(players=8, weeks=30)
    strung(con, "NEW", "P00-1", str(ORIGIN), reason="scheduled")
    frame = look_first(snapshot(con, ORIGIN)).set_index("racket_id")
    assert frame.loc["P00-1", "look_value"] == 0.0


def test_the_reason_says_what_a_look_would_change(made: Snapshot) -> None:
    for row in look_first(made).to_dict("records"):
        assert "graded" in row["reason"]
        if row["prob_change"] >= 0.1:
            assert f"a look changes the call in {round(10 * row['prob_change'])} of 10 cases" in row["reason"]


def test_what_is_certain_is_not_worth_a_look() -> None:
    """A bed that ends, or is dead, for certain: no infinity comes of it, and nothing a look shows changes the call."""
    chance, by = np.full((1, 4), 0.25), np.array([[0.5, 1.0, 2.0, 4.0]])
    for at_stake in (stakes(1.0, 1.0), stakes(0.4, 1.0, wasted=0.1), stakes(1.0, 0.2)):
        worth, change = value_of_look(at_stake, chance, by, by)
        assert worth[0] == pytest.approx(0.0, abs=1e-6) and change[0] == 0.0
