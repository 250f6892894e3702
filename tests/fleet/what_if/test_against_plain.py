"""The what-if simulator and its arithmetic against slow plain references, and textbook cases worked out by hand.

The reference of the simulator (plain_reference.py) shares its random numbers and the learned values, and nothing of
its arithmetic. Age replacement: the definition of Kaplan-Meier and Aalen-Johansen by hand; Weibull against numbers of
the project's evidence and against a search on a grid.
"""

from __future__ import annotations

import math
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.fleet.what_if import weekly_paths as paths
from pipeline.fleet.what_if.age_replacement import (
    cheapest_seen,
    cost_per_hour_at,
    weibull_cheapest,
    weibull_cost_per_hour,
)
from pipeline.fleet.what_if.question import Question, compared
from pipeline.fleet.what_if.simulator import Policy, simulate_scenario
from tests.fleet.clubs import ORIGIN, break_racket, hand_in, plan
from tests.fleet.reels.club import club
from tests.fleet.what_if.plain_reference import one_by_one, reached, value


@pytest.fixture(scope="module")
def made() -> Snapshot:
    con = club(players=4, weeks=24)
    break_racket(con, "P00-1", ORIGIN - timedelta(days=3))
    hand_in(con, "P01-2", "lost_feel", ORIGIN - timedelta(days=1))
    for days in (12, 30, 51):
        plan(con, ORIGIN + timedelta(days=days), activity="singles", event=f"Cup {days}")
    plan(con, ORIGIN + timedelta(days=20), until_on=str(ORIGIN + timedelta(days=24)), squad=None, activity="closed",
         minutes=None)  # fmt: skip
    return snapshot(con, ORIGIN)


@pytest.mark.parametrize(
    "asked",
    [
        Question(gauge_mm=1.3),
        Question(mains_string_id="multi", policy=Policy(hours=6.0)),
        Question(mains_string_id="poly", crosses_string_id="multi", policy=Policy(life=0.7)),
        Question(policy=Policy(before_events_from=0.2)),
        Question(policy=Policy(before_events_from=0.0, hours=9.0)),
    ],
)
def test_the_simulator_does_what_its_rules_say_bed_by_bed(made: Snapshot, asked: Question) -> None:
    both = compared(made, asked, 1)
    weeks, draws, seed = 10, 6, 3
    found = simulate_scenario(made, both.rackets, both.then, both.events, weeks, draws, seed)
    plain = one_by_one(made, both.rackets, both.then, both.events, weeks, draws, seed)
    assert plain.jobs.sum() > 20 and plain.breaks.sum() > 0 and plain.dead_hours.sum() > 0
    assert found.jobs.tolist() == plain.jobs.tolist()
    assert found.breaks.tolist() == plain.breaks.tolist()
    assert found.hours == pytest.approx(plain.hours, rel=1e-6)
    assert found.dead_hours == pytest.approx(plain.dead_hours, abs=1e-5)
    lives = sorted(zip(found.life_hours.tolist(), found.life_cause.tolist(), strict=True))
    expected = sorted(plain.lives)
    assert [cause for _, cause in lives] == [cause for _, cause in expected]
    assert [hours for hours, _ in lives] == pytest.approx([hours for hours, _ in expected], abs=1e-5)


def test_restringing_without_end_is_refused(made: Snapshot) -> None:
    both = compared(made, Question(policy=Policy(hours=1e-6)), 1)
    with pytest.raises(ValueError, match="so often a restring is more than this can follow"):
        simulate_scenario(made, both.rackets, both.then, both.events, 40, 2, 1)


# --- paths


def test_paths_by_hand() -> None:
    path = np.array([[0.0, 7.0, 7.0, 21.0]])

    def at(day: float) -> float:
        return float(paths.value_at(path, np.array([day]))[0])

    def day(target: float) -> float:
        return float(paths.day_reached(path, np.array([target]))[0])

    assert [at(d) for d in (0, 3.5, 7, 10, 14, 17.5, 21, 99)] == pytest.approx([0, 3.5, 7, 7, 7, 14, 21, 21])
    assert [day(t) for t in (-1, 0, 3.5, 7, 14, 21)] == pytest.approx([0, 0, 3.5, 7, 17.5, 21])
    assert math.isinf(day(21.01))
    flat = np.array([[5.0, 5.0, 5.0]])
    assert paths.day_reached(flat, np.array([5.0])).tolist() == [0.0]


def test_paths_are_as_the_plain_ones() -> None:
    rng = np.random.default_rng(4)
    path = np.cumsum(np.concatenate([np.zeros((200, 1)), rng.gamma(0.5, 2.0, (200, 8))], axis=1), axis=1)
    day, target = rng.uniform(0, 60, 200), rng.uniform(0, 12, 200)
    assert paths.value_at(path, day) == pytest.approx([value(list(p), d) for p, d in zip(path, day, strict=True)])
    assert paths.day_reached(path, target) == pytest.approx(
        [reached(list(p), t) for p, t in zip(path, target, strict=True)]
    )


def within(sample: np.ndarray, mean: float, spread: float) -> None:
    """Mean and standard deviation within five standard errors (a gamma's, at most twice a normal's)."""
    n = sample.size
    assert sample.mean() == pytest.approx(mean, abs=5 * spread / math.sqrt(n))
    assert sample.std() == pytest.approx(spread, rel=10 / math.sqrt(2 * n))


def test_random_loads_have_mean_one_and_their_spread() -> None:
    rng = np.random.default_rng(1)
    within(paths.around_one(0.3, (40_000,), rng), 1.0, 0.3)
    assert paths.around_one(0.0, (100,), rng).std() < 0.002
    gamma = paths.gamma_draws(np.array([4.0, 9.0]), np.array([2.0, 3.0]), 40_000, rng)
    within(gamma[0], 2.0, 1.0)
    within(gamma[1], 3.0, 1.0)
    assert paths.gamma_draws(np.array([1e-6]), np.array([1.0]), 100, rng).min() == 1e-9


def test_what_is_a_players_own_and_what_the_whole_clubs() -> None:
    """With one spread alone: the player's level is the same in every week, the club's the same for every player."""
    rng = np.random.default_rng(2)

    def loads(level: float = 0.0, week: float = 0.0, whole: float = 0.0) -> np.ndarray:
        play = SimpleNamespace(spread_level=level, spread_week=week, spread_club=whole)
        return paths.load_draws(play, 3, 4000, 5, rng)  # type: ignore[arg-type]

    own = loads(level=0.3)
    assert own.shape == (3, 4000, 5)
    assert own[:, :, 0] == pytest.approx(own[:, :, 4], rel=0.05)
    assert np.corrcoef(own[0, :, 0], own[1, :, 0])[0, 1] < 0.1
    within(own[:, :, 0], 1.0, 0.3)
    weekly = loads(week=0.3)
    assert np.corrcoef(weekly[0, :, 0], weekly[0, :, 1])[0, 1] < 0.1
    within(weekly, 1.0, 0.3)
    club_wide = loads(whole=0.3)
    assert club_wide[0] == pytest.approx(club_wide[2], rel=0.05)
    part = 0.3 * 0.7  # partly lasting, partly each week's own: of the product, sqrt((1 + s^2)^2 - 1)
    within(club_wide[0], 1.0, math.sqrt((1 + part**2) ** 2 - 1))
    assert np.corrcoef(club_wide[0, :, 0], club_wide[0, :, 1])[0, 1] == pytest.approx(0.5, abs=0.06)


def test_what_a_players_rackets_take_together_is_kept() -> None:
    share, player = np.array([0.7, 0.3, 1.0, 0.5]), np.array([0, 0, 1, 2])
    drawn = paths.share_draws(share, player, 4, 500, np.random.default_rng(3))
    assert drawn.shape == (4, 500)
    assert drawn[0] + drawn[1] == pytest.approx(np.ones(500))
    assert drawn[2] == pytest.approx(np.ones(500)) and drawn[3] == pytest.approx(np.full(500, 0.5))
    assert drawn[0].std() > 0.01 and drawn[0].mean() == pytest.approx(0.7, abs=0.03)


# --- the cheapest point


def test_costs_at_an_age_by_the_definition() -> None:
    """Lives 2 (failed), 4 (still in), 6 (planned end), 8 (failed), costs 1 and 5.

    Kaplan-Meier: 3/4 after 2, 3/4 after 4, 3/8 after 6, 0 after 8; failed: 1/4, then 1/4 + 3/8. Lived until 6:
    2 + 4 x 3/4 = 5.
    """
    life, ended, fails = np.array([6.0, 2.0, 8.0, 4.0]), np.array([1, 1, 1, 0], bool), np.array([0, 1, 1, 1], bool)
    ages = np.array([1.0, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0, 8.1])
    lived = [1.0, 2.0, 2.75, 3.5, 5.0, 5.375, 5.75]
    failed = [0.0, 0.25, 0.25, 0.25, 0.25, 0.25, 0.625]
    found = cost_per_hour_at(ages, life, ended, fails, 1.0, 5.0)
    assert found[:-1] == pytest.approx([(1 - f + 5 * f) / hours for f, hours in zip(failed, lived, strict=True)])
    assert math.isnan(found[-1])
    assert np.isnan(cost_per_hour_at(ages, life[:0], ended[:0], fails[:0], 1.0, 5.0)).all()


def test_the_weibull_point_is_the_lowest_of_a_grid() -> None:
    found = weibull_cheapest(3.0, 12.0, 1.0, 4.0)
    assert found.age_hours is not None
    ages = np.linspace(2.0, 20.0, 361)
    cost = [weibull_cost_per_hour(float(a), 3.0, 12.0, 1.0, 4.0) for a in ages]
    assert found.age_hours == pytest.approx(ages[int(np.argmin(cost))], abs=0.06)
    assert found.cost_per_hour <= min(cost) + 1e-12 and found.cost_per_hour < found.never_per_hour
    assert found.never_per_hour == pytest.approx(4.0 / (12.0 * math.gamma(1 + 1 / 3)))


@pytest.mark.parametrize(("shape", "failing"), [(1.0, 5.0), (0.8, 5.0), (2.0, 1.0), (2.0, 0.5), (1.02, 1.05)])
def test_never_where_beds_do_not_wear_out_or_failing_costs_no_more(shape: float, failing: float) -> None:
    found = weibull_cheapest(shape, 10.0, 1.0, failing)
    assert found.age_hours is None
    assert found.cost_per_hour == found.never_per_hour == pytest.approx(failing / (10 * math.gamma(1 + 1 / shape)))


@pytest.mark.parametrize(
    "given", [(0.0, 1.0, 1.0, 1.0), (1.0, 0.0, 1.0, 1.0), (1.0, 1.0, 0.0, 1.0), (1.0, 1.0, 1.0, -1.0)]
)
def test_a_weibull_of_nothing_is_refused(given: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        weibull_cheapest(*given)


def test_the_point_of_lives_as_seen_is_that_of_their_law() -> None:
    """Forty thousand lives of a Weibull: the point within a tenth of the law's, its cost within two hundredths."""
    life = 12.0 * np.random.default_rng(5).weibull(3.0, 40_000)
    every = np.ones(len(life), dtype=bool)
    law, found = weibull_cheapest(3.0, 12.0, 1.0, 4.0), cheapest_seen(life, every, every, 1.0, 4.0)
    assert found.age_hours == pytest.approx(law.age_hours, rel=0.1)
    assert found.cost_per_hour == pytest.approx(law.cost_per_hour, rel=0.02)
    assert found.never_per_hour == pytest.approx(law.never_per_hour, rel=0.02)


def test_never_where_it_would_save_next_to_nothing() -> None:
    life = 12.0 * np.random.default_rng(5).weibull(3.0, 5000)
    every, none = np.ones(len(life), dtype=bool), np.zeros(len(life), dtype=bool)
    assert cheapest_seen(life, every, every, 1.0, 1.0).age_hours is None
    assert cheapest_seen(life, every, none, 1.0, 4.0).age_hours is None  # nothing ever fails
    some = cheapest_seen(life, every, every, 1.0, 4.0)
    saving = 1.0 - some.cost_per_hour / some.never_per_hour
    assert cheapest_seen(life, every, every, 1.0, 4.0, least_saving=saving + 0.01).age_hours is None
    assert cheapest_seen(life, every, every, 1.0, 4.0, least_saving=saving - 0.01).age_hours is not None
    for nothing in (
        cheapest_seen(life[:0], every[:0], every[:0], 1.0, 4.0),
        cheapest_seen(life, none, every, 1.0, 4.0),
    ):
        assert nothing.age_hours is None and math.isnan(nothing.cost_per_hour) and math.isnan(nothing.never_per_hour)
    at_once = cheapest_seen(np.zeros(9), np.ones(9, dtype=bool), np.ones(9, dtype=bool), 1.0, 4.0)
    assert at_once.age_hours is None
