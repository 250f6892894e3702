"""Clubs with little on file: a ranking and a forecast all the same, and a sentence that says whose numbers are in
force."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import duckdb
import numpy as np
import pytest

from pipeline.fleet.ranking import CSV_COLUMNS
from pipeline.fleet.snapshot import snapshot
from tests.fleet.clubs import ORIGIN, academy, break_racket, hand_in
from tests.sql.club_rows import STRINGS, empty_club, players, practised, put, rackets, strung


def nothing() -> duckdb.DuckDBPyConnection:
    return empty_club()


def players_alone() -> duckdb.DuckDBPyConnection:
    con = empty_club()
    players(con, "P1", "P2")
    return con


def no_restring() -> duckdb.DuckDBPyConnection:
    con = players_alone()
    rackets(con, ("R1", "P1"), ("R2", None))
    practised(con, "T1", "P1", str(ORIGIN - timedelta(days=3)))
    return con


def strung_today() -> duckdb.DuckDBPyConnection:
    con = no_restring()
    put(con, "strings", STRINGS)
    strung(con, "J1", "R1", str(ORIGIN))
    return con


def unknown_string() -> duckdb.DuckDBPyConnection:
    con = no_restring()
    strung(con, "J1", "R1", str(ORIGIN - timedelta(days=20)), mains_string_id=None, mains_kg=None, reason="unknown")
    return con


def all_broken() -> duckdb.DuckDBPyConnection:
    con = strung_today()
    strung(con, "J2", "R2", str(ORIGIN - timedelta(days=9)))
    break_racket(con, "R2")
    hand_in(con, "R1", "broke")
    return con


def nobody_s() -> duckdb.DuckDBPyConnection:
    con = empty_club()
    put(con, "strings", STRINGS)
    rackets(con, ("R1", None))
    strung(con, "J1", "R1", str(ORIGIN - timedelta(days=30)))
    return con


def all_left() -> duckdb.DuckDBPyConnection:
    con = strung_today()
    con.execute("update facts.players set left_on = $1 - 1", [ORIGIN])
    return con


def restrings_only() -> duckdb.DuckDBPyConnection:
    con = academy(players=6, weeks=36)
    con.execute("delete from facts.practices")
    con.execute("delete from facts.inspections")
    return con


def three_weeks() -> duckdb.DuckDBPyConnection:
    return academy(players=6, weeks=3)


CLUBS: list[Callable[[], duckdb.DuckDBPyConnection]] = [
    nothing, players_alone, no_restring, strung_today, unknown_string,
    all_broken, nobody_s, all_left, restrings_only, three_weeks,
]  # fmt: skip


@pytest.mark.parametrize("club", CLUBS, ids=lambda c: c.__name__)
def test_a_ranking_and_a_forecast_all_the_same(club: Callable[[], duckdb.DuckDBPyConnection]) -> None:
    s = snapshot(club(), ORIGIN)
    frame, ahead = s.rank(), s.forecast(weeks=3, draws=60)
    assert tuple(frame.columns) == CSV_COLUMNS
    assert len(frame) == len(s.rackets)
    assert frame["why"].astype(bool).all()
    chances = frame[["p_end", "p_break", "p_feel", "p_dead"]].to_numpy(dtype=float)
    assert ((chances >= 0) & (chances <= 1) | np.isnan(chances)).all()
    assert len(ahead) == 3
    assert np.isfinite(ahead[["mean", "p10", "p50", "p90", "minutes_p50", "minutes_p90"]].to_numpy(dtype=float)).all()
    assert s.estimate.sentence.endswith(".")


def test_an_empty_club_has_no_rows_and_no_jobs() -> None:
    s = snapshot(nothing(), ORIGIN)
    assert s.rank().empty
    assert s.forecast(2, 50)["mean"].tolist() == [0.0, 0.0]


def test_restrings_alone_give_a_ranking_by_learned_intervals() -> None:
    """Play is assumed by level; ten days on without a restring every bed is nearer its end."""
    now, later = (snapshot(restrings_only(), ORIGIN + timedelta(days=d)) for d in (0, 10))
    frame, older = (s.ranking().set_index("racket_id").sort_index() for s in (now, later))
    assert (frame["status"] == "in_play").all()
    assert (older["hours_played"] > frame["hours_played"]).all()
    assert (older["dead_used"] > frame["dead_used"]).all()
    assert older["p_end"].mean() > frame["p_end"].mean()
    assert now.forecast(4, 200)["mean"].sum() > 1.0
    assert now.estimate.fits


def test_a_club_of_three_weeks_runs_on_trade_values_and_says_so() -> None:
    s = snapshot(three_weeks(), ORIGIN)
    assert s.estimate.sentence.startswith("Runs on trade values")
    assert "too few to learn from" in s.estimate.sentence
    assert s.estimate.fits == {}
    frame = s.rank()
    assert frame["p_end"].max() > 0.05


def test_a_club_with_a_history_learns_from_it_and_says_so() -> None:
    s = snapshot(academy(), ORIGIN)
    assert s.estimate.sentence.startswith("Learned from this club's own")
    assert set(s.estimate.fits) <= {"breaks", "goes_dead"} and s.estimate.fits


def test_a_racket_of_a_player_who_left_is_not_played() -> None:
    s = snapshot(all_left(), ORIGIN)
    assert s.play.hours.sum() == 0.0


def test_later_rows_change_neither_ranking_nor_forecast() -> None:
    """Looking back: what was recorded after the origin is not known at it."""
    past = ORIGIN - timedelta(days=28)
    whole = academy(players=4, weeks=16)
    cut = academy(players=4, weeks=16)
    for table, day in (("practices", "played_on"), ("restrings", "strung_on"), ("inspections", "inspected_on")):
        cut.execute(f"delete from facts.{table} where {day} > $1", [past])
    one, two = snapshot(whole, past), snapshot(cut, past)
    assert one.rank().equals(two.rank())
    assert (one.forecast_draws(3, 80) == two.forecast_draws(3, 80)).all()
