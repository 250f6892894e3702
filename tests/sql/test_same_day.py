"""A restring and a session, or a look, on one day: which bed each belongs to."""

from __future__ import annotations

import duckdb
import pytest

from tests.sql.club_rows import one_player_club, practised, put, read, relations, strung

DAY = "2026-01-20"


def beds_of_play(con: duckdb.DuckDBPyConnection) -> dict[str, str | None]:
    """session_id -> bed_id."""
    relations(con, "2026-02-01")
    query = "select h.session_id, x.bed_id from session_beds as x join session_hours as h using (session_row)"
    return {str(s): b for s, b in read(con, query)}  # type: ignore[misc]


def club(restrung_on: str, reason: str, **more: object) -> duckdb.DuckDBPyConnection:
    """Strung on the 10th, played on the 11th, restrung on the 20th."""
    con = one_player_club()
    strung(con, "OLD", "R1", "2026-01-10")
    practised(con, "before", "P1", "2026-01-11", racket_id="R1")
    strung(con, "NEW", "R1", restrung_on, reason, **more)
    practised(con, "after", "P1", "2026-01-21", racket_id="R1")
    return con


@pytest.mark.parametrize("named", ["R1", None])
@pytest.mark.parametrize(
    ("reason", "bed"),
    [
        ("broke", "OLD"),
        ("lost_feel", "OLD"),
        ("unknown", "OLD"),
        ("scheduled", "NEW"),
        ("inspection", "NEW"),
        ("string_change", "NEW"),
        ("frame_fault", "NEW"),
    ],
)
def test_a_session_without_a_time(reason: str, bed: str, named: str | None) -> None:
    con = club(DAY, reason)
    practised(con, "that day", "P1", DAY, racket_id=named)
    assert beds_of_play(con) == {"before": "OLD", "that day": bed, "after": "NEW"}


@pytest.mark.parametrize("reason", ["broke", "scheduled"])
@pytest.mark.parametrize(("clock", "bed"), [("09:00", "OLD"), ("18:00", "NEW")])
def test_both_timed_go_by_the_clock(reason: str, clock: str, bed: str) -> None:
    con = club(f"{DAY}T12:30", reason)
    practised(con, "that day", "P1", f"{DAY}T{clock}", racket_id="R1")
    assert beds_of_play(con)["that day"] == bed


@pytest.mark.parametrize(("clock", "bed"), [("09:00", "OLD"), ("18:00", "NEW")])
def test_both_timed_go_by_the_clock_when_no_racket_was_written_down(clock: str, bed: str) -> None:
    con = club(f"{DAY}T12:30", "broke")
    practised(con, "that day", "P1", f"{DAY}T{clock}")
    assert beds_of_play(con)["that day"] == bed


@pytest.mark.parametrize(("reason", "bed"), [("broke", "OLD"), ("scheduled", "NEW")])
def test_a_timed_session_with_an_undated_restring_follows_the_reason(reason: str, bed: str) -> None:
    con = club(DAY, reason)
    practised(con, "that day", "P1", f"{DAY}T18:00", racket_id="R1")
    assert beds_of_play(con)["that day"] == bed


@pytest.mark.parametrize("named", ["R1", None])
def test_the_old_bed_had_broken_days_before_so_the_day_is_the_new_bed_s(named: str | None) -> None:
    con = club(DAY, "broke", ended_on="2026-01-15")
    practised(con, "that day", "P1", DAY, racket_id=named)
    assert beds_of_play(con)["that day"] == "NEW"


@pytest.mark.parametrize("again", ["broke_on_machine", "broke", "unknown"])
def test_two_timed_restrings_on_one_day_leave_the_second_in(again: str) -> None:
    """Strung in the morning, again in the afternoon: every later session is the second bed's."""
    con = club(f"{DAY}T09:00", "broke")
    strung(con, "THIRD", "R1", f"{DAY}T15:00", again)
    practised(con, "unnamed", "P1", "2026-01-22")
    assert beds_of_play(con) == {"before": "OLD", "after": "THIRD", "unnamed": "THIRD"}


@pytest.mark.parametrize("reason", ["inspection", "scheduled", "broke"])
def test_a_look_on_the_day_of_the_restring_is_of_the_old_bed(reason: str) -> None:
    """Nobody finds deep notches in strings that were cut out or put in an hour ago: grades do not pass to the new
    bed."""
    con = club(DAY, reason)
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": DAY, "racket_id": "R1", "notching": 3}])
    relations(con, "2026-02-01")
    assert read(con, "select max(notching) from bed_steps where bed_id = 'NEW'") == [(None,)]


def test_a_look_after_the_restring_is_of_the_new_bed() -> None:
    con = club(DAY, "scheduled")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-01-22", "racket_id": "R1", "notching": 1}])
    relations(con, "2026-02-01")
    assert read(con, "select max(notching) from bed_steps where bed_id = 'NEW'") == [(1,)]
    assert read(con, "select max(notching) from bed_steps where bed_id = 'OLD'") == [(None,)]


def test_a_look_speaks_from_the_day_after() -> None:
    con = one_player_club()
    strung(con, "B", "R1", "2026-01-10")
    for d in ("11", "14", "17"):
        practised(con, f"T{d}", "P1", f"2026-01-{d}", racket_id="R1")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-01-14", "racket_id": "R1", "notching": 2}])
    relations(con, "2026-01-20")
    seen = read(con, "select extract(day from day), notching from bed_steps order by day")
    assert seen == [(11, None), (14, None), (17, 2), (20, 2)]


def test_cumulative_play_and_age_of_the_steps() -> None:
    con = one_player_club()
    strung(con, "B", "R1", "2026-01-10")
    practised(con, "T1", "P1", "2026-01-11", racket_id="R1", minutes=60.0)
    practised(con, "T2", "P1", "2026-01-14", racket_id="R1", minutes=30.0)
    relations(con, "2026-01-20")
    steps = read(con, "select hours_so_far, abrasion_so_far, playability_so_far, age_hours from bed_steps order by day")
    assert steps == [(1.0, 1.0, 1.0, 36.0), (1.5, 1.5, 1.5, 108.0), (1.5, 1.5, 1.5, 252.0)]
