"""calendar_days, next_events, assumed_play and rackets_now."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.wear.reference import value
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

ORIGIN = "2026-03-01"


def two_squads() -> duckdb.DuckDBPyConnection:
    con = empty_club()
    players(con, "P1", "P2")
    players(con, "P3", squad="U18")
    return con


def planned(con: duckdb.DuckDBPyConnection, **cells: object) -> None:
    put(con, "calendar", [{"planned_on": "2026-03-10", "squad": "U16", "activity": "drills", "minutes": 90.0} | cells])


def calendar(con: duckdb.DuckDBPyConnection) -> list[tuple[object, ...]]:
    relations(con, ORIGIN)
    return read(con, "select player_id, day::varchar, hours, is_closed from calendar_days order by 1, 2")


def test_a_squad_row_becomes_its_players() -> None:
    con = two_squads()
    planned(con)
    assert calendar(con) == [("P1", "2026-03-10", 1.5, False), ("P2", "2026-03-10", 1.5, False)]


def test_a_row_over_several_days_becomes_its_days() -> None:
    con = two_squads()
    planned(con, squad=None, player_id="P3", until_on="2026-03-12")
    assert calendar(con) == [("P3", f"2026-03-{d}", 1.5, False) for d in (10, 11, 12)]


def test_cancelled_is_gone() -> None:
    con = two_squads()
    planned(con, cancelled=True)
    planned(con, planned_on="2026-03-11", cancelled=False, squad="U18")
    assert calendar(con) == [("P3", "2026-03-11", 1.5, False)]


def test_closed_keeps_its_days_without_hours() -> None:
    con = two_squads()
    planned(con, activity="closed", until_on="2026-03-11", minutes=60.0)
    assert calendar(con) == [(p, f"2026-03-{d}", 0.0, True) for p in ("P1", "P2") for d in (10, 11)]


def test_a_row_for_nobody_is_the_whole_club_s() -> None:
    con = two_squads()
    planned(con, squad=None, activity="closed")
    assert [row[0] for row in calendar(con)] == ["P1", "P2", "P3"]


def test_a_player_who_has_left_has_no_plans() -> None:
    con = two_squads()
    con.execute("update facts.players set left_on = '2026-02-20' where player_id = 'P1'")
    planned(con)
    assert [row[0] for row in calendar(con)] == ["P2"]


def test_the_next_event_is_the_next_match_or_wish_for_fresh_rackets() -> None:
    con = two_squads()
    planned(con, planned_on="2026-02-20", activity="singles", event="Past")
    planned(con, planned_on="2026-03-05", activity="drills", event="Course")
    planned(con, planned_on="2026-03-07", activity="singles", event="Off", cancelled=True)
    planned(con, planned_on="2026-03-08", activity="drills", event="Camp", fresh_rackets=2)
    planned(con, planned_on="2026-03-12", activity="singles", event="League")
    relations(con, ORIGIN)
    rows = read(con, "select player_id, next_event, next_event_on, fresh_rackets from next_events order by 1")
    assert rows == [(p, "Camp", date(2026, 3, 8), 2) for p in ("P1", "P2")]


# --- play that nobody wrote down


def test_restrings_alone_assume_the_level_s_usual_hours() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-02-01")
    relations(con, ORIGIN)
    days, minutes, source = read(con, "select count(*), sum(session_minutes), any_value(source) from sessions")[0]
    assert (days, source) == (29, "assumed")
    assert minutes == pytest.approx(29 * value("hours_week_regional") * 60 / 7)


def test_hours_week_comes_before_the_level() -> None:
    con = one_player_club()
    con.execute("update facts.players set hours_week = 3.5")
    strung(con, "J1", "R1", "2026-02-01")
    relations(con, ORIGIN)
    assert read(con, "select distinct session_minutes from sessions") == [(30.0,)]


def test_nothing_is_assumed_where_play_is_logged() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-02-01")
    practised(con, "T1", "P1", "2026-02-10")
    relations(con, ORIGIN)
    assert read(con, "select source from sessions") == [("practice",)]


def test_play_is_assumed_before_a_log_that_begins_late() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    practised(con, "T1", "P1", "2026-02-10")
    relations(con, ORIGIN)
    first, last = read(con, "select min(played_on), max(played_on) from sessions where source = 'assumed'")[0]
    assert (first, last) == (date(2026, 1, 1), date(2026, 2, 9))


def test_nothing_is_assumed_once_a_player_has_left() -> None:
    con = one_player_club()
    con.execute("update facts.players set left_on = '2026-02-10'")
    strung(con, "J1", "R1", "2026-02-01")
    relations(con, ORIGIN)
    assert read(con, "select max(played_on) from sessions") == [(date(2026, 2, 10),)]


def test_nothing_is_assumed_for_a_racket_nobody_holds() -> None:
    con = empty_club()
    rackets(con, ("R1", None))
    strung(con, "J1", "R1", "2026-02-01")
    relations(con, ORIGIN)
    assert read(con, "select count(*) from sessions") == [(0,)]


# --- the rackets as they stand


def test_status_of_each_racket() -> None:
    con = empty_club()
    players(con, "P1")
    rackets(con, *[(f"R{i}", "P1") for i in range(1, 6)])
    for i in range(1, 5):
        strung(con, f"J{i}", f"R{i}", "2026-02-01")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-02-20", "racket_id": "R2", "broken": True}])
    ticket = {"state": "on_bench", "state_on": "2026-02-27", "handed_in_on": "2026-02-26"}
    put(con, "jobs", [ticket | {"job_id": "K3", "racket_id": "R3", "reason": "scheduled"}])
    put(con, "jobs", [ticket | {"job_id": "K4", "racket_id": "R4", "reason": "broke"}])
    relations(con, ORIGIN)
    rows = read(con, "select racket_id, status, handed_in_on is not null from rackets_now order by 1")
    assert rows == [
        ("R1", "in_play", False),
        ("R2", "broken", False),
        ("R3", "in_shop", True),
        ("R4", "broken", True),
        ("R5", "no_bed", False),
    ]


def test_those_in_play_carry_all_of_the_player_s_play() -> None:
    con = empty_club()
    players(con, "P1")
    rackets(con, ("R1", "P1"), ("R2", "P1"), ("R3", "P1"))
    for i in (1, 2, 3):
        strung(con, f"J{i}", f"R{i}", "2026-02-01")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-02-20", "racket_id": "R3", "broken": True}])
    relations(con, ORIGIN)
    rows = dict(read(con, "select racket_id, share from rackets_now"))
    assert rows["R1"] == pytest.approx(0.5, abs=0.05)
    assert rows["R1"] + rows["R2"] == pytest.approx(1.0)
    # one that is away counts as it will once it is back; that it broke is evidence that it was played
    assert 1 / 3 < rows["R3"] < 1.0
