"""Rows typed in: the same checks as a file, all or none, corrections that keep what was not given, and undoing."""

from __future__ import annotations

import math
import shutil
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from pipeline.store import EntryRefusedError, FreshId, Store, StoreError
from pipeline.store.entering import cell_text
from pipeline.store.people import NotAllowedError, Person
from tests.small_club import FILES, NOW, write_club, write_file

MATCH = {
    "match_id": "M9", "player_id": "P1", "racket_id": "R1", "played_on": date(2026, 5, 1), "format": "singles",
    "minutes": 61,
}  # fmt: skip
KEY = {"match_id": "M9", "player_id": "P1", "racket_id": "R1"}
ANN = Person("Ann", "coach")


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small club loaded, once; copied for each test."""
    folder = tmp_path_factory.mktemp("loaded")
    store = Store(folder / "store")
    store.load(write_club(folder / "club"), now=NOW)
    return store.folder


@pytest.fixture
def filled(loaded: Path, store: Store) -> Store:
    shutil.copytree(loaded, store.folder)
    return store


def _match(store: Store, match_id: str) -> dict[str, object]:
    rows = store.records("matches").set_index("match_id")
    return dict(rows.loc[match_id]) if match_id in rows.index else {}


def test_an_entry_over_several_files_is_one_act_with_its_writer(filled: Store) -> None:
    strung, look = FreshId("restrings", "J"), FreshId("inspections", "I")
    rows = {
        "jobs": [
            {
                "job_id": FreshId("jobs", "T"), "racket_id": "R1", "handed_in_on": "2026-05-01", "state": "strung",
                "state_on": "2026-05-02", "restring_id": strung,
            }
        ],
        "restrings": [
            {
                "restring_id": strung, "racket_id": "R1", "strung_on": datetime(2026, 5, 2, 17, 30),
                "mains_string_id": "S1", "mains_kg": 23.5, "reason": "broke", "charge": Decimal("12.50"),
            }
        ],
        "inspections": [{"inspection_id": look, "inspected_on": "2026-05-01", "racket_id": "R1", "broken": True}],
    }  # fmt: skip
    report = filled.enter(rows, by=ANN, now=NOW)
    assert (report.total("new"), report.total("rejected")) == (3, 0)
    assert set(report.given_ids) == {"T0001", "J4", "I0001"}
    assert filled.records("jobs").restring_id.tolist() == ["J4"]
    restring = filled.records("restrings").set_index("restring_id").loc["J4"]
    assert (restring.strung_on_at, restring.mains_kg) == (pd.Timestamp("2026-05-02 17:30"), 23.5)
    assert restring.recorded_by == "Ann"
    entries = filled.entries()
    assert list(entries.entry_id) == [report.entry_id] and list(entries["by"]) == ["Ann"]
    assert "restrings.csv: 1 new (J4)" in entries.what[0] and not entries.is_undone[0]
    assert filled.undo(report.entry_id, by=ANN, now=NOW).count("1 row of") == 3
    assert filled.records("jobs").empty and len(filled.records("restrings")) == 3 and filled.entries().is_undone[0]


def test_what_breaks_the_contract_is_said_row_by_row_and_nothing_is_kept(filled: Store) -> None:
    with pytest.raises(EntryRefusedError) as error:
        filled.enter(
            {
                "players": [
                    {"player_id": "P3", "player_name": "Cy", "squad": "U16", "level": "club", "spin": "flat"},
                ],
                "matches": [
                    MATCH,
                    {**MATCH, "match_id": "M10", "minutes": "long"},
                    {**MATCH, "match_id": "M11", "player_id": "PX"},
                ],
            },
            now=NOW,
        )
    assert [(r.resource, r.row, r.column, r.value) for r in error.value.refusals] == [
        ("matches", 2, "minutes", "long"), ("matches", 3, "player_id", "PX"),
    ]  # fmt: skip
    assert str(error.value).startswith("Minutes long is not a number: write a plain number such as")
    assert len(filled.records("players")) == 2 and len(filled.records("matches")) == 2
    assert filled.rejects().empty and filled.entries().empty and len(filled.loads()) == 5


def test_a_correction_keeps_what_is_not_given_and_empties_what_is_given_empty(filled: Store) -> None:
    filled.enter({"matches": [{**MATCH, "surface": "clay", "event": "Cup"}]}, now=NOW)
    report = filled.enter({"matches": [{**KEY, "minutes": 75, "event": None}]}, now=NOW + timedelta(days=1))
    assert (report.total("corrected"), report.total("new")) == (1, 0)
    row = _match(filled, "M9")
    assert (row["minutes"], row["surface"], row["event"]) == (75, "clay", None)
    assert list(filled.history("matches")["minutes"]) == [61]
    assert filled.enter({"matches": [{**KEY, "minutes": 75.0}]}, now=NOW).total("unchanged") == 1


def test_a_correction_in_pounds_leaves_the_recorded_kilograms_out(filled: Store) -> None:
    filled.enter({"restrings": [{"restring_id": "J1", "mains_lb": 52}]}, now=NOW)
    row = filled.records("restrings").set_index("restring_id").loc["J1"]
    assert row.mains_lb == 52 and math.isnan(row.mains_kg) and row.mains_string_id == "S1"


def test_undoing_a_correction_brings_back_the_row_with_the_load_it_came_from(filled: Store) -> None:
    before = _match(filled, "M1")
    first = filled.enter(
        {"matches": [{"match_id": "M1", "player_id": "P1", "racket_id": "R1", "minutes": 33}]}, now=NOW
    )
    second = filled.enter(
        {"matches": [{"match_id": "M1", "player_id": "P1", "racket_id": "R1", "minutes": 44}]}, now=NOW
    )
    with pytest.raises(
        StoreError, match=r"matches.csv M1 P1 R1 was changed again after this entry, so the entry stays"
    ):
        filled.undo(first.entry_id, now=NOW)
    assert filled.undo(second.entry_id, now=NOW) == "1 row of matches.csv"
    assert filled.undo(first.entry_id, now=NOW) == "1 row of matches.csv"
    assert _match(filled, "M1") == before or str(_match(filled, "M1")) == str(before)
    assert list(filled.history("matches").replaced_how) == ["undone", "undone"]
    with pytest.raises(StoreError, match="has been undone already: nothing was changed"):
        filled.undo(first.entry_id, now=NOW)


def test_an_entry_others_are_built_on_is_not_undone(filled: Store) -> None:
    player = {"player_id": "P3", "player_name": "Cy", "squad": "U16", "level": "club", "spin": "flat"}
    entry = filled.enter({"players": [player]}, now=NOW)
    filled.enter({"matches": [{**MATCH, "player_id": "P3"}]}, now=NOW)
    with pytest.raises(
        StoreError, match=r"1 row of matches.csv would name P3 under player_id, .*strike or correct that row"
    ):
        filled.undo(entry.entry_id, now=NOW)
    assert len(filled.records("players")) == 3


def test_a_struck_row_typed_in_again_is_there_again_and_a_strike_can_be_undone(filled: Store) -> None:
    filled.enter({"matches": [MATCH]}, now=NOW)
    filled.strike("matches", ["M9", "P1", "R1"], now=NOW, by=ANN)
    assert filled.history("matches").replaced_by.tolist() == ["Ann"]
    strike = int(filled.entries().entry_id[0])
    assert filled.enter({"matches": [MATCH]}, now=NOW).total("new") == 1
    with pytest.raises(StoreError, match="was recorded anew since"):
        filled.undo(strike, now=NOW)
    filled.undo(int(filled.entries().entry_id[0]), now=NOW)
    assert not _match(filled, "M9")
    filled.undo(strike, now=NOW)
    assert _match(filled, "M9")["minutes"] == 61


def test_undoing_opens_the_rejects_that_the_entry_had_mended(filled: Store, tmp_path: Path) -> None:
    header = FILES["matches"].splitlines()[0]
    filled.load(write_file(tmp_path, "matches", f"{header}\nM9,P1,R1,2026-05-01,singles,long,\n"), now=NOW)
    entry = filled.enter({"matches": [MATCH]}, now=NOW + timedelta(days=1))
    assert filled.rejects().empty
    filled.undo(entry.entry_id, now=NOW + timedelta(days=2))
    assert list(filled.rejects().value) == ["long"]


def test_a_role_writes_only_what_is_its_own(filled: Store) -> None:
    for role in ("stringer", "manager", "reader"):
        with pytest.raises(NotAllowedError):
            filled.enter({"matches": [MATCH]}, by=Person("Cy", role), now=NOW)
    entry = filled.enter({"matches": [MATCH]}, by=ANN, now=NOW)
    for role in ("stringer", "reader"):
        with pytest.raises(NotAllowedError):
            filled.undo(entry.entry_id, by=Person("Cy", role), now=NOW)
    reader = Person("Cy", "reader")
    for act in (lambda: filled.load("nowhere", by=reader), lambda: filled.strike("matches", ["M9"], by=reader)):
        with pytest.raises(NotAllowedError, match="is signed in as reader and may not"):
            act()


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ({"matchs": [MATCH]}, "there is no file 'matchs'"),
        ({"matches": [{**MATCH, "minuts": 3}]}, "has no column 'minuts': did you mean minutes?"),
        ({"matches": []}, "no row was given"),
        ({"matches": [{**MATCH, "event": object()}]}, "a object cannot be written into a cell"),
        ({"matches": [{**MATCH, "event": "a\0b"}]}, "Event holds a NUL character"),
        ({"matches": [{**MATCH, "event": "\ud800"}]}, "Event holds half of a character"),
        ({"matches": [{**MATCH, "event": "x" * 1_000_001}]}, "Event has 1,000,001 characters: shorten it"),
        ({"matches": [{**MATCH, "event": "a\nb"}]}, "Event holds a line break"),
    ],
)
def test_a_fault_of_the_form_is_a_sentence(filled: Store, rows: dict[str, list[dict[str, object]]], said: str) -> None:
    with pytest.raises(StoreError) as error:
        filled.enter(rows, now=NOW)
    assert said in str(error.value)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""), (float("nan"), ""), (pd.NaT, ""), (True, "yes"), (61, "61"), (61.0, "61"), (0.1, "0.1"),
        (Decimal("12.50"), "12.50"), (date(2026, 5, 1), "2026-05-01"),
        (datetime(2026, 5, 1, 17, 30), "2026-05-01T17:30"),
        (pd.Timestamp("2026-05-01 17:30:05"), "2026-05-01T17:30:05"), (["P1", "P2"], "P1 P2"),
        ("as it is ", "as it is "),
        (pd.Series([7]).iloc[0], "7"), (pd.Series([True]).iloc[0], "yes"),
    ],
)  # fmt: skip
def test_values_become_cells(value: object, text: str) -> None:
    assert cell_text(value) == text


def test_an_id_is_made_from_the_largest_ever_given(filled: Store) -> None:
    assert filled.new_id("players", "P") == "P3"
    assert filled.new_id("players", "X") == "X0001"
    one, two = FreshId("matches", "M"), FreshId("matches", "M")
    rows = [{**MATCH, "match_id": one}, {**MATCH, "match_id": two}, {**MATCH, "match_id": one, "racket_id": "R2"}]
    assert filled.enter({"matches": rows}, now=NOW).given_ids == ("M3", "M4")
    assert sorted(filled.records("matches").match_id) == ["M1", "M2", "M3", "M3", "M4"]
