"""Boxes of a form, a club's own sheet and rows to mend: what is offered, proposed and given back, on a few rows."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import Any

import duckdb
import pandas as pd
import pytest

from pipeline.fleet.frames import forms, mapping, mending
from pipeline.fleet.frames.writing import known
from pipeline.store.sheet_proposal import Column, Value
from tests.sql.club_rows import STRINGS, Row, empty_club, players, put, rackets

TODAY = date(2026, 3, 1)


@pytest.fixture(scope="module")
def at_hand() -> Any:
    """Two players; R1 and R2 are P1's, R3 P2's; R1 was strung last with nylon, at 52 lb."""
    con = empty_club()
    players(con, "P1", player_name="Ana Reed")
    players(con, "P2", player_name="Bo Lind", squad="U18")
    rackets(con, ("R3", "P2"), ("R1", "P1"), ("R2", "P1"))
    put(con, "strings", STRINGS)
    last: Row = {"restring_id": "J1", "racket_id": "R1", "strung_on": "2026-02-01", "mains_string_id": "multi",
                 "mains_lb": 52.0, "reason": "first", "stringer": "Kim"}  # fmt: skip
    put(con, "restrings", [last])
    return known(con, "kg", TODAY)


def boxes(at_hand: Any, name: str, unit: str = "kg", **chosen: Any) -> dict[str, forms.Box]:
    form = forms.form(name, at_hand, unit, TODAY, chosen, "N1")
    return {box.name: box for box in (*form.boxes, *form.further)}


# --- forms


def test_a_restring_is_proposed_as_the_racket_was_strung_last(at_hand: Any) -> None:
    """52 lb are 23.6 kg. Only restrings and set-ups go by the racket; a session does not."""
    found = boxes(at_hand, "restring", racket_id="R1")
    assert (found["mains_string_id"].proposed, found["mains_kg"].proposed) == ("multi", 23.6)
    assert found["strung_on"].proposed == TODAY and found["reason"].proposed is None
    assert boxes(at_hand, "set-up", racket_id="R1")["mains_kg"].proposed == 23.6
    assert boxes(at_hand, "restring")["mains_kg"].proposed is None
    assert boxes(at_hand, "session", racket_id="R1")["activity"].proposed == "rally"
    assert boxes(at_hand, "match", racket_id="R1")["format"].proposed == "singles"
    assert boxes(at_hand, "event")["activity"].proposed is None


def test_pulls_are_asked_for_in_the_clubs_unit(at_hand: Any) -> None:
    assert "mains_lb" in boxes(at_hand, "restring", "lb") and "mains_kg" not in boxes(at_hand, "restring", "lb")
    assert "mains_kg" in boxes(at_hand, "restring", "kg")


def test_a_new_racket_is_proposed_with_the_usual_pattern(at_hand: Any) -> None:
    found = boxes(at_hand, "racket")
    assert {name: found[name].proposed for name in ("racket_id", "mains", "crosses", "role", "frame")} == {
        "racket_id": "N1", "mains": 16, "crosses": 19, "role": "match", "frame": None,
    }  # fmt: skip
    assert found["racket_id"].options == {} and found["player_id"].options == at_hand.players


def test_the_players_own_rackets_stand_on_top_and_one_is_proposed(at_hand: Any) -> None:
    found = boxes(at_hand, "session", player_id="P2")
    assert list(found["racket_id"].options) == ["R3", "R1", "R2"] and found["racket_id"].proposed == "R3"
    assert boxes(at_hand, "session")["racket_id"].proposed is None
    assert set(boxes(at_hand, "session", player_id="P9")["racket_id"].options) == {"R1", "R2", "R3"}


def test_what_must_be_filled_and_where_something_new_may_be_written(at_hand: Any) -> None:
    session, restring, player = (boxes(at_hand, name) for name in ("session", "restring", "player"))
    assert session["player_id"].is_needed and not session["racket_id"].is_needed and not session["surface"].is_needed
    assert restring["racket_id"].is_needed and restring["strung_on"].is_needed and not restring["stringer"].is_needed
    assert restring["stringer"].takes_new and list(restring["stringer"].options) == ["Kim"]
    assert player["squad"].takes_new and list(player["squad"].options) == ["U16", "U18"]
    assert not session["player_id"].takes_new and not restring["mains_string_id"].takes_new
    assert (
        boxes(at_hand, "look")["notching"].options == forms.GRADES and not boxes(at_hand, "look")["notching"].takes_new
    )
    assert not boxes(at_hand, "racket")["racket_id"].is_needed, "the number is made"
    squad = forms.squad_practice(at_hand, TODAY, {})
    assert {box.name for box in squad.boxes if box.is_needed} >= {"squad", "played_on"}
    assert [box.name for box in squad.further] == ["surface", "players_on_court"]


def test_a_pull_recorded_in_the_other_unit_is_put_right_in_that_unit(at_hand: Any) -> None:
    form = forms.form("restring", at_hand, "kg", TODAY, {}, "")
    in_lb = forms.named(form, "own", {"mains_lb": 52.0, "mains_kg": None, "crosses_kg": 23.0})
    names = [box.name for box in in_lb.boxes]
    assert "mains_lb" in names and "mains_kg" not in names and "crosses_kg" in names and "crosses_lb" not in names
    assert "lb" in next(box.label for box in in_lb.boxes if box.name == "mains_lb")
    both = forms.named(form, "own", {"mains_lb": 52.0, "mains_kg": 23.6})
    assert "mains_kg" in [box.name for box in both.boxes]


def test_a_correction_gives_what_is_different_and_the_key(at_hand: Any) -> None:
    form = forms.form("restring", at_hand, "kg", TODAY, {}, "")
    recorded = {"restring_id": "J1", "racket_id": "R1", "strung_on": pd.Timestamp("2026-02-01"), "mains_kg": 23.0}
    same = {"racket_id": "R1", "strung_on": date(2026, 2, 1), "mains_kg": 23, "stringer": ""}
    assert forms.changes(form, recorded, same) == {}
    assert forms.changes(form, recorded, same | {"mains_kg": 24.5}) == {"restring_id": "J1", "mains_kg": 24.5}
    look = forms.form("look", at_hand, "kg", TODAY, {}, "")
    was = {"inspection_id": "I1", "broken": False}
    assert forms.changes(look, was, {"broken": None}) == {}
    assert forms.changes(look, was, {"broken": True}) == {"inspection_id": "I1", "broken": True}


def test_a_squads_practice_names_those_who_were_not_there() -> None:
    assert forms.squad_row({"squad": "U16", "minutes": None}, ["P1", "P2", "P3"], ["P2"]) == {
        "squad": "U16", "absent": "P1 P3",
    }  # fmt: skip
    assert forms.squad_row({"squad": "U16"}, ["P1"], ["P1"]) == {"squad": "U16"}
    assert forms.register_words(["P1", "P2"], ["P1"]) == "1 of 2 were there."


# --- a club's own sheet


def proposal(**parts: Any) -> Any:
    given = {"columns": (), "values": (), "open": (), "makes_ids": "", "is_remembered": False, "notes": ()}
    return SimpleNamespace(**(given | parts))


def test_what_is_not_sure_stands_first() -> None:
    """Of values the more frequent first, within unsure and sure."""
    values = [
        Value("reason", given, count, "broke", "", "why", is_sure)
        for given, count, is_sure in (("kaputt", 9, True), ("weg", 2, False), ("ab", 5, False), ("riss", 12, True))
    ]
    grid = mapping.values_grid(proposal(values=values))
    assert grid["In the sheet"].tolist() == ["ab", "weg", "riss", "kaputt"]
    assert grid["Sure"].tolist() == ["please check", "please check", "sure", "sure"]
    columns = [
        Column("Datum", ("1", "2", "3", "4"), "strung_on", "day first", "", True),
        Column("X", (), "", "", "", False),
    ]
    heads = mapping.columns_grid(proposal(columns=columns))
    assert heads["Heading"].tolist() == ["X", "Datum"] and heads["Stands for"].tolist() == ["(left out)", "strung_on"]
    assert heads["For example"].tolist() == ["", "1, 2, 3"]


def test_remarks_in_the_order_in_which_they_matter() -> None:
    full = proposal(is_remembered=True, open=("decide",), makes_ids="ids from day and racket", notes=("note",))
    assert (
        mapping.remarks(full)[1:] == ["decide", "ids from day and racket", "note"] and len(mapping.remarks(full)) == 4
    )
    assert mapping.remarks(proposal(notes=("note",))) == ["note"]


# --- rows to mend


@pytest.fixture
def turned_away() -> duckdb.DuckDBPyConnection:
    """Lines 3 and 7 of one load and 2 of the next wait; one is mended, one is of a file that nobody knows."""
    con = duckdb.connect()
    con.execute("attach ':memory:' as facts")
    con.execute(
        "create table facts.rejects(load_id int, line_number int, resource varchar, column_name varchar, "
        "message varchar, mended_at timestamp)"
    )
    con.execute("create schema facts.raw")
    declared = mending.load_contract().resources["restrings"]
    columns = ", ".join(f'"{field.name}" varchar' for field in declared.fields)
    con.execute(f"create table facts.raw.restrings(load_id int, line_number int, {columns})")
    for load, line, column, said, mended in (
        (1, 3, "strung_on", "in the future", None), (1, 3, "racket_id", "not on file", None),
        (1, 7, "mains_kg", "no number", None), (2, 2, "racket_id", "not on file", None),
        (1, 9, "racket_id", "gone", "2026-01-01"),
    ):  # fmt: skip
        con.execute("insert into facts.rejects values (?, ?, 'restrings', ?, ?, ?)", [load, line, column, said, mended])
    con.execute("insert into facts.rejects values (1, 1, 'unheard_of', 'x', 'x', null), (1, 2, null, 'x', 'x', null)")
    for load, line, job in ((1, 3, "J3"), (1, 7, "J7"), (2, 2, "J2"), (1, 9, "J9")):
        con.execute(
            "insert into facts.raw.restrings(load_id, line_number, restring_id) values (?, ?, ?)", [load, line, job]
        )
    return con


def test_rows_wait_to_be_mended_file_by_file(turned_away: duckdb.DuckDBPyConnection) -> None:
    assert mending.resources_to_mend(turned_away) == {"restrings": "restrings.csv, 3 rows"}
    found = mending.rows_to_mend(turned_away, "restrings")
    assert found["restring_id"].tolist() == ["J2", "J3", "J7"]  # newest load first, then by line
    assert found[mending.SAID].tolist() == ["not on file", "not on file; in the future", "no number"]
    assert {"strung_on", "racket_id", "mains_kg"} <= set(found) and "stringer" not in found


def test_only_what_was_changed_is_written_down() -> None:
    before = pd.DataFrame({mending.SAID: ["a", "b"], "racket_id": ["R1", "R9"], "stringer": ["", "Kim"]})
    after = before.assign(racket_id=["R1", "R2"], stringer=["", None])
    assert mending.mended_rows(before, after) == [{"racket_id": "R2"}]
    assert mending.mended_rows(before, before) == []
