"""Lost feel is a player's word: a look's grade and a bed that ended by it keep whose, the holder of that day."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.sql import relation_text
from tests.sql.club_rows import STRINGS, empty_club, players, put, rackets, read, relations, strung

ORIGIN = "2026-04-01"


@pytest.fixture
def lent() -> duckdb.DuckDBPyConnection:
    """R1 is Ana's until Ben takes it over on 10 February; the club holds it from 10 March on."""
    con = empty_club()
    players(con, "P1", player_name="Ana Reed")
    players(con, "P2", player_name="Ben Cole")
    rackets(con, ("R1", "P1"))
    put(con, "strings", STRINGS)
    put(con, "holders", [{"racket_id": "R1", "player_id": "P2", "from_on": "2026-02-10"}])
    put(con, "holders", [{"racket_id": "R1", "player_id": None, "from_on": "2026-03-10"}])
    strung(con, "J1", "R1", "2026-01-05")
    return con


def looked(con: duckdb.DuckDBPyConnection, *days: str, **grades: object) -> None:
    row = {"racket_id": "R1"} | grades
    put(con, "inspections", [row | {"inspection_id": f"I{day}", "inspected_on": day} for day in days])


def test_a_grade_of_feel_is_the_word_of_the_holder_that_day(lent: duckdb.DuckDBPyConnection) -> None:
    looked(lent, "2026-02-09", "2026-02-10", "2026-03-10", lost_feel=2)
    looked(lent, "2026-02-11", notching=3)
    relations(lent, ORIGIN)
    found = read(
        lent, f"select inspected_on, said_by, said_by_name from ({relation_text('inspections_seen')}) order by 1"
    )
    assert found == [
        (date(2026, 2, 9), "P1", "Ana Reed"),
        (date(2026, 2, 10), "P2", "Ben Cole"),
        (date(2026, 2, 11), None, None),
        (date(2026, 3, 10), None, None),
    ]


def test_a_player_who_says_that_the_feel_is_there_is_kept_too_and_under_the_newest_name(
    lent: duckdb.DuckDBPyConnection,
) -> None:
    players(lent, "P1", player_name="Ana Reed-Cole", since="2026-03-01")
    looked(lent, "2026-02-01", lost_feel=0)
    relations(lent, ORIGIN)
    assert read(lent, f"select said_by_name from ({relation_text('inspections_seen')})") == [("Ana Reed-Cole",)]


@pytest.mark.parametrize(
    ("reason", "on", "said_by"),
    [("lost_feel", "2026-02-09", "P1"), ("lost_feel", "2026-02-20", "P2"), ("broke", "2026-02-20", None),
     ("lost_feel", "2026-03-20", None)],
)  # fmt: skip
def test_a_bed_that_lost_its_feel_keeps_who_said_so(
    lent: duckdb.DuckDBPyConnection, reason: str, on: str, said_by: str | None
) -> None:
    strung(lent, "J2", "R1", on, reason=reason)
    relations(lent, ORIGIN)
    lent.execute(
        "create table bed_life as select bed_id, player_id, 1.0 as hours_played, 0.1 as break_used, 0.1 as dead_used "
        "from bed_players"
    )
    found = read(lent, f"select bed_id, said_by, said_by_name from ({relation_text('beds_seen')}) order by 1")
    name = {"P1": "Ana Reed", "P2": "Ben Cole", None: None}[said_by]
    assert found == [("J1", said_by, name), ("J2", None, None)]
