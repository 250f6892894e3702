"""shop_visits and player_spans: which restring closes a ticket, and what a leaving day says before it has come."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.club_rows import one_player_club, put, read, relations, strung

HANDED_IN = "2026-02-05"


@pytest.mark.parametrize(
    ("restrung_on", "back"),
    [
        ("2026-02-04", None),  # before the racket was handed in: another job
        ("2026-02-05", date(2026, 2, 5)),
        ("2026-02-06", date(2026, 2, 6)),
    ],
)
def test_a_ticket_without_a_link_is_closed_from_the_day_of_the_hand_in_on(restrung_on: str, back: date | None) -> None:
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-10")
    strung(con, "J2", "R1", restrung_on, "scheduled")
    ticket = {"job_id": "K1", "racket_id": "R1", "reason": "scheduled", "state": "booked", "state_on": HANDED_IN}
    put(con, "jobs", [ticket | {"handed_in_on": HANDED_IN}])
    relations(con, "2026-02-10")
    assert read(con, "select closing_restring_on, back_on from shop_visits") == [(back, back)]
    assert read(con, "select status from rackets_now") == [("in_shop" if back is None else "in_play",)]


@pytest.mark.parametrize(("left_on", "known"), [("2026-02-10", date(2026, 2, 10)), ("2026-02-11", None)])
def test_a_leaving_day_is_known_from_that_day_on(left_on: str, known: date | None) -> None:
    con = one_player_club()
    con.execute("update facts.players set left_on = ?::date", [left_on])
    relations(con, "2026-02-10")
    assert read(con, "select player_id, left_on from player_spans") == [("P1", known)]
