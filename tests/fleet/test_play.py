"""The coming play of every player: level, calendar, closed weeks, those who left."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import numpy as np
import pytest

from pipeline.fleet.play import ComingPlay, coming_play
from tests.fleet.clubs import ORIGIN, plan
from tests.sql.club_rows import empty_club, players, practised, rackets, relations, strung

HOURS_A_WEEK = {"P1": 4.0, "P2": 8.0}


def steady_club(weeks: int = 26, calendar: bool = False) -> duckdb.DuckDBPyConnection:
    """P1 plays an hour on four days a week, P2 two; with calendar, both plan what they play, six weeks ahead."""
    con = empty_club()
    players(con, *HOURS_A_WEEK)
    for p in HOURS_A_WEEK:
        rackets(con, (f"R{p}", p))
        strung(con, f"J{p}", f"R{p}", str(ORIGIN - timedelta(days=7 * weeks)))
    for day in range(7 * weeks):
        on = ORIGIN - timedelta(days=day)
        if on.weekday() in (0, 2, 4, 5):
            for p, hours in HOURS_A_WEEK.items():
                practised(con, f"T{p}{day}", p, str(on), minutes=60.0 * hours / 4)
    if calendar:
        for day in range(-7 * weeks + 1, 43):
            on = ORIGIN + timedelta(days=day)
            if on.weekday() in (0, 2, 4, 5):
                for p, hours in HOURS_A_WEEK.items():
                    plan(con, on, squad=None, player_id=p, minutes=60.0 * hours / 4)
    return con


def ahead(
    con: duckdb.DuckDBPyConnection, n_days: int = 42, who: tuple[str, ...] = ("P1", "P2"), origin: date = ORIGIN
) -> ComingPlay:
    relations(con, str(origin))
    return coming_play(con, who, n_days)


def weekly(play: ComingPlay) -> np.ndarray:
    return play.hours.reshape(len(play.players), -1, 7).sum(axis=2)


@pytest.mark.parametrize("calendar", [False, True])
def test_a_steady_player_goes_on(calendar: bool) -> None:
    play = ahead(steady_club(calendar=calendar))
    assert play.hours.shape == (2, 42)
    assert weekly(play) == pytest.approx(np.array([[4.0] * 6, [8.0] * 6]), rel=0.15)
    # drills are not in it: an hour of rally is a reference hour
    assert play.abrasion == pytest.approx(play.hours, rel=0.02)
    assert play.playability == pytest.approx(play.hours, rel=0.02)


def test_play_falls_on_the_player_s_days() -> None:
    play = ahead(steady_club())
    days = [(ORIGIN + timedelta(days=d + 1)).weekday() in (0, 2, 4, 5) for d in range(42)]
    assert play.hours[:, days].mean() > 5 * play.hours[:, ~np.array(days)].mean()


@pytest.mark.parametrize("calendar", [False, True])
def test_a_closed_week_has_less_play(calendar: bool) -> None:
    con = steady_club(calendar=calendar)
    if calendar:
        con.execute("update facts.calendar set cancelled = true where planned_on between $1 + 8 and $1 + 14", [ORIGIN])
    usual = weekly(ahead(steady_club(calendar=calendar)))
    plan(
        con,
        ORIGIN + timedelta(days=8),
        squad=None,
        player_id=None,
        activity="closed",
        until_on=str(ORIGIN + timedelta(days=14)),
    )
    shut = weekly(ahead(con))
    assert (shut[:, 1] < 0.5 * usual[:, 1]).all()
    assert shut[:, [0, 3, 4, 5]] == pytest.approx(usual[:, [0, 3, 4, 5]], rel=0.2)


def test_a_closed_day_is_nearly_empty() -> None:
    con = steady_club()
    closed = ORIGIN + timedelta(days=1)  # a Monday
    plan(con, closed, squad=None, player_id=None, activity="closed")
    assert (ahead(con).hours[:, 0] < 0.25 * ahead(steady_club()).hours[:, 0]).all()


def test_a_player_who_has_left_plays_no_more() -> None:
    con = steady_club()
    con.execute("update facts.players set left_on = $1 - 3 where player_id = 'P1'", [ORIGIN])
    play = ahead(con)
    assert (play.hours[0] == 0.0).all()
    assert play.hours[1].sum() > 20.0


def test_the_newest_weeks_weigh_most() -> None:
    con = steady_club()
    con.execute(
        "delete from facts.practices where player_id = 'P2' and played_on > $1 - 56 and dayofweek(played_on) in (1, 3)",
        [ORIGIN],
    )
    assert weekly(ahead(con))[1].mean() < 6.5


def test_an_unknown_player_and_an_empty_club_play_nothing() -> None:
    play = ahead(empty_club(), who=())
    assert play.hours.shape[0] == 0
    one = ahead(empty_club(), who=("P1",))
    assert one.hours.sum() == 0.0
    assert np.isfinite([one.spread_level, one.spread_week, one.spread_club]).all()


def test_spreads_are_small_for_a_steady_club_and_larger_for_an_unsteady_one() -> None:
    con = steady_club()
    rng = np.random.default_rng(4)
    for (practice,) in con.execute("select practice_id from facts.practices order by 1").fetchall():
        if rng.random() < 0.5:
            con.execute("delete from facts.practices where practice_id = ?", [practice])
    calm, wild = ahead(steady_club()), ahead(con)
    assert calm.spread_week < wild.spread_week
    assert calm.spread_club <= wild.spread_club


@pytest.mark.parametrize("n_days", [1, 7, 30, 42])
def test_whole_weeks_are_made(n_days: int) -> None:
    play = ahead(steady_club(weeks=8), n_days)
    assert play.hours.shape[1] >= n_days
    assert play.hours.shape[1] % 7 == 0
    assert np.isfinite(play.hours).all() and (play.hours >= 0).all()
