"""Restrings for other causes.

A rate a day by squad, age, wear and player, looked up by the edges and learned in balance.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.wear.other_causes import (
    AGE_EDGES_DAYS,
    PRIOR_ENDINGS,
    PRIOR_RATE_PER_DAY,
    WEAR_EDGES,
    DaysAtRisk,
    OtherCauses,
)
from tests.wear.hand_made import Bed, history


def made_of(beds: list[Bed], ended: list[float], wear: float = 0.1) -> OtherCauses:
    """The rates learned from beds that are all worn this far."""
    h = history(beds)
    x = np.full(len(h.bed), wear)
    return DaysAtRisk(h, SimpleNamespace(x={"breaks": x, "goes_dead": x / 2})).learn(np.array(ended))  # type: ignore[arg-type]


RATES = OtherCauses(
    np.array([1.0, 10.0]), np.arange(1.0, 10.0), np.arange(1.0, 7.0) * 100, np.array([1.0, 0.5, 2.0]), np.zeros(0)
)


@pytest.mark.parametrize(
    ("age", "factor"),
    [(0, 1), (6.9, 1), (7, 2), (13, 2), (14, 3), (41, 6), (42, 7), (56, 8), (83, 8), (84, 9), (999, 9)],
)
def test_age_is_looked_up_by_whole_days(age: float, factor: float) -> None:
    assert RATES.rate(np.array([0]), np.array([0]), np.array([age]), np.array([0.0])) == pytest.approx([100.0 * factor])


@pytest.mark.parametrize(
    ("wear", "factor"),
    [(0, 1), (0.24, 1), (0.25, 2), (0.5, 3), (0.74, 3), (0.75, 4), (1, 5), (1.49, 5), (1.5, 6), (9, 6)],
)
def test_wear_is_looked_up_by_its_edges(wear: float, factor: float) -> None:
    assert RATES.rate(np.array([0]), np.array([0]), np.array([0]), np.array([wear])) == pytest.approx([100.0 * factor])


def test_a_rate_is_the_product_of_its_parts() -> None:
    made = RATES.rate(np.array([[0], [1]]), np.array([[1], [2]]), np.array([0.0, 30.0]), np.array([0.0, 2.0]))
    assert made == pytest.approx(np.array([[50.0, 1500.0], [2000.0, 60_000.0]]))


def test_without_beds_the_rates_are_the_prior_s() -> None:
    made = DaysAtRisk(history([Bed()]), SimpleNamespace(x={"breaks": np.zeros(1), "goes_dead": np.zeros(1)}))  # type: ignore[arg-type]
    made.n_beds = 0
    fresh = made.learn(np.zeros(0))
    assert fresh.squad == pytest.approx(np.full(2, PRIOR_RATE_PER_DAY)) and set(fresh.age) == {1.0} == set(fresh.wear)
    assert len(fresh.age) == len(AGE_EDGES_DAYS) + 1 and len(fresh.wear) == len(WEAR_EDGES) + 1


def test_days_at_risk_are_counted_from_the_day_of_stringing_to_the_last() -> None:
    h = history(
        [Bed(days=(3, 10), abrasion=(1.0, 2.0)), Bed(days=(0,), player="P2"), Bed(days=(29,), strung=5, player="P2")]
    )
    made = DaysAtRisk(h, SimpleNamespace(x={"breaks": np.array([0.1, 0.6, 0.0, 0.3]), "goes_dead": np.zeros(4)}))  # type: ignore[arg-type]
    assert made.days.sum() == 11 + 1 + 25
    by_player = np.bincount(made.of_player, made.days)
    assert by_player == pytest.approx([11, 26])
    # the first bed: unworn before its first step, 0.1 from day 3, 0.6 on day 10; the third unworn until its last day
    assert np.bincount(made.of_wear, made.days, 6) == pytest.approx([10 + 1 + 24, 1, 1, 0, 0, 0])
    assert np.bincount(made.of_age, made.days, 9)[:4] == pytest.approx([7 + 1 + 7, 4 + 7, 7, 4])


def test_expected_endings_are_about_those_there_were() -> None:
    """Half of 400 beds of 20 days end for another cause.

    At the learned rates about as many are expected (priors pull).
    """
    beds = [Bed(days=(20 + i % 7,), player=f"P{i % 20}", strung=i % 7) for i in range(400)]
    ended = [float(i // 20 % 2) for i in range(400)]
    made = made_of(beds, ended)
    days = np.arange(21.0)
    rate = made.rate(np.zeros(21, dtype=np.int64), np.zeros(21, dtype=np.int64), days, np.full(21, 0.0))
    assert 400 * rate.sum() == pytest.approx(200, rel=0.1)
    assert made.rate_at_end.shape == (400,) and np.all(made.rate_at_end > PRIOR_RATE_PER_DAY)


def test_age_at_which_beds_are_taken_out_has_the_higher_rate() -> None:
    """Every bed is taken out on day 28 and not before: that age stands out, the days before it do not."""
    made = made_of([Bed(days=(28,), player=f"P{i % 9}") for i in range(90)], [1.0] * 90)
    assert made.age.argmax() == 4 and made.age[4] > 10 * made.age[:4].max()


def test_squads_and_players_differ_by_their_own_endings_and_the_unknown_are_at_the_prior() -> None:
    often = [Bed(days=(20,), player=f"P{i % 5}", squad="A") for i in range(50)]
    never = [Bed(days=(20,), player=f"Q{i % 5}", squad="B") for i in range(50)]
    made = made_of(often + never, [1.0] * 50 + [0.0] * 50)
    assert made.squad[0] > 3 * made.squad[1]
    assert made.squad[2] == pytest.approx(PRIOR_RATE_PER_DAY)  # no squad on file
    assert made.player[-1] == pytest.approx(1.0)  # no player on file
    one = made_of([Bed(days=(20,), player="P1" if i < 20 else "P2") for i in range(40)], [1.0] * 20 + [0.0] * 20)
    assert one.player[0] > 1.3 > 0.7 > one.player[1]


def test_one_squad_alone_is_a_gamma_update() -> None:
    """One bed, one day, no ending: squad (2 + 0) / (2 x 250 + about 1)."""
    made = made_of([Bed(days=(0,))], [0.0])
    assert made.squad[0] == pytest.approx(PRIOR_ENDINGS / (PRIOR_ENDINGS / PRIOR_RATE_PER_DAY + 1.0), rel=1e-3)


def test_the_prior_is_two_endings_at_one_in_250_days() -> None:
    """One day without an ending: 2 / (2 x 250 + 1); a squad that nothing is known of: 1 / 250."""
    made = made_of([Bed(days=(0,))], [0.0])
    assert made.squad == pytest.approx([2.0 / 501.0, 1.0 / 250.0], rel=1e-3)


def test_learned_factors_are_in_balance() -> None:
    """Each factor times what was expected of its group is what was seen, with 2 endings (players) or 3 (age, wear) at
    the average added to both: the condition of iterative proportional fitting (Deming & Stephan 1940, from memory)."""
    rng = np.random.default_rng(8)
    beds = [
        Bed(days=(int(d) // 2, int(d)), abrasion=(1.0, 2.0), player=f"P{i % 7}", squad="AB"[i % 2])
        for i, d in enumerate(rng.integers(4, 95, 240))
    ]
    h = history(beds)
    worn = np.tile([0.3, 0.9], 240) + np.repeat(rng.uniform(0.0, 0.8, 240), 2)
    risk = DaysAtRisk(h, SimpleNamespace(x={"breaks": worn, "goes_dead": worn / 3}))  # type: ignore[arg-type]
    ended = (rng.random(240) < np.where(np.arange(240) % 7 == 0, 0.9, 0.4)).astype(float)
    made = risk.learn(ended)
    seen = np.bincount(risk.row_at_end, ended, len(risk.days))
    assert seen.sum() == ended.sum()
    rate = (
        made.squad[risk.of_squad] * made.player[risk.of_player] * made.age[risk.of_age] * made.wear[risk.of_wear]
    ) * risk.days
    # the player's factor is worked out last; the others move a little after it
    for group, factor, prior, off in (
        (risk.of_player, made.player, 2.0, 1e-9),
        (risk.of_age, made.age, 3.0, 0.05),
        (risk.of_wear, made.wear, 3.0, 0.05),
    ):
        size = len(factor)
        without = np.bincount(group, rate, size) / factor
        assert factor * (prior + without) == pytest.approx(prior + np.bincount(group, seen, size), rel=off)
    expected = np.bincount(risk.of_squad, rate, 3) / made.squad
    assert made.squad * (2.0 * 250.0 + expected) == pytest.approx(2.0 + np.bincount(risk.of_squad, seen, 3), rel=0.05)
    assert made.player.max() / made.player[:7].min() > 1.3  # every seventh bed is of one player


def test_the_log_likelihood_is_that_of_counts_over_days_at_risk() -> None:
    """One bed of 3 days (0 to 2) that ended: squad, age and wear are each one number, so nothing is free.
    log rate - 3 x rate."""
    h = history([Bed(days=(2,))])
    risk = DaysAtRisk(h, SimpleNamespace(x={"breaks": np.zeros(1), "goes_dead": np.zeros(1)}))  # type: ignore[arg-type]
    made = risk.learn(np.ones(1))
    rate = float(made.squad[0] * made.age[0] * made.wear[0])
    found, free = risk.log_likelihood(np.ones(1))
    assert (found, free) == (pytest.approx(np.log(rate) - 3.0 * rate), 0)
    older = history([Bed(days=(8,)), Bed(days=(2,), player="P2")])
    x = np.array([0.3, 0.6])
    assert DaysAtRisk(older, SimpleNamespace(x={"breaks": x, "goes_dead": x})).log_likelihood(np.ones(2))[1] == 3  # type: ignore[arg-type]
