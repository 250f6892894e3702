"""On which days a club strings, how long a racket waits there, how many it gets through.

Expected values are counted by hand.
"""

from __future__ import annotations

import numpy as np

from pipeline.fleet.bench_calendar import AHEAD_DAYS, BenchCalendar, Waits, any_day, waits
from pipeline.fleet.bench_days import bench_days, carried, every_day, most_in_a_day, served
from pipeline.fleet.hand_over import HandOver

INF = float("inf")
TUESDAY_AND_FRIDAY = np.isin(np.arange(7), [1, 4])
# day 0 is a Monday: benches on days 1, 4, 8, 11, and before the origin (a Sunday) two, five, nine and twelve days ago
AHEAD = np.resize(TUESDAY_AND_FRIDAY, AHEAD_DAYS)
PAST = np.resize(TUESDAY_AND_FRIDAY, 28)
MONDAY = BenchCalendar(0, PAST, AHEAD[None, :], PAST, np.zeros(28, dtype=bool))
NO_DRAW = np.zeros(5, dtype=np.int64)
# days since 1970: a Friday, as 20,000 % 7 = 1 and 1 January 1970 was a Thursday
AS_OF = 20_000


def test_the_next_bench_day_and_the_ones_after_it() -> None:
    day = np.array([0.0, 1.0, 2.0, 4.0, 5.0])
    assert MONDAY.nth_from(day, np.zeros(5), NO_DRAW).tolist() == [1.0, 1.0, 4.0, 4.0, 8.0]
    assert MONDAY.nth_from(day, np.ones(5), NO_DRAW).tolist() == [4.0, 4.0, 8.0, 8.0, 11.0]


def test_beyond_the_calendar_a_day_is_its_own() -> None:
    day = np.array([float(AHEAD_DAYS), AHEAD_DAYS - 1.0, 300.0])
    assert MONDAY.nth_from(day, np.array([2, 5, 0]), NO_DRAW[:3]).tolist() == [
        AHEAD_DAYS + 2.0,
        AHEAD_DAYS + 4.0,
        300.0,
    ]


def test_each_draw_has_its_own_calendar() -> None:
    """In the second draw the stringer is away for the first week."""
    away = AHEAD.copy()
    away[:7] = False
    two = BenchCalendar(0, PAST, np.stack([AHEAD, away]), PAST, np.zeros(28, dtype=bool))
    assert two.nth_from(np.zeros(2), np.zeros(2), np.array([0, 1])).tolist() == [1.0, 8.0]


def test_bench_days_gone_by_since_a_hand_in() -> None:
    assert [MONDAY.passed_since(n) for n in (0, 1, 2, 4, 5, 9, 999)] == [0, 0, 1, 1, 2, 3, 8]


def test_weekdays_before_and_after_the_origin() -> None:
    assert MONDAY.weekday(np.array([0.0, 6.0, 7.0])).tolist() == [0, 6, 0]
    assert int(MONDAY.weekday(-1)) == 6 and int(MONDAY.weekday(-3.0)) == 4


def test_a_full_bench_since_the_hand_in_is_seen() -> None:
    full = np.zeros(28, dtype=bool)
    full[-3] = True  # Friday, two days before the origin
    calendar = BenchCalendar(0, PAST, AHEAD[None, :], PAST, full)
    assert [calendar.queued_since(n) for n in (0, 1, 2, 9)] == [False, False, True, True]


def club(strung: np.ndarray, handed_in: np.ndarray, **more: np.ndarray):
    nothing = np.zeros(0, dtype=np.int64)
    given = {"last_play": np.full(len(strung), np.nan), "waiting": nothing, "closed": nothing, **more}
    found = bench_days(
        strung,
        handed_in,
        given["last_play"],
        np.ones(len(strung), dtype=bool),
        given["waiting"],
        given["closed"],
        AS_OF,
    )
    assert found is not None
    return found


def bench_days_of(days: int = 300) -> np.ndarray:
    every = np.arange(AS_OF - days, AS_OF + 1)
    return every[np.isin((every + 3) % 7, [1, 4])]


def test_a_club_that_strings_twice_a_week_is_seen_to() -> None:
    strung = np.repeat(bench_days_of(), 2)
    found = club(strung, strung - np.tile([0, 1], len(strung) // 2))
    ahead = (AS_OF + 1 + np.arange(AHEAD_DAYS) + 3) % 7
    assert found.calendar.ahead.tolist() == [np.isin(ahead, [1, 4]).tolist()]
    # handed in the day before or on the day: the first bench there was
    assert all(set(found.wear.of(day).tolist()) == {0} for day in range(7))
    assert found.calendar.first_weekday == (AS_OF + 1 + 3) % 7 and found.away is None


def test_waits_are_told_apart_by_the_weekday_they_began_on() -> None:
    """Tuesday's hand-ins wait for Friday, as the bench strings what lay there in the morning; Monday's do not wait."""
    days = bench_days_of()
    tuesdays, fridays = days[(days + 3) % 7 == 1], days[(days + 3) % 7 == 4]
    strung = np.concatenate([tuesdays, fridays])
    found = club(strung, np.concatenate([tuesdays - 1, fridays - 3]))
    assert set(found.wear.of(0).tolist()) == {0} and set(found.wear.of(1).tolist()) == {1}


def test_days_in_the_queue_of_a_full_bench_are_not_the_job_s_own() -> None:
    """Three a day at most. Four rackets come in before every Friday; the fourth is strung on Tuesday."""
    fridays = bench_days_of()[(bench_days_of() + 3) % 7 == 4][:-1]
    strung = np.concatenate([np.repeat(fridays, 3), fridays + 4])
    handed_in = np.concatenate([np.repeat(fridays, 3) - 1, fridays - 1])
    found = club(strung, handed_in)
    assert found.most_a_day == 3.0
    assert set(found.wear.of(3).tolist()) == {0}  # Thursday's hand-ins: Friday was their turn
    assert found.calendar.was_full[-400:].sum() == len(fridays)


def test_closed_days_are_no_bench_days_before_and_after() -> None:
    strung = np.repeat(bench_days_of(), 2)
    shut = np.concatenate([np.arange(AS_OF - 100, AS_OF - 80), np.arange(AS_OF + 1, AS_OF + 15)])
    strung = strung[~np.isin(strung, shut)]
    found = club(strung, strung, closed=shut)
    assert not found.calendar.ahead[0, :14].any() and found.calendar.ahead[0, 14:21].sum() == 2
    # a racket handed in on the eve of the closed days has no bench day behind it
    assert found.calendar.passed_since(90) == club(strung, strung, closed=shut).calendar.passed_since(80)


def test_few_of_a_weekday_share_with_days_of_their_kind() -> None:
    weekday = np.repeat([1, 4, 0], [20, 2, 30])
    seen = np.arange(52)
    found = waits(seen, weekday, TUESDAY_AND_FRIDAY)
    assert found.of(1).tolist() == seen[:20].tolist()
    assert found.of(4).tolist() == seen[:22].tolist()  # two Fridays: with Tuesday's
    assert found.of(6).tolist() == seen[22:].tolist()  # no Sunday: with Monday's, no bench either
    assert waits(seen[:3], weekday[:3], TUESDAY_AND_FRIDAY).of(2).tolist() == [0, 1, 2]  # too few of all
    assert found.count == 20


def test_a_wait_is_drawn_from_its_weekday() -> None:
    of = Waits(tuple(np.array([10 * d, 10 * d + 1]) for d in range(7)))
    drawn = of.drawn(np.repeat([2, 5], 200), np.random.default_rng(0))
    assert set(drawn[:200].tolist()) == {20, 21} and set(drawn[200:].tolist()) == {50, 51}


def test_behind_a_queue_a_long_wait_says_nothing_of_ones_own() -> None:
    """Jobs here take one bench day more. Who has waited three full ones is due on the next; were they not full,
    nobody has waited so long, and it comes within two."""
    one = np.ones(4, dtype=np.int64)
    spare = np.arange(AHEAD_DAYS, dtype=float)
    found = []
    for full in (PAST, ~PAST & False):
        calendar = BenchCalendar(0, PAST, AHEAD[None, :], PAST, full)
        turns = every_day(one, one)
        bench = type(turns)(calendar, any_day(one), any_day(one), turns.from_play, INF)
        way = HandOver(one, one, np.zeros(1), np.zeros(AHEAD_DAYS), spare, bench)
        found.append(set(way.still_waiting(np.array([9.0]), 200, np.random.default_rng(1)).ravel().tolist()))
    assert found == [{1.0}, {1.0, 4.0}]


def test_the_limit_is_a_number_reached_often_and_hardly_passed() -> None:
    assert most_in_a_day(np.array([9] * 12 + [4, 5, 3, 0, 1, 8, 8])) == 9
    assert most_in_a_day(np.array([9] * 12 + [14, 4, 8])) == 9  # a day with a second stringer
    assert most_in_a_day(np.random.default_rng(0).poisson(3.0, 300)) == INF
    assert most_in_a_day(np.zeros(30, dtype=int)) == INF


def test_a_backlog_comes_out_at_the_pace_of_the_bench_and_in_turn() -> None:
    # five jobs wanted on day 0 and one on day 1, two a bench day, benches on days 1, 4, 5
    open_days = np.isin(np.arange(6), [1, 4, 5])[None, :]
    day = np.array([0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 99.0])
    out = served(np.zeros(7, dtype=np.int64), day, open_days, 2.0, 1)
    assert sorted(out[[0, 1, 2, 3, 5]]) == [1.0, 1.0, 4.0, 4.0, 5.0]
    assert out[4] == 5.0  # who came last is done last
    assert out[6] == 99.0  # beyond the calendar: left as it is


def test_draws_do_not_wait_for_each_other() -> None:
    draw = np.array([0, 0, 1, 1])
    out = served(draw, np.zeros(4), np.ones((1, 3), dtype=bool), 1.0, 2)
    assert sorted(out[draw == 0]) == sorted(out[draw == 1]) == [0.0, 1.0]


def test_a_draw_without_a_stringer_waits_alone() -> None:
    draw, open_days = np.array([0, 0, 1, 1]), np.array([[True, True, True], [False, False, True]])
    assert served(draw, np.zeros(4), open_days, 2.0, 2).tolist() == [0.0, 0.0, 2.0, 2.0]


def test_what_a_week_cannot_hold_is_the_next_weeks() -> None:
    assert carried(np.array([[44.0, 16.0, 10.0]]), np.full((1, 3), 28.0)).tolist() == [[28.0, 28.0, 14.0]]
    by_draw = np.array([[28.0, 28.0], [0.0, 28.0]])
    assert carried(np.array([[10.0, 3.0], [10.0, 3.0]]), by_draw).tolist() == [[10.0, 3.0], [0.0, 13.0]]
