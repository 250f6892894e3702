"""Bench days, queues, absences, closed days and stand-ins: small cases with every number worked out by hand.

Source: by hand, beside each check; that a bench has days of its own and that the other rackets of the bag are played
meanwhile is common practice.
"""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import bench_days as bench
from pipeline.fleet import hand_over
from pipeline.fleet.absences import LONGEST, Absences
from pipeline.fleet.hand_over import HandOver
from pipeline.fleet.takeover import Takeover, takeover_of

AS_OF = 20_000  # a Friday
NONE = np.zeros(0, dtype=np.int64)


def found(strung: list[int], wait: int = 2, closed: list[int] | None = None) -> bench.BenchDays | None:
    days = np.array(strung)
    return bench.bench_days(
        days, days - wait, np.full(len(days), np.nan), np.ones(len(days), dtype=bool), NONE,
        np.array(closed or [], dtype=np.int64), AS_OF,
    )  # fmt: skip


def fridays(count: int, jobs: int) -> list[int]:
    return [AS_OF - 7 * n for n in range(count) for _ in range(jobs)]


def test_thirty_jobs_show_a_club_s_ways_and_twenty_nine_do_not() -> None:
    assert found(fridays(29, 1)) is None
    club = found(fridays(30, 1))
    assert club is not None
    assert np.flatnonzero(club.calendar.ahead[0])[:3].tolist() == [6, 13, 20]  # the Fridays to come
    assert club.most_a_day == float("inf")


def test_a_day_is_usual_unless_it_was_full_or_closed() -> None:
    """Three jobs on eight Fridays, one on the others: three is the limit. A closed Friday is not as usual; a Thursday
    without a bench is."""
    strung = fridays(8, 3) + [AS_OF - 7 * n for n in range(8, 40) if n != 10]
    club = found(strung, closed=[AS_OF - 70])
    assert club is not None and club.most_a_day == 3.0
    usual = club.calendar.is_usual
    assert not usual[[-1 - 7 * n for n in range(8)]].any()  # full
    assert not usual[-1 - 70]  # closed
    assert usual[[-1 - 7 * n for n in (8, 9, 11)]].all()  # Fridays with one job
    assert usual[[-2, -3]].all()  # a Thursday and a Wednesday
    assert club.calendar.was_full.sum() == 8


@pytest.mark.parametrize(
    ("counts", "limit"),
    [
        ({4: 4}, 4.0),  # so often the most is enough
        ({4: 3}, float("inf")),
        ({4: 6, 5: 2}, 4.0),  # hardly ever more
        ({4: 6, 5: 3}, float("inf")),
        ({3: 9, 4: 8}, float("inf")),  # four days come less often than three: the tail of chance
        ({3: 8, 4: 8}, 4.0),
        ({2: 90}, float("inf")),  # two a day is no bench
        ({3: 4}, 3.0),
    ],
)
def test_a_limit_is_reached_often_and_hardly_passed(counts: dict[int, int], limit: float) -> None:
    jobs = np.repeat(list(counts), list(counts.values()))
    assert bench.most_in_a_day(np.concatenate([np.zeros(50, dtype=np.int64), jobs])) == limit


def test_full_days_running_before_each() -> None:
    assert bench._full_before(np.array([True, True, False, True])).tolist() == [0, 1, 2, 0, 1]


def test_days_in_a_queue_are_taken_off_down_to_what_the_weekday_takes_at_least() -> None:
    """Of Tuesday's, one met no queue and took 1: 5 with 2 in the queue are 3; 5 with 9 no less than 1. On Wednesday all
    stood in a queue: the least of the free ones of any day. Who met no queue keeps what it took."""
    passed, queue, day = np.array([5, 5, 1, 4, 3]), np.array([2, 9, 0, 4, 0]), np.array([1, 1, 1, 2, 3])
    assert bench._own_turn(passed, queue, day).tolist() == [3, 1, 1, 1, 3]


def test_what_waited_on_each_bench_day_and_what_was_taken_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A came on day 2 and was strung on 5; B on 6 and 8; C on 8 and the same day: it never waited; D waits since 7;
    E waited 31 days: for something else. Told are the bench days after the first restring."""
    told: list[Any] = []
    monkeypatch.setattr(bench, "absences", lambda *given: told.append(given))
    past = np.ones(10, dtype=bool)
    past[7] = False
    strung, came = np.array([5, 8, 8, 9]), np.array([2, 6, 8, 9 - 31])
    bench._away(past, np.bincount(strung, minlength=10), strung, np.maximum(came, -22), np.array([7]))
    is_done, left, taken = told[0]
    assert is_done.tolist() == [False, True, True]  # days 6, 8, 9
    assert left.tolist() == [0.0, 2.0, 1.0]  # B and D on day 8, D on day 9
    assert taken.tolist() == [0.0, 1.0, 0.0]


def states(at: int, begins: float, ends: dict[int, float]) -> Absences:
    now, over = np.zeros(LONGEST + 1), np.zeros(LONGEST + 1)
    now[at] = 1.0
    over[list(ends)] = list(ends.values())
    return Absences(np.zeros(1), now, begins, over)


@pytest.mark.parametrize(
    ("away", "at_work"),
    [
        (states(1, 0.0, {2: 1.0}), [False, False, True, True]),  # its second day is the last; Tuesday is no bench day
        (states(0, 1.0, {1: 1.0}), [False, False, True, False]),  # away and back by turns
        (states(LONGEST, 0.0, {}), [False] * 4),  # as long as is told apart, and longer
        (states(0, 0.0, {}), [True, False, True, True]),
    ],
)
def test_the_days_ahead_of_a_bench_whose_ways_are_certain(away: Absences, at_work: list[bool]) -> None:
    open_days = np.array([True, False, True, True])
    assert away.ahead(open_days, 3, np.random.default_rng(0)).tolist() == [at_work] * 3
    assert away.is_away == float(away.now[0] == 0.0)


def test_how_far_a_club_keeps_to_its_closed_days() -> None:
    """28 days before Sunday 29 March, one of them closed: Mondays and Thursdays, three and four jobs in 27 open days.
    The closed Monday would have had 3 / (27 / 7) = 7 / 9, and none came: 1 - 1.5 / (3 + 7 / 9). It may close again on
    the Monday that is day 0: the next bench day is then the Thursday, day 3."""
    as_of = date(2026, 3, 29)
    days = [2, 16, 23, 5, 12, 19, 26]
    restrung = pd.to_datetime(pd.Series([date(2026, 3, d) for d in days]))
    closed = {date(2026, 3, 9), date(2026, 3, 30)}
    keep, keeps, open_from = hand_over._closed_days(restrung, closed, as_of)
    assert keep == pytest.approx(1.0 - 1.5 / (3.0 + 7.0 / 9.0))
    assert keeps[0] == keep and not keeps[1:].any()
    assert open_from[:9].tolist() == [3, 3, 3, 3, 7, 7, 7, 7, 10]
    # a job on the closed day: four in 27 open days would have brought 28 / 27, and one came
    again = pd.concat([restrung, pd.to_datetime(pd.Series([date(2026, 3, 9)]))])
    assert hand_over._closed_days(again, closed, as_of)[0] == pytest.approx(1.0 - 2.5 / (3.0 + 28.0 / 27.0))
    # closed days before the first restring, or none, say nothing
    early = {as_of - timedelta(days=60)}
    assert hand_over._closed_days(restrung, early, as_of)[0] == pytest.approx(0.5)
    assert hand_over._closed_days(restrung, set(), as_of)[0] == 0.0


def test_a_restring_on_the_closed_day_of_the_origin_counts() -> None:
    as_of = date(2026, 3, 29)
    restrung = pd.to_datetime(pd.Series([as_of - timedelta(days=7 * n) for n in range(4)]))
    keep, _, _ = hand_over._closed_days(restrung, {as_of}, as_of)
    # Sundays: four in 21 open days, so 4 / 3 were to come, and one came
    assert keep == pytest.approx(1.0 - 2.5 / (3.0 + 4.0 / 3.0))


def two_of_one_player(over: float = 0.0, over_days: float = 0.0, waits: Any = ()) -> Takeover:
    return Takeover(np.array([1.0, 0.8, 0.4, 0.1]), np.array([over, 0.0]), np.array([over_days, 0.0]), waits)


SHARE, NOBODY_ELSE = np.array([0.6, 0.4]), np.zeros(2, dtype=np.int64)


def test_while_one_is_away_the_other_takes_its_play() -> None:
    """The first ends on the first day: away for 1, 0.8, 0.4, so that 0, 0.12, 0.36 of its play is left to it."""
    ended = np.array([[1.0, 1.0, 1.0], [0.0, 0.0, 0.0]])
    factor = two_of_one_player().factors(SHARE, NOBODY_ELSE, ended)
    assert factor[0] == pytest.approx([1.0, 1.0, 1.0])
    assert factor[1] == pytest.approx([1.0 / 0.4, 1.0 / 0.52, 1.0 / 0.76])


def test_one_that_is_over_unseen_comes_back_by_and_by() -> None:
    """Over with a chance of a half for 1.4 days: of those away after one day, 0.4, 0.1, 0.1 of 0.8 still are."""
    factor = two_of_one_player(0.5, 1.4).factors(SHARE, NOBODY_ELSE, np.zeros((2, 3)))
    hidden = 0.5 * np.array([0.4, 0.1, 0.1]) / 0.8
    assert factor[1] == pytest.approx(1.0 / (0.4 + 0.6 * (1.0 - hidden)))


def test_one_that_is_over_does_not_end_again() -> None:
    """It ends on the first day with a chance of one; as far as it is over already, that does not count."""
    ended = np.array([[1.0, 1.0, 1.0], [0.0, 0.0, 0.0]])
    factor = two_of_one_player(0.5, 1.0).factors(SHARE, NOBODY_ELSE, ended)
    away = 0.5 * np.array([0.4, 0.1, 0.1]) / 0.8 + 0.5 * np.array([1.0, 0.8, 0.4])
    assert factor[1] == pytest.approx(1.0 / (0.4 + 0.6 * (1.0 - away)))


def test_one_that_waits_at_the_bench_takes_its_part_back() -> None:
    waits = ((0, 0.5, np.array([0.0, 0.5, 1.0])),)
    factor = two_of_one_player(waits=waits).factors(SHARE, NOBODY_ELSE, np.zeros((2, 4)))
    assert factor == pytest.approx(np.tile(1.0 / (1.0 + 0.5 * np.array([0.0, 0.5, 1.0, 1.0])), (2, 1)))
    # that of another player changes nothing
    other = two_of_one_player(waits=((1, 0.5, np.ones(3)),)).factors(SHARE, NOBODY_ELSE, np.zeros((2, 4)))
    assert other == pytest.approx(np.ones((2, 4)))


def test_what_is_known_of_bag_and_bench_makes_the_time_away() -> None:
    """In the bag 0 or 1 day, at the bench 1, 1, 1 or 3: away after 0, 1, 2, 3 days are 1, 0.625, 0.25, 0.125."""
    way = HandOver(
        np.array([1.0, 1.0, 1.0, 3.0]), np.zeros(1), np.array([0.0, 0.0, 1.0, 1.0]), np.zeros(9), np.arange(9.0)
    )
    rackets = pd.DataFrame(
        {
            "bed_id": ["A", "B", "C", "D", None, "F"],
            "player_id": ["P1", "P1", "P2", "P2", "P1", "P9"],
            "share": [0.5, 0.2, 0.99, 0.1, 0.3, 0.3],
            "status": ["at_bench", "at_bench", "at_bench", "in_play", "at_bench", "at_bench"],
            "waiting_days": [1.0, np.nan, 3.0, np.nan, 1.0, 1.0],
        }
    )
    made = takeover_of(rackets, ("P1", "P2"), (np.zeros(1), np.ones(1)), way)
    assert made.still_away == pytest.approx([1.0, 0.625, 0.25, 0.125, 0.0])
    rows, usage, by_day = zip(*made.waits, strict=True)
    assert rows == (0, 0, 1)
    assert usage == pytest.approx([0.5 / 0.5, 0.2 / 0.8, 0.99 / 0.05])
    assert by_day[0][:3] == pytest.approx([0.0, 1.0, 1.0])  # waited 1: two more, as the one of three days
    assert by_day[1][:3] == pytest.approx([0.75, 0.75, 1.0])
    assert by_day[2][:6] == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0, 1.0])  # longer than anybody
    assert len(by_day[0]) == 11
    assert made.over_days.tolist() == [1.0]


def test_without_a_bed_nobody_stands_in() -> None:
    nothing = two_of_one_player().factors(np.zeros(0), NOBODY_ELSE[:0], np.zeros((0, 5)))
    assert nothing.shape == (0, 5)


def test_a_chance_that_the_stringer_is_away_now() -> None:
    kept = HandOver(np.ones(5), np.zeros(5), np.zeros(1), np.zeros(9), np.arange(9.0))
    assert kept.is_idle == 0.0
    away: Any = SimpleNamespace(away=SimpleNamespace(is_away=0.4))
    assert HandOver(np.ones(5), np.zeros(5), np.zeros(1), np.zeros(9), np.arange(9.0), away).is_idle == 0.4


def test_millions_of_jobs_keep_their_draws_apart() -> None:
    """Draws come as small whole numbers: 1,500 draws of 1,500 jobs each are 2,250,000 places, times the draw beyond
    two to the power of 31. Each draw has a job of its own on the first day, which a bench of one a day does then."""
    draws, jobs = 1500, 1500
    draw = np.repeat(np.arange(draws, dtype=np.int32), jobs)
    day = np.tile(np.arange(jobs, dtype=np.float32) % 300, draws)
    done = bench.served(draw, day, np.ones((1, 300), dtype=bool), 5.0, draws)
    assert np.array_equal(done.reshape(draws, jobs), np.tile(done[:jobs], (draws, 1)))
    assert np.array_equal(done[:300], np.arange(300.0))
