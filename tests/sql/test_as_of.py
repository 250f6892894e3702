"""What was known at an origin: nothing dated later may change any relation."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.sql import ORDER, last_logged_day
from tests.sql.club_rows import empty_club, one_player_club, players, practised, put, read, relations, strung

ORIGIN = "2026-02-10"


def everything(con: duckdb.DuckDBPyConnection) -> dict[str, list[tuple[object, ...]]]:
    """Every relation as known on ORIGIN, rows in order."""
    relations(con, ORIGIN)
    return {name: sorted(read(con, f"select * from {name}"), key=repr) for name in ORDER}


def club() -> duckdb.DuckDBPyConnection:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-10")
    practised(con, "T1", "P1", "2026-01-11", racket_id="R1")
    practised(con, "T2", "P1", "2026-02-05")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-01-20", "racket_id": "R1", "notching": 1}])
    return con


LATER: dict[str, tuple[str, dict[str, object]]] = {
    "a restring": ("restrings", {"restring_id": "J2", "racket_id": "R1", "strung_on": "2026-02-12", "reason": "broke"}),
    "a restring for an earlier break": (
        "restrings",
        {
            "restring_id": "J2",
            "racket_id": "R1",
            "strung_on": "2026-02-12",
            "reason": "broke",
            "ended_on": "2026-02-07",
        },
    ),
    "a ticket": (
        "jobs",
        {"job_id": "K1", "racket_id": "R1", "handed_in_on": "2026-02-11", "state": "booked", "state_on": "2026-02-11"},
    ),
    "a session": (
        "practices",
        {"practice_id": "T9", "player_id": "P1", "played_on": "2026-02-11", "activity": "rally", "minutes": 60},
    ),
    "a match": (
        "matches",
        {
            "match_id": "M9",
            "player_id": "P1",
            "racket_id": "R1",
            "played_on": "2026-02-11",
            "format": "singles",
            "minutes": 60,
        },
    ),
    "a look": ("inspections", {"inspection_id": "I9", "inspected_on": "2026-02-11", "racket_id": "R1", "broken": True}),
    "another holder": ("holders", {"racket_id": "R1", "from_on": "2026-02-11", "player_id": "P2"}),
    "another level": (
        "players",
        {
            "player_id": "P1",
            "since": "2026-02-11",
            "player_name": "A Player",
            "squad": "U18",
            "level": "national",
            "spin": "heavy",
        },
    ),
    "a new racket": (
        "rackets",
        {
            "racket_id": "R9",
            "player_id": "P1",
            "frame": "F",
            "mains": 16,
            "crosses": 19,
            "role": "match",
            "in_service_on": "2026-02-11",
        },
    ),
}


@pytest.fixture(scope="module")
def before() -> dict[str, list[tuple[object, ...]]]:
    return everything(club())


@pytest.mark.parametrize("what", LATER)
def test_what_happens_later_is_not_known(what: str, before: dict[str, list[tuple[object, ...]]]) -> None:
    con = club()
    table, row = LATER[what]
    put(con, table, [row])
    after = everything(con)
    for name in ORDER:
        assert after[name] == before[name], name


def test_a_ticket_closed_later_is_still_open() -> None:
    con = club()
    put(
        con,
        "jobs",
        [
            {
                "job_id": "K1", "racket_id": "R1", "handed_in_on": "2026-02-09", "reason": "scheduled",
                "state": "handed_back", "state_on": "2026-02-13", "restring_id": "J2",
            }
        ],
    )  # fmt: skip
    strung(con, "J2", "R1", "2026-02-12", "scheduled")
    relations(con, ORIGIN)
    assert read(con, "select state, closing_restring_on, back_on from shop_visits") == [("booked", None, None)]
    assert read(con, "select status, handed_in_on from rackets_now") == [("in_shop", date(2026, 2, 9))]
    relations(con, "2026-02-14")
    assert read(con, "select status, handed_in_on from rackets_now") == [("in_play", None)]


def test_an_origin_on_the_day_itself_knows_it() -> None:
    con = club()
    strung(con, "J2", "R1", ORIGIN, "broke")
    relations(con, ORIGIN)
    assert read(con, "select bed_id, status from rackets_now") == [("J2", "in_play")]


def test_last_logged_day_leaves_plans_out() -> None:
    con = club()
    assert last_logged_day(con) == date(2026, 2, 5)
    put(con, "calendar", [{"planned_on": "2026-04-01", "squad": "U16", "activity": "drills"}])
    put(con, "bench", [{"bench_on": "2026-04-02", "stringer": "S", "minutes": 60}])
    assert last_logged_day(con) == date(2026, 2, 5)
    put(
        con,
        "jobs",
        [
            {
                "job_id": "K1",
                "racket_id": "R1",
                "handed_in_on": "2026-02-09",
                "state": "booked",
                "state_on": "2026-02-09",
            }
        ],
    )
    assert last_logged_day(con) == date(2026, 2, 9)


def test_an_empty_store_has_no_last_day_and_empty_relations() -> None:
    con = empty_club()
    assert last_logged_day(con) is None
    assert all(rows == [] for rows in everything(con).values())


def test_players_alone_make_no_rackets() -> None:
    con = empty_club()
    players(con, "P1")
    relations(con, ORIGIN)
    assert read(con, "select * from rackets_now") == []
