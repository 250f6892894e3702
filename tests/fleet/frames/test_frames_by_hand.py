"""What pages are told, on a few rows each, by hand: the edge of a day, none, one and many, stale and fresh, kg and lb.

Numbers and order are checked, and wording only where it carries them. A pound is 0.45359237 kg (its definition); the
rest are the house's own rules, as the modules state them.
"""

from __future__ import annotations

import importlib
from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.frames import ready, writing
from pipeline.fleet.frames.club import STALE_DAYS, stale_note
from pipeline.fleet.frames.moved import moved_date, signed_hours, tension_sentence
from pipeline.fleet.frames.workload import Workload, workload
from pipeline.fleet.frames.writing import count_filled, grid_rows, inspection_grid, known
from tests.dashboard.small_view import AS_OF, write
from tests.sql.club_rows import STRINGS, Row, empty_club, players, put, rackets

TODAY = date(2026, 3, 1)
# the package names a function like this module
post: Any = importlib.import_module("pipeline.fleet.frames.messages")


def on(days: int) -> date:
    return TODAY + timedelta(days=days)


@pytest.fixture
def view() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    write(con, with_books=True)
    return con


# --- stale


def test_a_week_old_is_fresh_and_eight_days_are_stale() -> None:
    assert STALE_DAYS == 7
    assert stale_note(on(-7), TODAY) == stale_note(None, TODAY) == stale_note(on(3), TODAY) == ""
    said = stale_note(on(-8), TODAY)
    assert "8 days" in said and "21 Feb 2026" in said


# --- match-ready


def chances(*values: float, event: str = "Cup") -> pd.DataFrame:
    return pd.DataFrame(
        [
            (event, pd.Timestamp(on(6)), pd.Timestamp(on(7)), f"P{k}", f"Player {k}", "U16", 1, 2, value, f"R{k}")
            for k, value in enumerate(values)
        ],
        columns=["event", "planned_on", "until_on", "player_id", "player_name", "squad", "ready", "needed",
                 "prob_enough", "worst_racket"],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("chance", "mark"), [(0.494, "▲"), (0.496, "○"), (0.5, "○"), (0.794, "○"), (0.796, "✓"), (0.8, "✓"), (1.0, "✓")]
)
def test_marks_go_by_the_percentage_that_is_shown(chance: float, mark: str) -> None:
    assert ready.shape_of(chance) == mark


def test_who_may_fall_short_of_an_event() -> None:
    rows = chances(0.9, 0.7, 0.49, 0.6, 0.3)
    found = ready.event_ready(rows, "Cup", pd.Timestamp(on(6)))
    assert found.summary.startswith("1 of 5 ")
    assert found.short_players == ["P2", "P4"]
    assert len(found.lines) == 4 and "1 more" in found.lines[-1]
    assert found.lines[0].startswith("○ Player 1: 1 of 2, 70")
    three = ready.event_ready(chances(0.7, 0.7, 0.7), "Cup", pd.Timestamp(on(6)))
    assert len(three.lines) == 3 and three.summary.startswith("0 of 3 ") and three.short_players == []
    alone = ready.event_ready(chances(0.7), "Cup", pd.Timestamp(on(6)))
    assert alone.summary == "" and len(alone.lines) == 1
    sure = [ready.event_ready(chances(*[0.8] * n), "Cup", pd.Timestamp(on(6))).summary for n in (1, 2)]
    assert sure[0].startswith("✓") and "players" not in sure[0] and "all 2 players" in sure[1]
    for event, day in (("Other", on(6)), ("Cup", on(7))):
        none = ready.event_ready(rows, event, pd.Timestamp(day))
        assert (none.summary, none.lines, none.short_players) == ("", [], [])


def test_the_table_of_all_players_ends_with_its_last_day() -> None:
    rows = chances(0.333, 0.9)
    rows.loc[0, ["player_name", "worst_racket", "squad"]] = [None, None, None]
    table = ready.ready_table(rows, TODAY, pd.Timestamp(on(6)))
    assert table["Chance"].tolist() == [33, 90] and table["Ready"].tolist() == ["1 of 2", "1 of 2"]
    assert table["Player"].tolist() == ["P0", "Player 1"] and table["Weakest"].tolist() == ["no racket", "R1"]
    assert table["Squad"].tolist() == ["", "U16"] and [w[0] for w in table["In words"]] == ["▲", "✓"]
    assert ready.ready_table(rows, TODAY, pd.Timestamp(on(5))).empty


# --- messages to players


def racket(**cells: Any) -> dict[str, Any]:
    return {"racket_id": "R1", "player_id": "P1", "player_name": "Ana Reed", "marking": None, "status": "in_play",
            "due_on": on(9)} | cells  # fmt: skip


def event(days: int, have: int = 0, needed: int = 1) -> dict[str, Any]:
    return {"event": "Cup", "planned_on": pd.Timestamp(on(days)), "ready": have, "needed": needed}


@pytest.mark.parametrize(
    ("rows", "of", "days"),
    [
        ([racket()], None, 9),
        ([racket(due_on=on(0))], None, 1),  # not before tomorrow
        ([racket(due_on=None)], None, 1),
        ([racket(), racket(due_on=on(4))], None, 4),
        ([racket(status="broken"), racket()], None, 0),
        ([racket()], event(6), 4),  # a day at the bench, ready a day before
        ([racket(due_on=on(3))], event(6), 3),
        ([racket()], event(2), 1),
    ],
)
def test_by_which_day_to_hand_in(rows: list[dict[str, Any]], of: dict[str, Any] | None, days: int) -> None:
    assert post._hand_in_by(rows, of, TODAY, 1) == on(days)


def test_what_a_player_is_told() -> None:
    def told(of: dict[str, Any] | None, *rows: dict[str, Any]) -> str:
        return post._text(rows or [racket()], of, TODAY, 1)

    assert told(None).startswith("Ana, please hand in racket R1 by ") and told(None).endswith("10 Mar.")
    assert "as soon as you can" in told(None, racket(status="broken"))
    assert "have it back for Cup" in told(event(6, 1, 1)) and "have them back" in told(
        event(6, 2, 1), racket(), racket()
    )
    assert "and you are ready for Cup" in told(event(6, 0, 1))
    assert "need 1 more racket " in told(event(6, 0, 2)) and "2 more rackets" in told(event(6, 0, 3))
    assert "and you are ready" in told(event(6, 0, 2), racket(), racket())
    assert told(None, racket(player_name=None)).startswith("P1, ")


@pytest.mark.parametrize(
    ("marking", "said"),
    [(None, "racket R1"), (" ", "racket R1"), ("2", "racket no. 2 (R1)"), ("red", "racket R1 (red)")],
)
def test_a_racket_is_named_by_what_is_on_it(marking: str | None, said: str) -> None:
    assert post._racket_words(racket(marking=marking)) == said


def test_events_from_tomorrow_to_three_weeks_set_the_day(view: duckdb.DuckDBPyConnection) -> None:
    rows = post._rows(view, ["B-2", "A-2"])
    assert [row["racket_id"] for row in rows] == ["B-2", "A-2"]
    county = AS_OF + timedelta(days=6)
    for day, is_near in ((county - timedelta(days=21), True), (county - timedelta(days=22), False), (county, False)):
        assert bool(post._events(view, rows, day)) == is_near
    assert post._day(view, AS_OF - timedelta(days=9)) == AS_OF
    assert post._day(view, AS_OF + timedelta(days=2)) == AS_OF + timedelta(days=2)
    listed = post.hand_in_rows(view, ["B-1", "A-1", "D-1"], AS_OF, 1)
    assert listed["racket_id"].tolist() == ["A-1", "B-1", "D-1"] and listed["marking"].tolist() == [
        "red dot",
        None,
        None,
    ]
    assert listed["by_on"].tolist() == [AS_OF, AS_OF + timedelta(days=1), AS_OF + timedelta(days=1)]
    assert [m.player for m in post.messages(view, ["B-1", "D-1", "A-1"], AS_OF, 1)] == ["Ben Cole", "Ana Reed"]


# --- workload


def bench(*rows: tuple[float, float, float | None]) -> Workload:
    """minutes likely, minutes to allow for, minutes there are, a week each."""
    con = duckdb.connect()
    write(con)
    frame = pd.DataFrame(
        [(k + 1, on(7 * k + 1), 10.4, 8.0, 10.4, 15.6, *row) for k, row in enumerate(rows)],
        columns=["week", "starts_on", "mean", "p10", "p50", "p90", "minutes_p50", "minutes_p90", "capacity_minutes"],
    )  # fmt: skip
    con.register("given", frame)
    con.execute("create or replace table forecast_weeks as select * replace (starts_on::date as starts_on) from given")
    return workload(con, TODAY)


def test_whether_weeks_fit_the_bench() -> None:
    found = bench((600, 700, 600), (600, 600, 600), (601, 700, 600), (1, 2, None))
    assert found.weeks["is_over"].tolist() == [False, False, True, False]
    assert found.weeks["is_tight"].tolist() == [True, False, False, False]
    assert [cell[0] for cell in found.table["Does it fit?"]] == ["◐", "✓", "▲", "?"]
    assert found.table["Bench hours, likely"].tolist() == [10, 10, 10, 0]
    assert found.table["Restrings, likely"].tolist() == [10] * 4 and found.table["Band"].tolist() == ["8 to 16"] * 4
    assert "1 min short" in found.title and "16\u00a0Mar" in found.title
    assert found.title.startswith("About 10 restrings in the next week; allow for 16")
    assert (found.weeks["middle"] - found.weeks["starts_on"]).unique().tolist() == [pd.Timedelta(days=3.5)]
    assert "about 42 restrings" in found.sentence and "last 4 weeks had 16 a week" in found.sentence
    assert "could run over" in bench((600, 700, 600)).title and "enough for all 1 week" in bench((6, 7, 8)).title
    without = bench((600, 700, None))
    assert not without.has_bench_hours and "Does it fit?" not in without.table
    strings = found.strings.set_index("String")
    assert strings.loc["Lyra"].tolist() == [30, 330, 429] and list(strings.index) == ["Lyra", "Soft Multi"]


# --- what moved a date, and tension


def test_steps_add_up_and_small_ones_are_drawn_as_one(view: duckdb.DuckDBPyConnection) -> None:
    """34 - 9.5 + 0.1 - 10.5 + 1 = 15.1 hours, 11 behind it; a step of 0.1 is drawn with 'everything else'."""
    row = view.sql("from ranking where racket_id = 'A-2'").df().to_dict("records")[0]
    found = moved_date(view, row)
    assert found is not None
    assert found.total_hours == pytest.approx(15.1) and found.played_hours == 11.0 and found.limit == "breaks"
    assert found.steps["hours"].tolist() == pytest.approx([34.0, -9.5, -10.5, 1.0, 0.1])
    assert found.steps["start"].tolist() == pytest.approx([0.0, 34.0, 24.5, 14.0, 15.0])
    assert found.steps["end"].iloc[-1] == pytest.approx(15.1) and found.steps["label"].iloc[-1] == "everything else"
    assert "4.1 h to go" in found.sentence and "taken by how such strings last" in found.sentence
    assert moved_date(view, row | {"status": "broken"}) is None and moved_date(view, row | {"racket_id": "B-2"}) is None
    spent = moved_date(view, row | {"hours_played": 15.06})
    assert spent is not None and "it is due" in spent.sentence


@pytest.mark.parametrize(
    ("hours", "told"),
    [(-9.5, "\u22129.5"), (1.04, "+1.0"), (-0.04, "0.0"), (0.04, "0.0"), (-0.06, "\u22120.1"), (0.0, "0.0")],
)
def test_a_step_too_small_to_read_has_no_sign(hours: float, told: str) -> None:
    assert signed_hours(hours) == told


def test_tension_left_with_its_band(view: duckdb.DuckDBPyConnection) -> None:
    rows = {row["racket_id"]: row for row in view.sql("from ranking").df().to_dict("records")}
    assert "about 81 % (76 to 86 %)" in tension_sentence(view, rows["A-2"])
    assert "pitch" in tension_sentence(view, rows["A-2"]) and "pitch" not in tension_sentence(view, rows["B-1"])
    assert "about 80 % of" in tension_sentence(view, rows["B-2"])  # no band on file
    assert tension_sentence(view, rows["A-1"]) == tension_sentence(view, rows["D-1"]) == ""


# --- write down


def facts(*setups: Row, **tables: list[Row]) -> duckdb.DuckDBPyConnection:
    con = empty_club()
    players(con, "P1", player_name="Ana Reed")
    players(con, "P2", player_name="Bo Lind", squad="U18")
    rackets(con, ("R1", "P1"), ("R2", "P1"), ("R3", None))
    put(con, "strings", STRINGS)
    put(con, "setups", setups)
    for name, rows in tables.items():
        put(con, name, rows)
    return con


def test_tension_is_proposed_in_the_clubs_unit() -> None:
    """52 lb are 23.6 kg; 24 kg are 52.9 lb; crosses without a word are as the mains."""
    assert writing._in_unit(None, 52.0, "kg") == 23.6 and writing._in_unit(24.0, None, "lb") == 52.9
    assert writing._in_unit(24.0, 52.0, "kg") == 24.0 and writing._in_unit(24.0, 52.0, "lb") == 52.0
    assert writing._in_unit(None, None, "kg") is writing._in_unit(None, None, "lb") is None
    last: Row = {"restring_id": "J1", "racket_id": "R1", "strung_on": str(on(-9)), "mains_string_id": "poly",
                 "mains_kg": 23.0, "reason": "first"}  # fmt: skip
    own: Row = {"racket_id": "R1", "from_on": str(on(-2)), "mains_string_id": "multi", "crosses_string_id": "poly",
                "mains_lb": 52, "crosses_kg": 22}  # fmt: skip
    theirs: Row = {"player_id": "P1", "from_on": str(on(-3)), "mains_string_id": "poly", "mains_kg": 24}
    assert known(facts(restrings=[last]), "kg", TODAY).next_set_up == {
        "R1": {"mains_string_id": "poly", "crosses_string_id": "poly", "mains_kg": 23.0, "crosses_kg": 23.0}
    }
    both = known(facts(own, theirs, restrings=[last]), "kg", TODAY).next_set_up
    assert both["R1"] == {
        "mains_string_id": "multi", "crosses_string_id": "poly", "mains_kg": 23.6, "crosses_kg": 22.0,
    }  # fmt: skip
    assert both["R2"]["mains_kg"] == 24.0 and "R3" not in both


def test_who_is_offered_which_racket_first() -> None:
    def played(racket: str, days: int, n: int) -> Row:
        return {"practice_id": f"W{racket}{days}{n}", "player_id": "P1", "racket_id": racket, "activity": "rally",
                "played_on": str(on(days)), "minutes": 60}  # fmt: skip

    found = known(facts(practices=[played("R2", -89, 1), played("R2", -1, 2), played("R1", -1, 3)]), "kg", TODAY)
    assert found.usual_racket["P1"] == "R2" and found.holds["P1"] == ("R1", "R2") and "P2" not in found.holds
    old = known(facts(practices=[played("R2", -90, 1)]), "kg", TODAY)
    assert old.usual_racket["P1"] == "R1"
    assert found.squads == ("U16", "U18") and found.squad_players["U18"] == ("P2",)
    assert found.players == {"P1": "Ana Reed, U16", "P2": "Bo Lind, U18"}


def test_a_paper_sheet_holds_only_what_is_written_on_it() -> None:
    found = known(facts(), "kg", TODAY)
    grid = inspection_grid(found, "U16")
    assert grid["racket_id"].tolist() == ["R1", "R2"] and grid["player"].tolist() == ["Ana Reed", "Ana Reed"]
    assert inspection_grid(found, None)["racket_id"].tolist() == ["R1", "R2"] and inspection_grid(found, "U18").empty
    assert grid_rows(grid, "2026-03-01") == [] and count_filled(grid) == 0
    grid.loc[0, "fraying"], grid.loc[0, "pitch_hz"] = "2 clear", 560.0
    grid.loc[1, "broken"] = True
    assert grid_rows(grid, "2026-03-01") == [
        {"racket_id": "R1", "inspected_on": "2026-03-01", "fraying": 2, "pitch_hz": 560.0},
        {"racket_id": "R2", "inspected_on": "2026-03-01", "broken": "yes"},
    ]
    assert count_filled(grid) == 2
    grid.loc[0, ["fraying", "pitch_hz"]] = [None, np.nan]
    assert count_filled(grid) == 1
