"""sessions: minutes of matches, squad rows made into players, and what a session costs."""

from __future__ import annotations

import duckdb
import pytest

from pipeline.wear.reference import SESSION_WEIGHTS, value
from tests.sql.club_rows import (
    empty_club,
    one_player_club,
    players,
    practised,
    put,
    rackets,
    read,
    relations,
    strung,
)

MATCH = {"match_id": "M1", "player_id": "P1", "racket_id": "R1", "played_on": "2026-01-05", "format": "singles"}


def match_minutes(**cells: object) -> float:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    put(con, "matches", [MATCH | cells])
    relations(con, "2026-01-06")
    return float(read(con, "select session_minutes from sessions_logged")[0][0])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("score", "games"),
    [
        ("6-4 6-3", 19),
        ("6-4 3-6 7-5", 31),
        ("7-6(4) 6-3", 22),
        ("7-6(7-4) 6-3", 22),
        ("6:4 6:2", 18),
        ("6-4, 6-2", 18),
        ("6-4;6-2", 18),
        ("6-4 3-1 ret", 14),
        ("6-4 3-1 ret.", 14),
        ("6-0 6-0", 12),
        ("7-6(10) 6-7(8) 7-6(12)", 39),
        ("9-7", 16),
        ("8-6", 14),
        ("8-3", 11),
    ],
)
def test_minutes_from_the_games_of_the_score(score: str, games: int) -> None:
    assert match_minutes(score=score) == pytest.approx(games * value("minutes_per_game"))


@pytest.mark.parametrize("decider", ["10-8", "[10-8]", "10-2", "[10-2]", "[10-3]", "12-10", "[13-11]", "[8-10]"])
def test_a_match_tie_break_counts_as_half_a_set(decider: str) -> None:
    """Five games, half of a usual set's ten."""
    assert match_minutes(score=f"6-4 3-6 {decider}") == pytest.approx((19 + 5) * value("minutes_per_game"))


def test_written_minutes_come_before_the_score() -> None:
    assert match_minutes(score="6-4 6-3", minutes=70.0) == 70.0


def test_a_match_with_neither_takes_the_usual_length() -> None:
    assert match_minutes() == value("minutes_match_unwritten")


def test_two_rackets_in_one_match_share_its_games() -> None:
    con = empty_club()
    players(con, "P1", "P2")
    rackets(con, ("R1", "P1"), ("R2", "P1"), ("R3", "P2"))
    for racket in ("R1", "R2", "R3"):
        strung(con, f"J{racket}", racket, "2026-01-01")
    rows = [("P1", "R1"), ("P1", "R2"), ("P2", "R3")]
    put(con, "matches", [MATCH | {"player_id": p, "racket_id": r, "score": "6-4 6-2"} for p, r in rows])
    relations(con, "2026-01-06")
    minutes = dict(read(con, "select racket_id, session_minutes from sessions_logged"))
    whole = 18 * value("minutes_per_game")
    assert minutes == pytest.approx({"R1": whole / 2, "R2": whole / 2, "R3": whole})


def test_a_match_is_played_harder_than_nothing_and_keeps_its_surface() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    put(con, "matches", [MATCH | {"minutes": 60.0, "surface": "clay", "format": "doubles", "event": "League"}])
    relations(con, "2026-01-06")
    row = read(
        con, "select source, activity, intensity, surface, event, abrasion_hours, playability_hours from session_hours"
    )[0]
    assert row[:5] == ("match", "doubles", "match", "clay", "League")
    doubles, clay, match = (
        SESSION_WEIGHTS[f][v] for f, v in (("activity", "doubles"), ("surface", "clay"), ("intensity", "match"))
    )
    assert row[5] == pytest.approx(doubles[0] * clay[0] * match[0])
    assert row[6] == pytest.approx(doubles[1] * clay[1] * match[1])


def squad_club() -> duckdb.DuckDBPyConnection:
    """P1, P2, P3 of U16 and P4 of U18, each with a racket strung on 1 January."""
    con = empty_club()
    players(con, "P1", "P2", "P3")
    players(con, "P4", squad="U18")
    rackets(con, ("R1", "P1"), ("R2", "P2"), ("R3", "P3"), ("R4", "P4"))
    for n in "1234":
        strung(con, f"J{n}", f"R{n}", "2026-01-01")
    return con


def who_played(con: duckdb.DuckDBPyConnection) -> list[str]:
    relations(con, "2026-01-06")
    return [str(p) for (p,) in read(con, "select player_id from sessions_logged order by player_id")]


def test_a_squad_row_becomes_its_players() -> None:
    con = squad_club()
    practised(con, "T1", None, "2026-01-05", squad="U16")
    assert who_played(con) == ["P1", "P2", "P3"]


@pytest.mark.parametrize("absent", ["P1 P3", "P1,P3", "P1;P3", "P1, P3", "P1|P3", "P1 ; P3", " P1  P3 ", "P3 P9 P1"])
def test_those_absent_are_left_out_however_they_are_written(absent: str) -> None:
    con = squad_club()
    practised(con, "T1", None, "2026-01-05", squad="U16", absent=absent)
    assert who_played(con) == ["P2"]


def test_an_id_that_begins_like_another_is_not_absent() -> None:
    con = squad_club()
    practised(con, "T1", None, "2026-01-05", squad="U16", absent="P10 P")
    assert who_played(con) == ["P1", "P2", "P3"]


def test_a_row_of_their_own_replaces_the_squad_s() -> None:
    con = squad_club()
    practised(con, "T1", None, "2026-01-05", squad="U16", minutes=60.0)
    practised(con, "T1", "P2", "2026-01-05", racket_id="R2", minutes=90.0)
    relations(con, "2026-01-06")
    rows = read(con, "select player_id, racket_id, session_minutes from sessions_logged order by 1")
    assert rows == [("P1", None, 60.0), ("P2", "R2", 90.0), ("P3", None, 60.0)]


def test_a_player_who_has_left_is_no_longer_counted_in_the_squad() -> None:
    con = squad_club()
    con.execute("update facts.players set left_on = '2026-01-04' where player_id = 'P1'")
    con.execute("update facts.players set left_on = '2026-01-05' where player_id = 'P2'")
    practised(con, "T1", None, "2026-01-05", squad="U16")
    assert who_played(con) == ["P2", "P3"]


def test_a_change_of_level_spin_or_squad_holds_from_its_day() -> None:
    con = one_player_club()
    players(con, "P1", since="2026-01-10", level="national", spin="heavy", squad="U18")
    strung(con, "J1", "R1", "2026-01-01")
    for day in ("05", "09", "10", "12"):
        practised(con, f"T{day}", "P1", f"2026-01-{day}", racket_id="R1")
    practised(con, "S1", None, "2026-01-05", squad="U16")
    practised(con, "S2", None, "2026-01-12", squad="U16")
    practised(con, "S3", None, "2026-01-12", squad="U18")
    relations(con, "2026-01-15")
    rows = read(
        con, "select session_id, level, spin, squad, abrasion_hours from session_hours order by played_on, session_id"
    )
    heavy = SESSION_WEIGHTS["level"]["national"][0] * SESSION_WEIGHTS["spin"]["heavy"][0]
    assert [r[:4] for r in rows] == [
        ("S1", "regional", "moderate", "U16"),
        ("T05", "regional", "moderate", "U16"),
        ("T09", "regional", "moderate", "U16"),
        ("T10", "national", "heavy", "U18"),
        ("S3", "national", "heavy", "U18"),
        ("T12", "national", "heavy", "U18"),
    ]
    assert [r[4] for r in rows] == pytest.approx([1.0, 1.0, 1.0, heavy, heavy, heavy])


def test_the_first_row_of_a_player_speaks_for_the_days_before_it() -> None:
    con = empty_club()
    players(con, "P1", since="2026-01-10", level="national")
    players(con, "P1", since="2026-01-20", level="club")
    rackets(con, ("R1", "P1"))
    strung(con, "J1", "R1", "2026-01-01")
    for day in ("05", "15", "25"):
        practised(con, f"T{day}", "P1", f"2026-01-{day}", racket_id="R1")
    relations(con, "2026-01-31")
    assert [v for (v,) in read(con, "select level from session_hours order by played_on")] == [
        "national",
        "national",
        "club",
    ]


def test_the_reference_hour_is_one_of_each() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    put(con, "matches", [MATCH | {"minutes": 60.0, "surface": "hard"}])
    relations(con, "2026-01-06")
    assert read(con, "select abrasion_hours, playability_hours from session_hours") == [(1.0, 1.0)]


@pytest.mark.parametrize(
    ("balls", "factor"), [(550, 1.0), (275, 0.5), (10, 0.5), (825, 1.5), (5000, 2.0), (None, 1.0), (0, 0.5)]
)
def test_counted_balls_correct_the_hours_by_two_at_most(balls: int | None, factor: float) -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    practised(con, "T1", "P1", "2026-01-05", racket_id="R1", balls_hit=balls)
    relations(con, "2026-01-06")
    assert read(con, "select abrasion_hours, playability_hours, hours from session_hours") == [(factor, factor, 1.0)]


def test_spin_and_surface_touch_abrasion_only() -> None:
    """Breaking is by abrasion; going dead asks for activity, intensity and level alone."""
    con = one_player_club()
    con.execute("update facts.players set spin = 'heavy'")
    strung(con, "J1", "R1", "2026-01-01")
    practised(con, "T1", "P1", "2026-01-05", racket_id="R1", surface="clay")
    relations(con, "2026-01-06")
    abrasion, playability = read(con, "select abrasion_hours, playability_hours from session_hours")[0]
    assert playability == 1.0
    assert abrasion > 1.5
