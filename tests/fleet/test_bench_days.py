"""On which days a club strings and how many it gets through. Expected values are counted by hand."""

from __future__ import annotations

import numpy as np

from pipeline.fleet.bench_days import BenchDays, bench_days, carried, most_in_a_day, served

INF = float("inf")
TUESDAY_AND_FRIDAY = np.isin(np.arange(7), [1, 4])


def days(first_weekday: int, most: float = INF) -> BenchDays:
    nothing = np.zeros(1, dtype=np.int64)
    return BenchDays(TUESDAY_AND_FRIDAY, first_weekday, nothing, nothing, np.zeros((0, 2)), most)


def test_the_next_bench_day_and_the_ones_after_it() -> None:
    # day 0 is a Monday: benches on days 1, 4, 8, 11
    monday = days(0)
    day = np.array([0.0, 1.0, 2.0, 4.0, 5.0])
    assert monday.nth_from(day, np.zeros(5)).tolist() == [1.0, 1.0, 4.0, 4.0, 8.0]
    assert monday.nth_from(day, np.ones(5)).tolist() == [4.0, 4.0, 8.0, 8.0, 11.0]


def test_bench_days_gone_by_since_a_hand_in() -> None:
    # the origin is a Sunday: Friday is two days before it, Tuesday five
    monday = days(0)
    assert [monday.passed_since(n) for n in (0, 1, 2, 4, 5, 9)] == [0, 0, 1, 1, 2, 3]


def test_a_club_that_strings_twice_a_week_is_seen_to() -> None:
    as_of = (
        20_000  # 1970-01-01 + 20,000 days is a Thursday (worked out from 1 January 1970, a Thursday: 20,000 % 7 = 1)
    )
    every = np.arange(as_of - 300, as_of + 1)
    strung = np.repeat(every[np.isin((every + 3) % 7, [1, 4])], 2)
    handed_in = strung - np.tile([0, 1], len(strung) // 2)
    found = bench_days(
        strung, handed_in, np.full(len(strung), np.nan), np.ones(len(strung), dtype=bool), np.zeros(0, dtype=int), as_of
    )
    assert found is not None
    assert found.weekdays.tolist() == TUESDAY_AND_FRIDAY.tolist()
    assert set(found.passed_wear.tolist()) == {0}  # handed in the day before: the first bench there was
    assert found.first_weekday == (as_of + 1 + 3) % 7


def test_the_limit_is_a_number_reached_often_and_hardly_passed() -> None:
    assert most_in_a_day(np.array([9] * 12 + [4, 5, 3, 0, 1, 8, 8])) == 9
    assert most_in_a_day(np.array([9] * 12 + [14, 4, 8])) == 9  # a day with a second stringer
    assert most_in_a_day(np.random.default_rng(0).poisson(3.0, 300)) == INF
    assert most_in_a_day(np.zeros(30, dtype=int)) == INF


def test_a_backlog_comes_out_at_the_pace_of_the_bench_and_in_turn() -> None:
    # five jobs wanted on day 0 and one on day 1, two a bench day, benches on days 1, 4, 5
    open_days = np.isin(np.arange(6), [1, 4, 5])
    day = np.array([0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 99.0])
    out = served(np.zeros(7, dtype=np.int64), day, open_days, 2.0, 1)
    assert sorted(out[[0, 1, 2, 3, 5]]) == [1.0, 1.0, 4.0, 4.0, 5.0]
    assert out[4] == 5.0  # who came last is done last
    assert out[6] == 99.0  # beyond the calendar: left as it is


def test_draws_do_not_wait_for_each_other() -> None:
    draw = np.array([0, 0, 1, 1])
    out = served(draw, np.zeros(4), np.ones(3, dtype=bool), 1.0, 2)
    assert sorted(out[draw == 0]) == sorted(out[draw == 1]) == [0.0, 1.0]


def test_what_a_week_cannot_hold_is_the_next_weeks() -> None:
    assert carried(np.array([[44.0, 16.0, 10.0]]), np.full(3, 28.0)).tolist() == [[28.0, 28.0, 14.0]]
