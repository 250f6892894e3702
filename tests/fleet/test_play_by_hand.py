"""The pieces of the coming play, each on numbers that can be worked out on paper.

Spreads are judged on a forecast that is put in their place, so that every miss is known: a forecast of 1 hour where
1.5 or 0.5 came is off by a half. All expected values are worked out beside their test.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import play
from pipeline.fleet.snapshot import snapshot
from tests.fleet.clubs import ORIGIN, academy

SUNDAY = pd.Timestamp(ORIGIN)
Forecast = Callable[[play._Weeks, np.ndarray, np.ndarray], np.ndarray]


def weeks_of(hours: np.ndarray, known: list[int], plan: np.ndarray | None = None) -> play._Weeks:
    """hours: (players, weeks), newest first. known: how many of the newest weeks each player is on file."""
    given = np.asarray(hours, dtype=float)
    seen = np.arange(given.shape[1])[None, :] < np.array(known)[:, None]
    other = np.zeros_like(given) if plan is None else plan
    return play._Weeks(given, other, other, seen, np.zeros(len(given), dtype=int))


def ones(weeks: play._Weeks, plan: np.ndarray, closed: np.ndarray) -> np.ndarray:
    return np.ones_like(plan)


@pytest.fixture
def forecast_is(monkeypatch: pytest.MonkeyPatch) -> Callable[[Forecast], None]:
    return lambda made: monkeypatch.setattr(play, "forecast_weeks", made)


def test_players_who_are_always_off_are_a_spread_of_the_level(forecast_is: Callable[[Forecast], None]) -> None:
    """Off by +1/2 and -1/2 in every week: one week 1/4, four weeks together (2 of 4 hours) 1/4; nothing is left for
    the week, which is at its least, 0.01; level 1/4 - 0.01/4. The club is never off: its least, 0.03."""
    forecast_is(ones)
    found = play._spreads(weeks_of(np.repeat([[1.5], [0.5]], 12, axis=1), [12, 12]))
    assert found == pytest.approx((np.sqrt(0.2475), 0.1, 0.03, 1.0))


def test_players_who_are_off_by_turns_are_a_spread_of_the_week(forecast_is: Callable[[Forecast], None]) -> None:
    """+1/2, -1/2 by turns: one week 1/4, four weeks together 0, so (1/4 - 0) x 4/3 = 1/3 of the week. Level: least,
    0.01. Both players together are off by a half each week."""
    forecast_is(ones)
    found = play._spreads(weeks_of(np.tile([1.5, 0.5], (2, 6)), [12, 12]))
    assert found == pytest.approx((0.1, np.sqrt(1 / 3), 0.5, 1.0))


def test_a_club_week_counts_at_most_as_twice_or_nothing_of_what_was_foreseen(
    forecast_is: Callable[[Forecast], None],
) -> None:
    """Three hours where one was foreseen: the club is off by 2, counted as 1; bias 1 + 2/2, at most 1.15. None at all:
    off by -1; bias 1 - 1/2, at least 0.85."""
    forecast_is(ones)
    assert play._spreads(weeks_of(np.full((2, 12), 3.0), [12, 12]))[2:] == pytest.approx((1.0, 1.15))
    assert play._spreads(weeks_of(np.zeros((2, 12)), [12, 12]))[2:] == pytest.approx((1.0, 0.85))
    assert play._spreads(weeks_of(np.full((2, 12), 1.1), [12, 12]))[3] == pytest.approx(1.05)


def test_a_player_counts_from_four_weeks_on_file_before_the_forecast(
    forecast_is: Callable[[Forecast], None],
) -> None:
    """Looked back on from weeks 4 and 5. A is on file for 12 weeks and never off; B for 8, that is to column 7: at 4
    column 7 is asked for, at 5 column 8, so B counts once, four weeks with 2 hours for 1.

    One week: 4 of 12 forecasts off by 1, 1/3; four weeks: 16 of 48, 1/3: week 0.01, level 1/3 - 0.0025. The club is
    off by 1 of 2 in four weeks, by nothing in the other four. Bias 1 + 4/12/2, more than 1.15.
    """
    forecast_is(ones)
    hours = np.repeat([[1.0], [2.0]], 12, axis=1)
    found = play._spreads(weeks_of(hours, [12, 8]))
    assert found == pytest.approx((np.sqrt(1 / 3 - 0.0025), 0.1, np.sqrt(0.25 / 2), 1.15))


def test_weeks_in_which_next_to_nothing_is_foreseen_are_left_out(forecast_is: Callable[[Forecast], None]) -> None:
    """0.2 hours are left out, 0.3 are not: off by -0.3 of 0.3 is 1, in each week and over four: level 0.9975."""
    small = np.array([[0.2, 0.2, 0.2, 0.2], [0.3, 0.3, 0.3, 0.3]])
    forecast_is(lambda weeks, plan, closed: small[-len(plan) :])
    hours = np.repeat([[5.0], [0.0]], 12, axis=1)
    assert play._spreads(weeks_of(hours, [12, 12])) == pytest.approx((np.sqrt(0.9975), 0.1, 1.0, 0.85))
    one = play._spreads(weeks_of(hours[1:, :11], [11]))  # a player alone: 1.2 hours foreseen in all
    assert one == pytest.approx((np.sqrt(0.9975), 0.1, 0.15, 0.85))
    forecast_is(lambda weeks, plan, closed: small[:1].repeat(2, axis=0))
    assert play._spreads(weeks_of(hours, [12, 12])) == (0.35, 0.6, 0.15, 1.0)


def test_the_club_needs_more_than_four_weeks(forecast_is: Callable[[Forecast], None]) -> None:
    """Eleven weeks give one look back of four weeks: the usual 0.15. Of twelve weeks' two, one may be of one week."""
    forecast_is(ones)
    hours = np.tile([1.5, 0.5], (1, 6))
    assert play._spreads(weeks_of(hours[:, :11], [11]))[2] == 0.15
    calls = iter([np.ones((1, 4)), np.array([[1.0, 0.0, 0.0, 0.0]])])
    forecast_is(lambda weeks, plan, closed: next(calls))
    assert play._spreads(weeks_of(hours, [12]))[2] == pytest.approx(0.5)


def test_the_usual_spreads_stand_where_the_log_is_too_short(forecast_is: Callable[[Forecast], None]) -> None:
    asked = []

    def noted(weeks: play._Weeks, plan: np.ndarray, closed: np.ndarray) -> np.ndarray:
        asked.append(weeks.hours.shape[1])
        return np.ones_like(plan)

    forecast_is(noted)
    assert play._spreads(weeks_of(np.ones((1, 10)), [10])) == (0.35, 0.6, 0.15, 1.0)
    assert asked == []
    play._spreads(weeks_of(np.ones((1, 11)), [11]))
    assert asked == [11 - 4]
    asked.clear()
    play._spreads(weeks_of(np.ones((1, 60)), [60]))
    assert asked == [60 - origin for origin in range(4, 18)]  # fourteen, the newest first


@pytest.mark.parametrize("which", [0, 1])
def test_a_past_forecast_is_given_the_four_weeks_that_followed_in_their_order(
    forecast_is: Callable[[Forecast], None], which: int
) -> None:
    """A forecast that says what the calendar of those weeks said is right, where just that was played."""
    told = np.arange(1.0, 13.0)[None, :]
    forecast_is(lambda weeks, plan, closed: (plan, closed)[which])
    weeks = weeks_of(told, [12])
    blank = np.full_like(told, 99.0)
    given = play._Weeks(told, *((told, blank) if which == 0 else (blank, told)), weeks.known, weeks.squad)
    assert play._spreads(given) == pytest.approx((0.1, 0.1, 0.03, 1.0))


def test_a_past_forecast_knows_the_weeks_before_it_alone(forecast_is: Callable[[Forecast], None]) -> None:
    """Play falls by an hour a week, going back; a forecast that goes on so from the newest week it knows is right."""
    hours = np.arange(20.0, 8.0, -1.0)[None, :]
    forecast_is(lambda weeks, plan, closed: weeks.hours[:, :1] + np.arange(1.0, 5.0))
    assert play._spreads(weeks_of(hours, [12])) == pytest.approx((0.1, 0.1, 0.03, 1.0))


def test_a_handful_of_hours_foreseen_is_enough(forecast_is: Callable[[Forecast], None]) -> None:
    """0.21 hours a week for four weeks, and half of them came: off by a half, all of it of the level."""
    forecast_is(lambda weeks, plan, closed: np.full_like(plan, 0.21))
    found = play._spreads(weeks_of(np.full((1, 11), 0.105), [11]))
    assert found == pytest.approx((np.sqrt(0.2475), 0.1, 0.15, 0.85))


# --- what the calendar says


def test_plans_are_held_against_the_usual_week_of_the_squad() -> None:
    """Squad 1 plans 4 hours a week, squad 2 none on file. 6, 2 and 3.2 hours ahead are 1.5, 0.5 and 0.8 of the usual;
    without plans on file a week is a usual one, whatever is planned."""
    past = np.array([[4.0, 4.0, 4.0], [0.0, 0.0, 0.0]])
    told, ahead, has = play._relative_plans(past, np.array([[6.0, 2.0, 3.2], [5.0, 0.0, 1.0]]), np.ones(3, dtype=bool))
    assert has
    assert told == pytest.approx(np.ones((2, 3)))
    assert ahead == pytest.approx(np.array([[1.5, 0.5, 0.8], [1.0, 1.0, 1.0]]))


def test_weeks_after_the_last_entry_and_a_last_week_cut_off_are_usual_ones() -> None:
    """Usual: 3 of the two weeks on file (9 hours lie outside); their parts 4/3 and 2/3 have 1 in the middle."""
    past, valid = np.array([[4.0, 2.0, 9.0]]), np.array([True, True, False])
    told, ahead, _ = play._relative_plans(past, np.array([[3.0, 1.5, 0.0, 0.0]]), valid)
    assert told == pytest.approx(np.array([[4 / 3, 2 / 3, 3.0]]))
    assert ahead == pytest.approx(np.ones((1, 4)))  # 1.5 of 3 in the last planned week: cut off
    _, whole, _ = play._relative_plans(past, np.array([[3.0, 1.5, 2.7, 0.0]]), valid)
    assert whole == pytest.approx(np.array([[1.0, 0.5, 0.9, 1.0]]))
    _, first, _ = play._relative_plans(past, np.array([[1.5, 0.0]]), valid)
    assert first == pytest.approx(np.array([[0.5, 1.0]]))  # the first week is believed


def test_without_any_plan_on_file_no_week_is_told_from_another() -> None:
    told, ahead, has = play._relative_plans(np.zeros((1, 3)), np.array([[5.0, 1.0]]), np.ones(3, dtype=bool))
    assert not has
    assert told.tolist() == [[1.0, 1.0, 1.0]] and ahead.tolist() == [[1.0, 1.0]]


# --- last year's weeks


def season(done: dict[int, float], n: int = 60, n_ahead: int = 5) -> np.ndarray:
    observed = np.ones((1, n))
    for week, value in done.items():
        observed[0, week] = value
    return play._season(observed, np.ones((1, n)), np.ones((1, n)), n_ahead)


def test_last_year_s_weeks_are_smoothed_over_three_and_believed_in_part() -> None:
    """Twice the play in the weeks 49 to 51 back. The first week ahead was 51 back: (2 + 2 + 1) / 3; the next 2, of
    which 1.8 is the most; then 5/3, 4/3 and 1. All to the power 0.7."""
    assert season({49: 2.0, 50: 2.0, 51: 2.0}) == pytest.approx(
        np.array([[5 / 3, 1.8, 5 / 3, 4 / 3, 1.0]]) ** 0.7, rel=1e-4
    )


def test_the_newest_weeks_then_are_what_last_year_is_held_against() -> None:
    """Weeks 52 to 55 back had half the usual: every ratio doubles, 1.8 at most; the first, with week 52 in it,
    (0.5 + 1 + 1) / 3 / 0.5 = 5/3."""
    base = dict.fromkeys(range(52, 56), 0.5)
    assert season(base, n_ahead=2) == pytest.approx(np.array([[5 / 3, 1.8]]) ** 0.7, rel=1e-4)
    assert season({55: 3.0}, n_ahead=2) == pytest.approx(np.array([[2 / 3, 2 / 3]]) ** 0.7, rel=1e-4)
    assert season({56: 3.0}, n_ahead=2) == pytest.approx(np.ones((1, 2)), rel=1e-4)


def test_a_season_needs_a_year_and_the_four_weeks_before_it() -> None:
    assert season({51: 2.0}, n=55) == pytest.approx(np.ones((1, 5)))
    assert season({51: 2.0}, n=56)[0, 0] == pytest.approx((4 / 3) ** 0.7, rel=1e-4)


def test_what_squads_were_due_weighs_them() -> None:
    """Squad 1 was due nine times what squad 2 was: (9 x 1.3 + 1 x 0.3) / 10 = 1.2 in every week, so no season."""
    observed = np.repeat([[1.3], [0.3]], 60, axis=1)
    observed[:, 49:52] = [[1.6], [1.6]]
    due = np.repeat([[9.0], [1.0]], 60, axis=1)
    made = play._season(observed, np.ones((2, 60)), due, 2)
    assert made == pytest.approx(np.array([[(1.6 * 2 + 1.2) / 3 / 1.2, 1.6 / 1.2]]) ** 0.7, rel=1e-4)


# --- into days


def played(*rows: tuple[str, int, float]) -> pd.DataFrame:
    """player, days before the origin, hours; abrasion is twice the hours of P1 and as the hours of others."""
    return pd.DataFrame(
        {
            "player_id": [p for p, _, _ in rows],
            "day": [SUNDAY - timedelta(days=back) for _, back, _ in rows],
            "hours": [h for *_, h in rows],
            "abrasion_hours": [h * (2.0 if p == "P1" else 1.0) for p, _, h in rows],
            "playability_hours": [h * (0.5 if p == "P1" else 1.0) for p, _, h in rows],
        }
    )


def closed_days(*rows: tuple[str, int]) -> pd.DataFrame:
    """player, days after the origin."""
    return pd.DataFrame(
        {
            "player_id": [p for p, _ in rows],
            "day": [SUNDAY + timedelta(days=ahead) for _, ahead in rows],
            "is_closed": True,
        }
    )


def into_days(past: pd.DataFrame, plans: pd.DataFrame, speak: bool = False, n_weeks: int = 1) -> np.ndarray:
    return play._into_days(np.full((1, n_weeks), 13.0), past, plans, {"P1": 0}, SUNDAY, speak)


def test_days_of_the_week_lean_on_the_club_s() -> None:
    """Three hours, all on Mondays: the club counts 3 + 1 on Mondays and 1 else, of 10; with ten hours spread so, the
    player's are 3 + 4 and 1, of 13. The origin is a Sunday, so that the first day ahead is a Monday."""
    monday = played(("P1", 6, 3.0), ("PX", 6, 50.0))
    assert into_days(monday, pd.DataFrame(), n_weeks=2) == pytest.approx(np.array([[7.0, 1, 1, 1, 1, 1, 1] * 2]))


def test_days_of_the_week_are_those_of_the_newest_twelve_weeks() -> None:
    old = played(("P1", 6, 3.0), ("P1", 7 * 12, 50.0))
    assert into_days(old, pd.DataFrame())[0, :2] == pytest.approx([7.0, 1.0])
    new = played(("P1", 7 * 12 - 1, 3.0))  # a Monday
    assert into_days(new, pd.DataFrame())[0, :2] == pytest.approx([7.0, 1.0])


def test_a_closed_day_keeps_a_tenth_and_its_play_moves_where_the_week_was_told() -> None:
    """Monday's 7 of 13 become 0.7; where the calendar says how full the week is, all 13 are spread over 6.7."""
    monday, shut = played(("P1", 6, 3.0)), closed_days(("P1", 1), ("P1", 8), ("PX", 2), ("P1", 0))
    assert into_days(monday, shut) == pytest.approx(np.array([[0.7, 1, 1, 1, 1, 1, 1]]))
    assert into_days(monday, shut, speak=True) == pytest.approx(np.array([[0.7, 1, 1, 1, 1, 1, 1]]) * 13.0 / 6.7)
    all_week = closed_days(*(("P1", day) for day in range(1, 8)))
    assert into_days(monday, all_week, speak=True).sum() == pytest.approx(1.3)  # a tenth of a week: it stays shut


def test_reference_hours_an_hour_are_shrunk_to_the_club_s() -> None:
    """P1: 3 hours, 6 of abrasion, 1.5 of playability; P2: 3, 3, 3. The club's: 9/6 = 1.5 and 4.5/6 = 0.75. With three
    hours at that: (6 + 4.5) / 6, (1.5 + 2.25) / 6, (3 + 4.5) / 6, (3 + 2.25) / 6; an unknown player has the club's."""
    index = {"P1": 0, "P2": 1, "P3": 2}
    past = played(("P1", 0, 3.0), ("P2", 7 * 16 - 1, 3.0), ("P1", 7 * 16, 40.0), ("PX", 1, 9.0))
    assert play._reference_per_hour(past, index, SUNDAY) == pytest.approx(
        np.array([[1.75, 0.625], [1.25, 0.875], [1.5, 0.75]])
    )
    assert play._reference_per_hour(past.head(0), index, SUNDAY) == pytest.approx(np.ones((3, 2)))


def test_weeks_of_named_players_and_nobody_s() -> None:
    daily = np.arange(28.0).reshape(2, 14)
    coming = play.ComingPlay(("P1", "P2"), daily, daily * 2, daily * 3, 0.1, 0.1, 0.1)
    made = play.weekly_play(coming, ("P2", "PX", "P1"), 2)
    first, second = sum(range(7)), sum(range(7, 14))
    expected = np.array([[first + 98, second + 98], [0, 0], [first, second], [0, 0]], dtype=float)
    for kind, factor in (("abrasion", 1.0), ("playability", 2.0), ("hours", 3.0)):
        assert made[kind] == pytest.approx(expected * factor), kind
    assert play.weekly_play(coming, ("P1",), 1)["hours"] == pytest.approx(np.array([[3.0 * first], [0.0]]))


def test_a_snapshot_looks_six_weeks_ahead() -> None:
    assert snapshot(academy(players=2, weeks=8), ORIGIN).play.hours.shape == (2, 42)
