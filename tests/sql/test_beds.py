"""beds: each way a bed can end, and which day and cause that gives."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.wear.history import read_history
from tests.sql.club_rows import one_player_club, players, put, read, relations, strung

STRUNG = "2026-01-01"
RESTRUNG = "2026-02-10"
ORIGIN = "2026-03-01"


def bed(con: duckdb.DuckDBPyConnection, bed_id: str = "J1") -> tuple[object, ...]:
    """ended_on, reason, cause of one bed as known on ORIGIN."""
    relations(con, ORIGIN)
    return read(con, f"select ended_on, reason, cause from beds where bed_id = '{bed_id}'")[0]


def restrung(reason: str | None, **more: object) -> duckdb.DuckDBPyConnection:
    """J1 strung on STRUNG, cut out for J2 on RESTRUNG."""
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    strung(con, "J2", "R1", RESTRUNG, reason, **more)
    return con


@pytest.mark.parametrize(
    ("reason", "cause"),
    [
        ("broke", "breaks"),
        ("lost_feel", "goes_dead"),
        ("inspection", "other"),
        ("scheduled", "other"),
        ("string_change", "other"),
        ("frame_fault", "other"),
        ("broke_on_machine", "other"),
        ("unknown", "unknown"),
        (None, "unknown"),
    ],
)
def test_the_next_restring_says_why(reason: str | None, cause: str) -> None:
    assert bed(restrung(reason)) == (date(2026, 2, 10), reason or "unknown", cause)


def test_a_bed_that_is_in_has_no_end() -> None:
    assert bed(restrung("broke"), "J2") == (None, None, "none")


@pytest.mark.parametrize("where", ["edge", "grommet"])
def test_breaking_at_the_edge_is_a_mishit(where: str) -> None:
    con = restrung("broke", broke_where=where)
    assert bed(con) == (date(2026, 2, 10), "broke", "mishit")
    assert read(con, "select teaches_abrasion from beds where bed_id = 'J1'") == [(False,)]


@pytest.mark.parametrize(
    ("reason", "teaches"),
    [("broke", True), ("scheduled", True), ("frame_fault", False), ("broke_on_machine", False)],
)
def test_what_teaches_about_abrasion(reason: str, teaches: bool) -> None:
    con = relations(restrung(reason, broke_where="centre"), ORIGIN)
    assert read(con, "select teaches_abrasion from beds where bed_id = 'J1'") == [(teaches,)]


def test_a_bed_of_unknown_string_teaches_nothing() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG, mains_string_id=None)
    relations(con, ORIGIN)
    assert read(con, "select teaches_abrasion, is_string_known, mains_material from beds") == [
        (False, False, "unknown")
    ]


def test_it_broke_before_it_was_restrung() -> None:
    assert bed(restrung("broke", ended_on="2026-02-03")) == (date(2026, 2, 3), "broke", "breaks")


def test_the_day_it_broke_means_nothing_for_a_planned_restring() -> None:
    assert bed(restrung("scheduled", ended_on="2026-02-03"))[0] == date(2026, 2, 10)


def test_a_day_before_the_stringing_is_held_at_the_stringing() -> None:
    assert bed(restrung("broke", ended_on="2025-12-03"))[0] == date(2026, 1, 1)


def test_found_broken_by_an_inspection() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-02-05", "racket_id": "R1", "broken": True}])
    assert bed(con) == (date(2026, 2, 5), "broke", "breaks")


def test_a_look_that_found_it_whole_ends_nothing() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    look = {"inspected_on": "2026-02-05", "racket_id": "R1"}
    put(con, "inspections", [look | {"inspection_id": "I1", "broken": False}, look | {"inspection_id": "I2"}])
    assert bed(con) == (None, None, "none")
    assert read(con, "select status from rackets_now") == [("in_play",)]


def test_an_inspection_settles_an_unknown_reason() -> None:
    con = restrung(None)
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-02-05", "racket_id": "R1", "broken": True}])
    assert bed(con) == (date(2026, 2, 5), "broke", "breaks")


@pytest.mark.parametrize("reason", ["broke", "scheduled", None])
def test_broken_on_the_day_of_the_restring_is_said_of_the_old_bed(reason: str | None) -> None:
    con = restrung(reason)
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": RESTRUNG, "racket_id": "R1", "broken": True}])
    assert bed(con)[0] == date(2026, 2, 10)
    assert bed(con, "J2") == (None, None, "none")
    assert read(con, "select status from rackets_now") == [("in_play",)]


def test_handed_in_broken_and_not_strung_yet() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    ticket = {
        "job_id": "T1",
        "racket_id": "R1",
        "handed_in_on": "2026-02-20",
        "state": "booked",
        "state_on": "2026-02-20",
    }
    put(con, "jobs", [ticket | {"reason": "broke"}])
    assert bed(con) == (date(2026, 2, 20), "broke", "breaks")
    assert read(con, "select status from rackets_now") == [("broken",)]


def test_handed_in_for_lost_feel_and_not_strung_yet() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    ticket = {
        "job_id": "T1",
        "racket_id": "R1",
        "handed_in_on": "2026-02-20",
        "state": "booked",
        "state_on": "2026-02-20",
    }
    put(con, "jobs", [ticket | {"reason": "lost_feel"}])
    assert bed(con) == (date(2026, 2, 20), "lost_feel", "goes_dead")
    assert read(con, "select status from rackets_now") == [("in_shop",)]


def test_handed_in_by_plan_has_not_ended_but_is_out_of_play() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    ticket = {
        "job_id": "T1",
        "racket_id": "R1",
        "handed_in_on": "2026-02-20",
        "state": "booked",
        "state_on": "2026-02-20",
    }
    put(con, "jobs", [ticket | {"reason": "scheduled"}])
    assert bed(con) == (None, None, "none")
    assert read(con, "select last_day from beds") == [(date(2026, 2, 20),)]
    assert read(con, "select status from rackets_now") == [("in_shop",)]


@pytest.mark.parametrize("link", ["J2", None])
def test_a_ticket_moves_the_end_to_the_hand_in_and_settles_an_unknown_reason(link: str | None) -> None:
    con = restrung(None)
    ticket = {
        "job_id": "T1",
        "racket_id": "R1",
        "handed_in_on": "2026-02-06",
        "state": "handed_back",
        "state_on": "2026-02-11",
    }
    put(con, "jobs", [ticket | {"reason": "lost_feel", "restring_id": link}])
    assert bed(con) == (date(2026, 2, 6), "lost_feel", "goes_dead")


def test_a_ticket_that_is_only_due_changes_nothing() -> None:
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG)
    ticket = {"job_id": "T1", "racket_id": "R1", "handed_in_on": "2026-02-20", "state": "due", "state_on": "2026-02-20"}
    put(con, "jobs", [ticket | {"reason": "broke"}])
    assert bed(con) == (None, None, "none")
    assert read(con, "select status from rackets_now") == [("in_play",)]


def test_a_retired_racket_stops_without_an_ending() -> None:
    con = one_player_club()
    con.execute("update facts.rackets set retired_on = '2026-02-15'")
    strung(con, "J1", "R1", STRUNG)
    assert bed(con) == (None, None, "none")
    assert read(con, "select last_day, is_retired from beds") == [(date(2026, 2, 15), True)]
    assert read(con, "select * from rackets_now") == []


def test_a_bed_that_ended_on_the_day_its_racket_passed_on_has_one_player() -> None:
    """Retired later, it had two by the rule for retired rackets, and the club's history could not be read."""
    con = restrung("broke")
    players(con, "P2")
    put(con, "holders", [{"racket_id": "R1", "from_on": RESTRUNG, "player_id": "P2"}])
    con.execute("update facts.rackets set retired_on = '2026-02-20'")
    relations(con, ORIGIN)
    assert read(con, "select bed_id, player_id from bed_players order by bed_id") == [("J1", "P2"), ("J2", "P2")]
    assert read_history(con).n_beds == 2


def test_two_restrings_on_one_day_leave_the_last_line_in() -> None:
    con = restrung("broke")
    strung(con, "J3", "R1", RESTRUNG, "broke_on_machine")
    relations(con, ORIGIN)
    assert read(con, "select bed_id from beds order by bed_id") == [("J1",), ("J3",)]


def test_each_racket_has_at_most_one_bed_at_a_time() -> None:
    con = restrung("broke")
    strung(con, "J3", "R1", "2026-02-20", "lost_feel")
    relations(con, ORIGIN)
    overlaps = """
        select a.bed_id, b.bed_id from beds as a join beds as b
        on a.racket_id = b.racket_id and a.strung_on < b.strung_on
        and coalesce(a.ended_on, date '9999-01-01') > b.strung_on
    """
    assert read(con, overlaps) == []
    assert read(con, "select bed_id, ended_on = restrung_on from beds where ended_on is not null order by 1") == [
        ("J1", True),
        ("J2", True),
    ]


def test_pounds_and_full_beds() -> None:
    """28 kgf = 61.7 lbf: exact definitions, so 61.7 lb is 27.99 kg."""
    con = one_player_club()
    strung(con, "J1", "R1", STRUNG, mains_kg=None, mains_lb=61.7)
    relations(con, ORIGIN)
    mains, crosses, string_id, family = read(con, "select mains_kg, crosses_kg, crosses_string_id, family from beds")[0]
    assert mains == crosses == pytest.approx(28.0, abs=0.02)
    assert (string_id, family) == ("poly", "polyester/polyester")
