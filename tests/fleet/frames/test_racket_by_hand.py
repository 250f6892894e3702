"""The page of one racket, on seven rackets whose numbers can be checked by head (`tests.dashboard.small_view`).

Numbers, order and what is left out are checked, and wording only where it carries them. As of Sun 15 Nov 2026.
"""

from __future__ import annotations

import importlib
from datetime import date, timedelta
from typing import Any

import duckdb
import pandas as pd
import pytest

from tests.dashboard.small_view import AS_OF, write

# the package names a function like this module
page: Any = importlib.import_module("pipeline.fleet.frames.racket")


MATCH, AFTER = date(2026, 11, 21), date(2026, 11, 22)


@pytest.fixture
def view() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    write(con, with_books=True)
    return con


def row_of(view: duckdb.DuckDBPyConnection, racket: str, **changes: object) -> dict[str, Any]:
    return dict(view.sql(f"from ranking where racket_id = '{racket}'").df().to_dict("records")[0]) | changes


@pytest.mark.parametrize(
    ("racket", "changes", "said"),
    [
        ("A-1", {}, "A-1 is broken: hand it in for restringing"),
        ("A-1", {"handed_in_on": AS_OF}, "A-1 is broken and waits at the bench"),
        ("A-2", {}, "A-2 is likely to break about Wed 18 Nov, before County match on Sat 21 Nov"),
        ("A-2", {"due_on": MATCH}, "A-2 is likely to break about Sat 21 Nov, before County match on Sat 21 Nov"),
        ("A-2", {"due_on": AFTER}, "A-2 is likely to break about Sun 22 Nov, after County match on Sat 21 Nov"),
        ("A-2", {"next_event_on": None}, "A-2 is likely to break about Wed 18 Nov"),
        ("B-1", {}, "B-1 is past its life: the strings are likely dead"),
        ("B-1", {"dead_used": 1.0}, "B-1 is past its life: the strings are likely dead"),
        ("C-1", {}, "C-1 is not likely to be due within a year"),
        ("E-1", {}, "E-1 is at the bench"),
        ("D-1", {}, "D-1 has no restring on file"),
    ],
)  # fmt: skip
def test_the_title_says_where_the_bed_stands(
    view: duckdb.DuckDBPyConnection, racket: str, changes: dict[str, object], said: str
) -> None:
    assert page._title(row_of(view, racket, **changes), AS_OF).replace("\u00a0", " ") == said


@pytest.mark.parametrize(
    ("racket", "changes", "starts"),
    [
        ("B-1", {"dead_used": 0.99}, "B-1 is likely to go dead about "),
        ("B-1", {"limit_first": "breaks"}, "B-1 is likely to break about "),
        ("C-1", {"days_left_p50": 364.4}, "C-1 is likely to break about "),
        ("C-1", {"days_left_p50": 366.0}, "C-1 is not likely to be due within a year"),
    ],
)
def test_the_title_at_its_edges(
    view: duckdb.DuckDBPyConnection, racket: str, changes: dict[str, object], starts: str
) -> None:
    assert page._title(row_of(view, racket, **changes), AS_OF).startswith(starts)


def test_under_the_title_stands_whose_it_is_and_what_is_in_it(view: duckdb.DuckDBPyConnection) -> None:
    from pipeline.fleet.frames.club import club

    the_club = club(view, AS_OF)

    def parts(racket: str, **changes: object) -> list[str]:
        return str(page._byline(row_of(view, racket, **changes), the_club)).split(" · ")

    assert parts("A-1") == [
        "Ana Reed", "Falcon", "match racket", "marked “red dot”", "Kestrel 98", "16 × 19", "Lyra 1.25 mm",
        "24 / 23.5 kg", "strung Mon 26 Oct", "about 11 h of play",
    ]  # fmt: skip
    assert parts("D-1") == ["loan racket", "Kestrel 98", "16 × 19"]
    assert parts("D-1", mains=None, marking="") == ["loan racket", "Kestrel 98"]
    assert parts("A-2")[2:5] == ["spare racket", "Kestrel 98", "16 × 19"]


def test_the_whole_page_holds_each_of_its_parts(view: duckdb.DuckDBPyConnection) -> None:
    found = page.racket(view, "A-2", AS_OF)
    assert page.racket(view, "Z-9", AS_OF) is None
    assert (found.racket_id, found.why, found.note, found.can_be_looked_at) == ("A-2", "Why of A-2.", "", True)
    assert "about 81 %" in found.tension_left and found.moved.total_hours == pytest.approx(15.1)
    assert page.racket(view, "E-1", AS_OF).can_be_looked_at is False
    assert "restrings.csv" in page.racket(view, "D-1", AS_OF).note
    assert "Wear eye protection" in page.racket(view, "A-1", AS_OF).note
    assert found.sessions_note == (
        "2 sessions on this bed. 1 of them named no racket, so it is shared out over the player's rackets; that widens "
        "the band."
    )
    view.execute("update bed_sessions set is_shared = true")
    assert "None of them named a racket, so they are shared out" in page.racket(view, "A-2", AS_OF).sessions_note
    view.execute("update bed_sessions set is_shared = false")
    assert "2 sessions on this bed, each" in page.racket(view, "A-2", AS_OF).sessions_note
    assert "No play on this bed" in page.racket(view, "B-1", AS_OF).sessions_note


def test_both_limits_with_their_bands(view: duckdb.DuckDBPyConnection) -> None:
    """A-2: 0.8 and 0.4 of the lives, bands a tenth either way; 0.81 to end in 14 days, three quarters by breaking."""
    lines = page._standing(row_of(view, "A-2")).to_dict("records")
    assert lines == [
        {"Limit": "◆ breaks", "Life used": "about 80 % (72 to 88 %)", "Chance to end it within 14 days": "61 %"},
        {"Limit": "● goes dead", "Life used": "about 40 % (36 to 44 %)", "Chance to end it within 14 days": "20 %"},
    ]
    shop = page._standing(row_of(view, "E-1"))
    assert shop["Life used"].tolist() == ["about 60 %", "about 50 %"] and list(shop) == ["Limit", "Life used"]
    assert page._standing(row_of(view, "D-1")).empty


def test_curves_in_words(view: duckdb.DuckDBPyConnection) -> None:
    """Played until today (0.8 and 0.4); the last planned day is 40 days on, with twice the wear."""
    wear = page.racket(view, "A-2", AS_OF).wear
    said = page._wear_in_words(wear, AS_OF)
    assert "towards breaking 80 % (72 to 88 %), by Fri 25 Dec about 160 %" in said
    assert "towards going dead 40 % (36 to 44 %), by Fri 25 Dec about 80 %" in said
    ahead = page._wear_in_words(wear[wear["kind"] == "planned"], AS_OF)
    assert "towards breaking 82 %" in ahead  # no play yet: the first planned day, 0.8 x (1 + 1/40)
    assert page._wear_in_words(wear.head(0), AS_OF) == "No play on this bed is on file."


def test_events_inside_the_days_of_the_curves(view: duckdb.DuckDBPyConnection) -> None:
    """The curves go from 10 days before to 40 days after: 5 Nov to 25 Dec."""
    wear = page.racket(view, "B-1", AS_OF).wear
    row = row_of(view, "B-1")
    view.execute(
        "insert into events values ('First', '2026-11-05', null, 'Heron', null, 'home', 1), "
        "('Last', '2026-12-25', '2026-12-26', 'Heron', null, 'home', 1), "
        "('Before', '2026-11-04', null, 'Heron', null, 'home', 1), "
        "('After', '2026-12-26', null, 'Heron', null, 'home', 1), "
        "('Others', '2026-11-20', null, 'Falcon', 'P-A', 'home', 1)"
    )
    found = page._events(view, row, wear)
    assert found["label"].tolist() == ["First", "County match", "Open day", "Last"]
    assert found["until"].dt.date.tolist() == [
        date(2026, 11, 5), date(2026, 11, 22), date(2026, 12, 2), date(2026, 12, 26),
    ]  # fmt: skip
    none = page._events(view, row, wear.head(0))
    assert none.empty and list(none) == ["planned_on", "until", "label"]


def test_looks_newest_first_in_words(view: duckdb.DuckDBPyConnection) -> None:
    table = page.racket(view, "A-2", AS_OF).inspections
    assert table["Looked at"].tolist() == [date(2026, 11, 11), date(2026, 10, 1)]
    assert table["is_this_bed"].tolist() == [True, False]
    assert table["Notching"].tolist() == ["clear", "severe"] and table["Strings out of line"].tolist()[0] == ""
    assert table["Pitch, Hz"].tolist() == [561, 561] and table["Note"].tolist() == ["", "old bed"]
    assert table["Said by"].tolist() == ["", "Ana Reed"]
    view.execute("update inspections_seen set pitch_hz = null, note = null, said_by_name = null")
    bare = page.racket(view, "A-2", AS_OF).inspections
    assert "Pitch, Hz" not in bare and "Note" not in bare and "Said by" not in bare


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"broken": True, "frame": "cracked", "note": "left side"}, "broken, frame: cracked, left side"),
        ({"broken": False, "frame": "ok", "note": None}, ""),
        ({"broken": None, "frame": None, "note": "worn_grommets"}, "worn grommets"),
        ({"broken": True, "frame": "ok", "note": None}, "broken"),
    ],
)
def test_what_a_look_noted(row: dict[str, object], said: str) -> None:
    assert page._look_note(row) == said


def test_sessions_with_their_share(view: duckdb.DuckDBPyConnection) -> None:
    found = page.racket(view, "A-2", AS_OF).sessions
    assert found["Played"].tolist() == [AS_OF, AS_OF - timedelta(days=2)]
    assert found["Share"].tolist() == ["all", "about 40 %"] and found["Minutes on it"].tolist() == [90, 90]
    assert found["What"].tolist() == ["match: singles", "practice: ball machine, hard"]
    assert found["Wear, h"].tolist() == [1.8, 1.8] and found["Event"].tolist() == ["League", ""]
    view.execute("update bed_sessions set event = null, intensity = 'normal', abrasion_hours = 1.84")
    bare = page.racket(view, "A-2", AS_OF).sessions
    assert "Event" not in bare and bare["What"].tolist()[1] == "practice: ball machine"
    assert bare["Wear, h"].tolist() == [1.8, 1.8]


def test_beds_before_this_one(view: duckdb.DuckDBPyConnection) -> None:
    (line,) = page.racket(view, "A-2", AS_OF).earlier_beds.to_dict("records")
    assert (line["Strung"], line["Came out"]) == (date(2026, 9, 20), date(2026, 10, 26))
    assert (line["Hours played"], line["Towards breaking"], line["Towards dead"]) == (14.0, 50, 110)
    assert line["Why"].startswith("● ") and line["Why"].endswith(", said by Ana Reed")
    assert (line["Tension"], line["Stringer"], line["String"]) == ("24 / 23.5 kg", "Tom", "Lyra 1.25 mm")
    # an ended bed that is still in the frame is not an earlier one
    view.execute("update beds set ended_on = '2026-11-14' where bed_id = 'A-2:2'")
    assert len(page.racket(view, "A-2", AS_OF).earlier_beds) == 1


@pytest.mark.parametrize(
    ("cause", "reason", "name", "said"),
    [
        ("breaks", "broke", None, "◆ broke"),
        ("breaks", "broke", "Ana", "◆ broke, said by Ana"),
        ("odd", None, None, "? "),
    ],
)
def test_why_a_bed_came_out(cause: str, reason: str | None, name: str | None, said: str) -> None:
    assert page._ending_words({"cause": cause, "reason": reason, "said_by_name": name}).startswith(said)
    assert "said by" not in page._ending_words({"cause": "mishit", "reason": "broke", "said_by_name": "Ana"})


def test_the_drawn_bed_shows_its_own_last_look(view: duckdb.DuckDBPyConnection) -> None:
    found = page.racket(view, "A-2", AS_OF).picture
    assert (found.count_mains, found.count_crosses, found.is_broken) == (16, 19, False)
    assert (found.fraying, found.notching, found.misalignment) == (0, 2, 0)
    assert "11 Nov" in found.caption and "notching" in found.caption and "out of line" not in found.caption
    looks = view.sql("from inspections_seen").df()
    of_other = page._picture(row_of(view, "A-2", bed_id="A-2:9", mains=18, crosses=20), looks, AS_OF)
    assert (of_other.count_mains, of_other.count_crosses, of_other.notching) == (18, 20, 0)
    assert "not been looked at yet" in of_other.caption
    for missing in ({"mains": None}, {"crosses": None}):
        usual = page._picture(row_of(view, "A-1", **missing), looks, AS_OF)
        assert (usual.count_mains, usual.count_crosses, usual.is_broken) == (16, 19, True)
    assert "not been looked at" in page._picture(row_of(view, "D-1", bed_id="A-2:2"), looks, AS_OF).caption
    looks["inspected_on"] = pd.to_datetime(looks["inspected_on"])
    empty = looks.assign(fraying=None, notching=None, misalignment=None, lost_feel=None)
    assert "no sign graded" in page._picture(row_of(view, "A-2"), empty, AS_OF).caption
