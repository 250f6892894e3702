"""Plans small enough to work out with a pencil: places, minutes, room kept, mends, the document, and every sentence.

All by hand on the house's own rules; jobs of 30 minutes, a week from Monday 2 March 2026.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.bench import sentences
from pipeline.fleet.bench.document import from_document, to_document
from pipeline.fleet.bench.hours import BenchHours
from pipeline.fleet.bench.jobs import JOB_COLUMNS, BenchJobs
from pipeline.fleet.bench.mends import mends
from pipeline.fleet.bench.plan import BenchPlan, in_order, make_plan, plan_of
from pipeline.fleet.bench.problem import NOT_PLACED, BenchProblem, cost_of, used_minutes
from pipeline.fleet.bench.solving import solve
from pipeline.fleet.bench.together import count_visits, put_together
from pipeline.fleet.bench_minutes import BenchTimes
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings
from tests.fleet.bench.hand_made_plan import MONDAY, TICKET, day, made, tickets_due

ALL_WEEK = {"Kim": [90.0] * 7}


def comes(ends: int, **change: Any) -> dict[str, Any]:
    """A racket that is likely to come, its strings ending on that day, a 30th of their life a day."""
    racket = {"source": "forecast", "job_id": None, "state": None, "due_on": day(ends), "ends_on": day(ends)}
    return TICKET | racket | {"life_a_day": 1 / 30, "free_on": MONDAY} | change


# --- places and frames


def test_places_late_days_and_early_days() -> None:
    plan = made([*tickets_due(0, 0), comes(4, racket_id="R9", player_id="P9")], {"Kim": [30.0, 0, 30.0, 30.0, 0, 0, 0]})
    rows = plan.jobs.set_index("racket_id")
    assert sorted(rows["day"]) == [day(0), day(2), day(3)]
    assert rows.loc["R9", "day"] == day(3)  # a day before its strings end
    assert (rows.loc["R9", "late_days"], rows.loc["R9", "early_days"]) == (0, 1)
    second = rows[rows["day"] == day(2)].iloc[0]
    assert (second["late_days"], second["early_days"], second["order"], second["minutes"]) == (2, 0, 1, 30.0)
    assert plan.first_on == MONDAY and plan.weeks == 1 and plan.as_of == day(-1)


def test_hours_add_up_by_day_and_stringer() -> None:
    plan = made(tickets_due(0, 0, 0), {"Kim": [60.0, 0, 0, 0, 0, 0, 0], "Lee": [30.0, 45.0, 0, 0, 0, 0, 0]})
    hours = plan.hours.set_index(["day", "stringer"])
    assert len(hours) == 14
    assert hours.loc[(MONDAY, "Kim"), "planned"] == 60.0 and hours.loc[(MONDAY, "Lee"), "planned"] == 30.0
    assert hours.loc[(day(1), "Lee"), "minutes"] == 45.0 and hours["planned"].sum() == 90.0
    assert hours["is_written"].all()


def test_the_order_of_a_day() -> None:
    """What is on the machine first; then the earliest due; a player's rackets at the place of the most urgent."""
    rows = pd.DataFrame(
        [
            ("R1", "P1", "booked", day(3)), ("R2", "P2", "booked", day(1)), ("R3", "P1", "booked", day(0)),
            ("R4", "P3", "on_bench", day(6)), ("R5", None, None, day(1)), ("R6", "P0", "booked", day(1)),
        ],
        columns=["racket_id", "player_id", "state", "due_on"],
    )  # fmt: skip
    order = rows.loc[in_order(rows), "racket_id"].tolist()
    assert order == ["R4", "R3", "R1", "R5", "R6", "R2"]


def test_room_for_walk_ins_is_at_most_half_and_by_the_week() -> None:
    hours = {"Kim": [60.0] * 7 + [0.0, 120.0] + [0.0] * 5}
    plan = made([], hours, walk_ins=(7.0, 1.0))  # 210 of 420 minutes, then 30 of 120
    kept = plan.hours["kept"].tolist()
    assert kept[:7] == pytest.approx([30.0] * 7)
    assert kept[8] == pytest.approx(30.0) and sum(kept) == pytest.approx(240.0)
    much = made([], hours, walk_ins=(70.0, 70.0))
    assert much.hours["kept"].tolist() == pytest.approx([30.0] * 7 + [0.0, 60.0] + [0.0] * 5)
    assert made([], hours, walk_ins=(0.0, 0.0)).hours["kept"].sum() == 0.0


def test_jobs_go_into_the_room_that_is_kept_only_where_they_would_be_late() -> None:
    """60 minutes a day, half of them kept: two jobs due on Tuesday take Monday and Tuesday; due on Monday, both."""
    hours = {"Kim": [60.0] * 7}
    assert sorted(made(tickets_due(1, 1), hours, walk_ins=(7.0,)).jobs["day"]) == [day(0), day(1)]
    plan = made(tickets_due(0, 0), hours, walk_ins=(7.0,))
    assert plan.jobs["day"].tolist() == [day(0), day(0)]
    assert plan.hours["kept"].tolist() == pytest.approx([0.0] + [30.0] * 6)


@pytest.mark.parametrize("weeks", [0, 9])
def test_a_plan_reaches_one_to_eight_weeks(weeks: int) -> None:
    with pytest.raises(StoreError, match=f"1 to 8 weeks ahead; {weeks} were asked for"):
        make_plan(None, ClubSettings(), weeks=weeks)  # type: ignore[arg-type]


def test_minutes_are_those_of_the_stringer_and_the_quickest_for_a_job_without_a_place() -> None:
    times = BenchTimes({"full": 30.0}, {("Kim", "full"): 40.4, ("Lee", "full"): 35.6}, {})
    days = tuple(day(k) for k in range(7))
    minutes = np.array([[41.0, 0, 0, 0, 0, 0, 0], [0.0] * 7])
    bench = BenchHours(("Kim", "Lee"), days, minutes, np.ones(minutes.shape, dtype=bool))
    rows = pd.DataFrame(tickets_due(0, 0), columns=list(JOB_COLUMNS))
    plan = plan_of(BenchJobs(rows, np.zeros(1), ()), bench, times, day(-1), 30.0)
    assert plan.jobs["stringer"].tolist() == ["Kim", None]
    assert plan.jobs["minutes"].tolist() == [40.0, 36.0]
    assert plan.jobs["late_days"].isna().tolist() == [False, True]


def test_the_latest_comes_first_and_what_has_no_place_before_it() -> None:
    plan = made(tickets_due(0, 0, 0, 1), {"Kim": [30.0, 0, 0, 30.0, 30.0, 0, 0]})
    late = plan.late
    assert late["late_days"].tolist()[0] is pd.NA and late["late_days"].tolist()[1:] == sorted(
        late["late_days"].tolist()[1:], reverse=True
    )
    assert len(late) == 3


def test_overtime_is_there_only_where_a_stringer_is() -> None:
    """Two jobs of 30 on a day of 45: 15 minutes over, allowed from 15 on; none on days without hours."""
    jobs, hours = tickets_due(0, 0), {"Kim": [45.0, 0, 0, 0, 0, 0, 0]}
    assert made(jobs, hours, overtime_minutes=14.0).jobs["day"].isna().sum() == 1
    over = made(jobs, hours, overtime_minutes=15.0)
    assert over.jobs["day"].tolist() == [day(0), day(0)] and over.overtime_minutes == 15.0
    assert over.hours["planned"].iloc[0] == 60.0
    assert made(tickets_due(1), {"Kim": [0.0] * 7}, overtime_minutes=60.0).jobs["day"].isna().all()


# --- mends


def problem(minutes: list[float], hours: list[list[float]], days: int | None = None) -> BenchProblem:
    n = len(minutes)
    each = np.repeat(np.array(minutes)[:, None], len(hours), axis=1)
    return BenchProblem(each, np.zeros((n, days or len(hours[0]))), np.array(hours), np.full(n, 500.0))


def test_the_fewest_extra_minutes_that_are_enough() -> None:
    """Three jobs of 30 that must be done by day 0, 60 minutes there: 30 more on that day, and none elsewhere."""
    found = mends(problem([30.0] * 3, [[60.0, 60.0]]), np.zeros(3), np.ones(3))
    assert found.extra is not None and found.extra.tolist() == [[30.0, 0.0]]
    assert len(found.sent_out) == 1 and found.too_long == ()


def test_extra_minutes_come_in_steps_and_beyond_six_hours_there_are_none() -> None:
    """Jobs of 100 on a day of 100: one more takes 100 (above 60, within 120), four more 400 (above 360)."""
    one = mends(problem([100.0] * 2, [[100.0]]), np.zeros(2), np.ones(2))
    assert one.extra is not None and one.extra.tolist() == [[100.0]]
    three = mends(problem([100.0] * 4, [[100.0]]), np.zeros(4), np.ones(4))
    assert three.extra is not None and three.extra.tolist() == [[300.0]]
    four = mends(problem([100.0] * 5, [[100.0]]), np.zeros(5), np.ones(5))
    assert four.extra is None and len(four.sent_out) == 4


def test_the_least_weighty_is_sent_out() -> None:
    found = mends(problem([30.0] * 3, [[60.0]]), np.zeros(3), np.array([3.0, 1.0, 2.0]))
    assert found.sent_out == (1,)


def test_extra_minutes_are_asked_of_nobody_who_is_away_unless_all_are() -> None:
    shut = np.array([[0.0, 60.0], [60.0, 60.0]])
    away = mends(problem([30.0] * 3, shut.tolist()), np.zeros(3), np.ones(3))
    assert away.extra is not None and away.extra.tolist() == [[0.0, 0.0], [30.0, 0.0]]
    nobody = mends(problem([30.0], [[0.0, 0.0]]), np.zeros(1), np.ones(1))
    assert nobody.extra is not None and nobody.extra.sum() == 30.0 and nobody.extra[0, 0] == 30.0


def test_a_job_longer_than_the_longest_day_is_named_and_one_as_long_is_not() -> None:
    found = mends(problem([60.0, 61.0], [[30.0, 60.0]]), np.ones(2), np.ones(2))
    assert found.too_long == (1,)
    quick = replace(problem([60.0], [[30.0], [50.0]]), minutes=np.array([[60.0, 45.0]]))
    assert mends(quick, np.zeros(1), np.ones(1)).too_long == ()  # the quicker stringer can
    kept = replace(problem([60.0], [[40.0]]), kept=np.array([[20.0]]))
    assert mends(kept, np.zeros(1), np.ones(1)).too_long == ()


def test_room_that_is_kept_is_used_before_anybody_stays_longer() -> None:
    asked = replace(problem([30.0] * 2, [[30.0]]), kept=np.array([[20.0]]), kept_cost=0.1)
    found = mends(asked, np.zeros(2), np.ones(2))
    assert found.extra is not None and found.extra.tolist() == [[10.0]]


def test_no_jobs_need_no_mend() -> None:
    empty = BenchProblem(np.zeros((0, 1)), np.zeros((0, 2)), np.array([[60.0, 60.0]]), np.zeros(0))
    found = mends(empty, np.zeros(0), np.zeros(0))
    assert (found.sent_out, found.too_long) == ((), ())
    assert found.extra is not None and found.extra.sum() == 0.0


# --- costs of a plan


def test_the_cost_of_a_plan_by_hand() -> None:
    """Two jobs of 30 in 40 minutes with 10 kept at 0.1 and 20 overtime at 1: 1 + 2 + 10 x 0.1 + 10 x 1."""
    asked = BenchProblem(
        np.array([[30.0], [30.0], [30.0]]), np.array([[1.0], [2.0], [4.0]]), np.array([[40.0]]), np.array([9.0] * 3),
        np.array([[10.0]]), 0.1, np.array([[20.0]]), 1.0,
    )  # fmt: skip
    both = np.array([0, 0, NOT_PLACED])
    assert cost_of(asked, both, both) == pytest.approx(1 + 2 + 9 + 1 + 10)
    assert cost_of(asked, np.zeros(3, dtype=int), np.zeros(3, dtype=int)) == np.inf  # 90 of 70 minutes
    none = np.full(3, NOT_PLACED)
    assert cost_of(asked, none, none) == 27.0
    assert used_minutes(asked, both, both).tolist() == [[60.0]]
    assert asked.room.tolist() == [[70.0]]
    exact = replace(asked, overtime=np.array([[10.0]]))
    assert cost_of(exact, both, both) == pytest.approx(23.0)  # to the minute
    assert cost_of(replace(asked, overtime=np.array([[9.9]])), both, both) == np.inf


@pytest.mark.parametrize(
    "change",
    [
        {"hours": np.array([[60.0], [60.0]])},
        {"cost": np.zeros((2, 1))},
        {"cost": np.array([[-np.inf]])},
        {"minutes": np.array([[np.nan]])},
        {"hours": np.array([[np.inf]])},
        {"not_placed_cost": np.zeros(2)},
        {"kept": np.array([[-1.0]])},
        {"kept": np.array([[1.0, 1.0]])},
        {"overtime": np.array([[np.nan]])},
        {"overtime": np.array([[1.0]]), "kept_cost": 2.0, "overtime_cost": 1.0},
        {"overtime": np.array([[1.0]]), "kept_cost": -1.0},
        {"carries_over": True, "kept": np.array([[1.0]])},
        {"carries_over": True, "overtime": np.array([[1.0]])},
    ],
)
def test_what_makes_no_sense_is_refused(change: dict[str, Any]) -> None:
    good = BenchProblem(np.array([[30.0]]), np.array([[0.0]]), np.array([[60.0]]), np.array([5.0]))
    with pytest.raises(ValueError):
        replace(good, **change)
    assert replace(good, kept=np.array([[0.0]]), kept_cost=1.0).room.tolist() == [[60.0]]
    assert replace(good, overtime=np.array([[0.0]]), kept_cost=1.0, overtime_cost=1.0).kept is None


def test_a_job_that_just_fits_is_placed_and_one_that_stands_a_hair_over_is_not() -> None:
    assert solve(problem([30.0, 30.0], [[60.0]])).day.tolist() == [0, 0]
    over = solve(problem([30.0, 30.1], [[60.0]]))
    assert sorted(over.day.tolist()) == [NOT_PLACED, 0] and over.cost == 500.0
    assert solve(problem([60.0], [[60.0]])).day.tolist() == [0]


def test_what_must_not_be_done_on_a_day_or_by_somebody_is_not() -> None:
    asked = problem([30.0, 30.0], [[60.0, 60.0], [60.0, 60.0]])
    cost = np.array([[np.inf, 5.0], [0.0, np.inf]])
    minutes = np.array([[np.inf, 30.0], [30.0, np.inf]])
    found = solve(replace(asked, cost=cost, minutes=minutes))
    assert found.day.tolist() == [1, 0] and found.stringer.tolist() == [1, 0]
    assert (found.cost, found.bound, found.gap, found.is_proven) == (5.0, 5.0, 0.0, True)


def test_a_search_that_may_stop_early_says_how_far_it_may_be_from_the_best() -> None:
    """A plan within half of its cost is good enough: it may be the best one without its being proven."""
    rng = np.random.default_rng(5)
    asked = replace(problem([30.0] * 9, [[60.0] * 6]), cost=rng.uniform(1, 9, (9, 6)))
    best = solve(asked)
    rough = solve(asked, gap=0.5)
    assert best.cost <= rough.cost <= best.cost / 0.5 + 1e-9
    assert rough.gap <= 0.5 + 1e-9 and rough.bound <= best.cost + 1e-9
    assert rough.is_proven == (rough.gap == 0.0)


# --- together


def test_visits_count_a_player_a_stringer_and_a_day_once() -> None:
    at = np.array([0, 0, 0, 1, NOT_PLACED])
    who = np.array([0, 0, 1, 0, NOT_PLACED])
    assert count_visits(at, who, np.array([5, 5, 5, 5, 5])) == 3
    assert count_visits(at, who, np.array([5, 6, 5, -1, 5])) == 3
    assert count_visits(at, who, np.full(5, -1)) == 0


def test_a_players_jobs_come_onto_one_day_where_it_costs_nothing() -> None:
    """Players A and B on two days, changed over: four visits become two. With a cost to it nothing is moved."""
    asked = problem([30.0] * 4, [[60.0, 60.0]])
    mixed = solve(asked)
    plan = replace(mixed, day=np.array([0, 1, 0, 1]), stringer=np.zeros(4, dtype=int))
    done = put_together(asked, plan, np.array([0, 0, 1, 1]))
    assert done.day[0] == done.day[1] and done.day[2] == done.day[3]
    assert (done.cost, done.is_proven) == (plan.cost, True)
    dear = np.zeros((4, 2))
    dear[0, 1] = dear[1, 0] = dear[2, 1] = dear[3, 0] = 1.0
    kept = put_together(replace(asked, cost=dear), plan, np.array([0, 0, 1, 1]))
    assert kept.day.tolist() == [0, 1, 0, 1]


def test_a_lone_racket_moves_to_the_others_where_there_is_room() -> None:
    asked = problem([30.0] * 3, [[60.0, 30.0]])
    plan = replace(solve(asked), day=np.array([0, 1, NOT_PLACED]), stringer=np.array([0, 0, NOT_PLACED]), cost=500.0)
    done = put_together(asked, plan, np.array([7, 7, 7]))
    assert done.day.tolist() == [0, 0, NOT_PLACED]


def test_two_stringers_of_one_day_share_players_out_whole() -> None:
    asked = problem([30.0] * 4, [[60.0], [60.0]])
    plan = replace(solve(asked), day=np.zeros(4, dtype=int), stringer=np.array([0, 1, 0, 1]))
    done = put_together(asked, plan, np.array([3, 3, 4, 4]))
    assert done.stringer[0] == done.stringer[1] != done.stringer[2] == done.stringer[3]
    tight = replace(asked, minutes=np.array([[30.0, 90.0], [90.0, 30.0], [30.0, 90.0], [90.0, 30.0]]))
    held = put_together(tight, plan, np.array([3, 3, 4, 4]))
    assert held.stringer.tolist() == [0, 1, 0, 1]  # each can do only two of them in time
    slow = replace(tight, minutes=np.array([[30.0, np.inf], [np.inf, 30.0], [30.0, np.inf], [np.inf, 30.0]]))
    assert put_together(slow, plan, np.array([3, 3, 4, 4])).stringer.tolist() == [0, 1, 0, 1]


def test_dealing_out_a_day_never_uses_dearer_minutes() -> None:
    """All with one stringer would be one visit, and twenty minutes of overtime."""
    asked = replace(
        problem([30.0] * 2, [[40.0], [40.0]]), overtime=np.full((2, 1), 30.0), overtime_cost=0.5, kept_cost=0.0
    )
    plan = replace(solve(asked), day=np.zeros(2, dtype=int), stringer=np.array([0, 1]), cost=0.0)
    assert put_together(asked, plan, np.array([1, 1])).stringer.tolist() == [0, 1]
    free = replace(asked, overtime_cost=0.0)
    done = put_together(free, plan, np.array([1, 1]))
    assert done.stringer[0] == done.stringer[1]


# --- the document


def test_the_document_holds_plain_values_and_gives_back_what_it_was() -> None:
    hours = {"Kim": [60.0, 0, 0, 0, 0, 0, 0], "Lee": [0.0] * 7}
    plan = made(tickets_due(0, 0, 0), hours, walk_ins=(1.5,), overtime_minutes=2.0)
    plan = replace(plan, notes=("a", "b"), gap=0.25, is_proven=False)
    document = json.loads(json.dumps(to_document(plan), allow_nan=False))
    assert (document["as_of"], document["first_on"], document["weeks"]) == ("2026-03-01", "2026-03-02", 1)
    assert document["walk_ins"] == [1.5] and document["overtime_minutes"] == 2.0
    assert document["jobs"][0]["day"] == "2026-03-02" and document["jobs"][2]["day"] is None
    assert document["jobs"][0]["state"] == "booked" and document["jobs"][0]["is_for_event"] is False
    again = from_document(document)
    assert (again.gap, again.is_proven, again.notes, again.walk_ins) == (0.25, False, ("a", "b"), [1.5])
    assert (again.cost, again.overtime_minutes) == (plan.cost, 2.0)
    assert again.extra == plan.extra and again.extra[0]["day"] == MONDAY
    assert again.mends is not None and plan.mends is not None
    assert again.mends.sent_out == plan.mends.sent_out and again.mends.too_long == plan.mends.too_long
    assert again.jobs["day"].tolist() == [MONDAY, MONDAY, None]
    assert str(again.jobs["late_days"].dtype) == "Int64" and again.jobs["order"].tolist()[:2] == [1, 2]
    assert to_document(again) == document
    fits = from_document(to_document(made(tickets_due(0), ALL_WEEK)))
    assert fits.mends is None and fits.extra == []
    hopeless = made(tickets_due(*[0] * 14), {"Kim": [10.0] + [0.0] * 6})
    assert from_document(to_document(hopeless)).mends.extra is None  # type: ignore[union-attr]


# --- sentences


def plan_with(**change: Any) -> BenchPlan:
    return replace(made(tickets_due(0), ALL_WEEK), **change)


def test_one_job_that_fits_and_more_weeks() -> None:
    """90 x 7 - 30 = 600 minutes left: 10 hours."""
    one = made(tickets_due(0), ALL_WEEK)
    assert sentences.answer(one) == "The one job of the next week fits, with about 10 h left for walk-ins"
    two = made(tickets_due(0, 1), {"Kim": [90.0] * 14}, walk_ins=(0.0, 0.0))
    assert sentences.answer(two) == "All 2 jobs of the next 2 weeks fit, with about 20 h left for walk-ins"


def test_late_and_without_a_place_in_one_sentence() -> None:
    plan = made(tickets_due(0, 0, 0, 0), {"Kim": [30.0, 30.0, 0, 30.0, 0, 0, 0]})
    assert sentences.answer(plan) == "Of 4 jobs in the next week, 1 finds no place and 2 are late, by up to 3 days"
    one = made(tickets_due(0, 0), {"Kim": [30.0, 30.0, 0, 0, 0, 0, 0]})
    assert sentences.answer(one) == "1 of 2 jobs in the next week is late, by up to 1 day"
    none = made(tickets_due(0, 0, 0), {"Kim": [30.0, 0, 0, 0, 0, 0, 0]})
    assert sentences.answer(none) == "2 of 3 jobs in the next week find no place"


def test_each_late_job_in_a_line() -> None:
    jobs = tickets_due(0, 0, 0)
    jobs[0] |= {"is_for_event": True, "due_for": "Winter Cup", "due_on": day(-1), "player_name": None}
    jobs[2] |= {"role": "spare"}
    plan = made(jobs, {"Kim": [30.0, 0, 30.0, 0, 0, 0, 0]})
    assert sorted(sentences.late_lines(plan)) == [
        "R1 is 1 day late: due Sun 1 Mar for Winter Cup, strung Mon 2 Mar.",
        "R2 (Player 2) is 2 days late: due Mon 2 Mar, strung Wed 4 Mar.",
        "R3 (Player 3) finds no place: due Mon 2 Mar.",
    ]


def test_mends_in_words() -> None:
    plan = made(tickets_due(0, 0, 0), {"Kim": [60.0, 60.0, 0, 0, 0, 0, 0]})
    assert plan.extra == [{"day": MONDAY, "stringer": "Kim", "minutes": 30.0}]
    extra, out = sentences.mend_lines(plan)
    assert extra == "Everything is ready as early as it can be with 30 min more on Mon 2 Mar (Kim)."
    assert out.startswith("Or have R") and out.endswith(" strung elsewhere: without it the rest is ready in time.")
    many = made(tickets_due(*[0] * 13), {"Kim": [30.0, 0, 0, 0, 0, 0, 0]})
    assert many.mends is not None and len(many.mends.sent_out) == 12
    lines = sentences.mend_lines(many)
    assert "and 4 more strung elsewhere: without them" in lines[-1]
    nine = made(tickets_due(*[0] * 9), {"Kim": [30.0, 0, 0, 0, 0, 0, 0]})
    assert " more strung" not in sentences.mend_lines(nine)[-1] and "and R" in sentences.mend_lines(nine)[-1]
    hopeless = made(tickets_due(*[0] * 14), {"Kim": [30.0] + [0.0] * 6})
    assert sentences.mend_lines(hopeless)[0] == "No extra minutes on the days there are would hold all of it."


def test_what_is_on_the_machine_is_the_last_to_be_sent_out() -> None:
    jobs = tickets_due(0, 0)
    jobs[0] |= {"role": "spare", "state": "on_bench"}
    jobs[1] |= {"is_for_event": True}
    plan = made(jobs, {"Kim": [30.0, 0, 0, 0, 0, 0, 0]})
    assert plan.mends is not None and plan.mends.sent_out == (1,)


@pytest.mark.parametrize(("place", "ends", "is_asked"), [(0, 1, False), (0, 2, True), (6, 8, True), (7, 9, False)])
def test_asked_for_early_where_its_turn_comes_two_days_sooner_and_within_the_week(
    place: int, ends: int, is_asked: bool
) -> None:
    hours = [0.0] * 14
    hours[place] = 30.0
    plan = made([comes(ends)], {"Kim": hours}, walk_ins=(0.0, 0.0))
    assert plan.jobs["day"].tolist() == [day(place)]
    said = sentences.pull_lines(plan)
    if is_asked:
        ends_on = {2: "Wed 4 Mar", 8: "Tue 10 Mar"}[ends]
        by = {0: "Mon 2 Mar", 6: "Sun 8 Mar"}[place]
        assert said == [
            f"Ask for R1 (Ana Reed) by {by}: its strings are likely to last until {ends_on}, and the bench has room "
            "now."
        ]
    else:
        assert said == []


def test_a_ticket_is_never_asked_for() -> None:
    here = comes(3) | {"source": "ticket", "job_id": "T1"}
    plan = made([here], {"Kim": [30.0, 0, 0, 0, 0, 0, 0]})
    assert plan.jobs["early_days"].tolist() == [3] and sentences.pull_lines(plan) == []


def test_a_search_that_ran_out_of_time_says_how_good_it_is() -> None:
    assert sentences.gap_line(plan_with()) == ""
    assert "by more than 1 %." in sentences.gap_line(plan_with(is_proven=False, gap=0.01))
    assert "by more than 2 %." in sentences.gap_line(plan_with(is_proven=False, gap=0.0151))


def test_the_first_day_may_be_named() -> None:
    assert plan_with().hours["day"].min() == MONDAY == date(2026, 3, 2)
