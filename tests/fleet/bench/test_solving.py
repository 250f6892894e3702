"""The bench plan's program: against a search of every plan, textbook problems as special cases, and refusals.

Sources: earliest due date and fewest late jobs (Moore-Hodgson), as restated in the project's evidence; 425 rackets and
12 stringers at 20-25 minutes, a press account of a tournament's opening day, 2010/11.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.bench.plan import in_order
from pipeline.fleet.bench.problem import NOT_PLACED, BenchProblem, cost_of, used_minutes
from pipeline.fleet.bench.solving import solve
from pipeline.fleet.bench.together import count_visits, put_together
from tests.fleet.bench.brute_force import TOLERANCE, differences, every_plan, random_problem
from tests.fleet.bench.problems import FIVE_JOBS, TEN_JOBS, club_bench, one_machine


def small(minutes: list[float], hours: list[list[float]], cost: np.ndarray | None = None) -> BenchProblem:
    jobs, days = len(minutes), len(hours[0])
    stringers = len(hours)
    each = np.repeat(np.array(minutes)[:, None], stringers, axis=1)
    return BenchProblem(each, np.zeros((jobs, days)) if cost is None else cost, np.array(hours), np.full(jobs, 500.0))


def test_sixty_plans_cost_the_same_as_the_best_of_all_plans() -> None:
    assert np.abs(differences(60, seed=3)).max() <= TOLERANCE


def test_a_plan_is_proven_best_and_says_so() -> None:
    problem = random_problem(np.random.default_rng(8))
    found = solve(problem)
    assert found.is_proven
    assert found.gap == 0.0
    assert found.cost == pytest.approx(cost_of(problem, found.day, found.stringer))
    assert found.bound == pytest.approx(every_plan(problem))


def test_earliest_due_date_is_a_special_case() -> None:
    found = solve(one_machine(FIVE_JOBS, "tardiness"))
    assert found.cost / len(FIVE_JOBS) == pytest.approx(0.2)  # mean tardiness
    due = np.array([due for _, due in FIVE_JOBS.values()])
    assert (found.day + 1 - due).max() == 1  # max lateness


def test_a_day_is_worked_through_by_the_earliest_due_date() -> None:
    names = list(FIVE_JOBS)
    day = pd.DataFrame(
        {
            "racket_id": names, "player_id": names, "state": "booked",
            "due_on": [pd.Timestamp("2026-03-01") + pd.Timedelta(hours=due) for _, due in FIVE_JOBS.values()],
        }
    )  # fmt: skip
    order = list(day.loc[in_order(day), "racket_id"])
    assert order == ["C", "E", "A", "B", "D"]
    done = np.cumsum([FIVE_JOBS[name][0] for name in order])
    late = np.maximum(done - [FIVE_JOBS[name][1] for name in order], 0)
    assert (late.mean(), late.max()) == (pytest.approx(0.2), 1)


def test_fewest_late_jobs_is_a_special_case() -> None:
    problem = one_machine(TEN_JOBS, "count")
    assert solve(problem).cost == pytest.approx(2.0)  # Moore-Hodgson: two late
    order = sorted(TEN_JOBS, key=lambda job: TEN_JOBS[job][1])
    done = np.cumsum([TEN_JOBS[job][0] for job in order])
    assert sum(t > TEN_JOBS[job][1] for t, job in zip(done, order, strict=True)) == 4  # earliest due date alone


def test_a_lone_stringer_is_never_given_more_than_the_hours_hold() -> None:
    for seed in range(5):
        problem = club_bench(seed, jobs=30, days=7, stringers=1, fullness=1.4)
        found = solve(problem, seconds=5)
        assert (used_minutes(problem, found.day, found.stringer) <= problem.hours + 1e-6).all()
        assert (found.day == NOT_PLACED).any()  # more than the hours: some are said to have no place


def test_no_job_is_dropped() -> None:
    problem = club_bench(4, jobs=40, days=7, stringers=2, fullness=2.0)
    found = solve(problem, seconds=5)
    assert len(found.day) == 40
    assert ((found.day == NOT_PLACED) == (found.stringer == NOT_PLACED)).all()


def test_a_tournament_opening_day_plans_to_a_long_day() -> None:
    rng = np.random.default_rng(1)
    minutes = np.repeat(rng.uniform(20, 25, (425, 1)), 12, axis=1)
    thirteen_and_a_half_hours = np.full((12, 1), 13.5 * 60)
    problem = BenchProblem(minutes, np.zeros((425, 1)), thirteen_and_a_half_hours, np.full(425, 100.0))
    found = solve(problem, seconds=20)
    assert (found.day == 0).all()
    assert used_minutes(problem, found.day, found.stringer).max() <= 13.5 * 60 + 1e-6
    assert minutes[:, 0].sum() > 12 * 12 * 60  # a day of twelve hours could not hold them


def test_a_bench_of_a_clubs_size_is_within_one_percent() -> None:
    problem = club_bench(5, jobs=60, days=14, stringers=3)
    found = solve(problem, seconds=10)
    assert found.gap <= 0.01


def test_a_job_longer_than_any_day_has_no_place() -> None:
    found = solve(small([200.0, 30.0], [[150.0, 120.0]]))
    assert list(found.day == NOT_PLACED) == [True, False]


def test_overtime_is_used_only_where_it_saves_more_than_it_costs() -> None:
    late = np.array([[0.0, 10.0], [0.0, 10.0]])
    cheap = replace(small([30.0, 30.0], [[40.0, 60.0]], late), overtime=np.full((1, 2), 30.0), overtime_cost=0.1)
    assert list(solve(cheap).day) == [0, 0]
    assert solve(cheap).cost == pytest.approx(2.0)  # 20 minutes over
    dear = replace(cheap, overtime_cost=1.0)
    assert sorted(solve(dear).day) == [0, 1]
    assert solve(dear).cost == pytest.approx(10.0)


def test_one_players_rackets_are_done_together_by_one_stringer() -> None:
    for seed in range(6):
        rng = np.random.default_rng(seed)
        problem = small([30.0] * 8, [[120.0], [120.0]])
        player = rng.permutation([0, 0, 1, 1, 2, 2, 3, 3])
        plan = put_together(problem, solve(problem), player)
        assert count_visits(plan.day, plan.stringer, player) == 4
        assert plan.cost == solve(problem).cost


def test_together_never_costs_more() -> None:
    for seed in range(4):
        problem = club_bench(seed, jobs=24, days=5, stringers=2, fullness=0.95)
        player = np.random.default_rng(seed).integers(0, 10, 24)
        before = solve(problem, seconds=5)
        after = put_together(problem, before, player)
        assert after.cost <= before.cost + 1e-6
        assert count_visits(after.day, after.stringer, player) <= count_visits(before.day, before.stringer, player)


def test_more_hours_never_make_a_plan_dearer() -> None:
    problem = club_bench(9, jobs=20, days=6, stringers=2, fullness=1.2)
    more = replace(problem, hours=problem.hours + 30.0)
    assert solve(more, seconds=5).cost <= solve(problem, seconds=5).cost + 1e-6


def test_no_job_and_no_hours_are_no_fault() -> None:
    assert solve(small([], [[60.0]])).cost == 0.0
    assert solve(small([30.0], [[0.0]])).day[0] == NOT_PLACED


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"minutes": np.array([[0.0]])}, "more than no minutes"),
        ({"hours": np.array([[-1.0]])}, "not below zero"),
        ({"not_placed_cost": np.array([np.inf])}, "none is ever dropped"),
        ({"cost": np.array([[np.nan]])}, "not a number"),
        ({"overtime": np.array([[10.0]]), "kept_cost": 1.0}, "at least as much"),
    ],
)
def test_a_problem_that_makes_no_sense_is_refused(change: dict[str, np.ndarray], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        replace(small([30.0], [[60.0]]), **change)


def test_jobs_that_run_over_a_day_s_end_have_begun_in_time_on_every_day() -> None:
    """Two jobs of an hour, half an hour there on the first day and an hour and a half on the second: by the end of the
    first day 30 minutes can be done, by that of the second all 120, so both belong to the second."""
    problem = replace(small([60.0, 60.0], [[30.0, 90.0]]), carries_over=True)
    one = np.zeros(2, dtype=int)
    assert cost_of(problem, np.array([1, 1]), one) == 0.0
    assert cost_of(problem, np.array([0, 0]), one) == np.inf == cost_of(problem, np.array([0, 1]), one)
