"""A club's own sheet, a zip of files, rejected rows mended on the screen."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from types import SimpleNamespace

from streamlit.testing.v1 import AppTest

from dashboard.arriving import arrived, glance
from pipeline.fleet.frames import mapping, mending
from pipeline.store import Store
from pipeline.store.sheet_loading import contract_rows, propose
from pipeline.store.sheets import read_sheets

Opened = Callable[..., AppTest]
OWN = b"Date,Player,Court min,What\n14.11.2026,Ana Reed,75,rally\n15.11.2026,Ana Reed,60,drills\n"


def given(name: str, data: bytes) -> SimpleNamespace:
    """A file as the upload box hands it on."""
    return SimpleNamespace(name=name, getvalue=lambda: data)


def packed(**files: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, text in files.items():
            archive.writestr(name.replace("__", "/").replace("_csv", ".csv").replace("_txt", ".txt"), text)
    return made.getvalue()


def test_a_zip_is_taken_file_by_file_and_the_rest_left_aside() -> None:
    files, told = arrived([given("club.zip", packed(my__players_csv="a\n1\n", read_me_txt="hello"))])
    assert [(file.name, file.data, file.origin) for file in files] == [
        ("players.csv", b"a\n1\n", "club.zip: my/players.csv")
    ]
    assert told == ["Left aside in club.zip, since they are not CSV files: read_me.txt."]


def test_a_file_that_comes_twice_is_said() -> None:
    files, told = arrived([given("players.csv", b"a\n"), given("club.zip", packed(players_csv="b\n"))])
    assert [file.data for file in files] == [b"a\n"]
    assert "players.csv came twice" in told[0]


def test_a_damaged_zip_is_one_sentence() -> None:
    files, told = arrived([given("club.zip", b"no zip at all")])
    assert files == []
    assert told == [
        "club.zip is damaged, or no ZIP file; nothing was loaded: unpack it yourself and load the CSV files."
    ]


def test_a_path_in_a_zip_leads_nowhere() -> None:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("../../etc/players.csv", "a\n")
    files, told = arrived([given("club.zip", made.getvalue())])
    assert files == [] and "holds a file whose name leads out of its folder" in told[0]


def test_a_glance_says_what_a_file_is() -> None:
    text = b"player_id,player_name,squad,level,spin,shoe\nP1,Ana,F,club,flat,42\n"
    (file,), _ = arrived([given("Players.csv", text)])
    look = glance(file)
    assert look.sentence == "Players.csv, 1 row; left out: shoe."
    assert look.rows.shape == (1, 6)
    (other,), _ = arrived([given("holidays.csv", b"a,b\n1,2\n")])
    assert "Load it as a sheet of your own" in glance(other).sentence


def test_own_headings_become_the_contracts_rows(small_store: Store) -> None:
    (sheet,) = read_sheets("log.csv", OWN)
    proposal = propose(small_store, sheet, "practices")
    columns = mapping.columns_grid(proposal)
    assert set(columns["Heading"]) == {"Date", "Player", "Court min", "What"}
    columns.loc[columns["Heading"] == "Court min", ["Stands for", "Read as"]] = ["minutes", "number"]
    columns.loc[columns["Heading"] == "What", "Stands for"] = "activity"
    columns.loc[columns["Heading"] == "Date", ["Stands for", "Read as"]] = ["played_on", "day first"]
    columns.loc[columns["Heading"] == "Player", "Stands for"] = "player_id"
    confirmed = mapping.confirmed(proposal, columns, mapping.values_grid(proposal))
    rows = contract_rows(sheet, confirmed, small_store.contract)
    assert [(row["played_on"], row["player_id"], row["minutes"], row["activity"]) for row in rows] == [
        ("2026-11-14", "P1", "75", "rally"),
        ("2026-11-15", "P1", "60", "drills"),
    ]


def test_what_is_not_sure_stands_first(small_store: Store) -> None:
    (sheet,) = read_sheets("log.csv", OWN)
    for grid in (mapping.columns_grid(propose(small_store, sheet)), mapping.values_grid(propose(small_store, sheet))):
        order = [sure == "sure" for sure in grid["Sure"]]
        assert order == sorted(order)


def test_a_rejected_row_is_mended_on_the_screen(small_store: Store, tmp_path, open_page: Opened) -> None:
    bad = tmp_path / "matches.csv"
    bad.write_text("match_id,player_id,racket_id,played_on,format,minutes\nM1,P1,A-1,2026-11-01,singles,-5\n")
    small_store.load([bad])
    with small_store.facts() as con:
        assert mending.resources_to_mend(con) == {"matches": "matches.csv, 1 row"}
        before = mending.rows_to_mend(con, "matches")
    assert "minutes" in before[mending.SAID][0]
    after = before.copy()
    assert mending.mended_rows(before, after) == []
    after.loc[0, "minutes"] = "85"
    (row,) = mending.mended_rows(before, after)
    small_store.enter({"matches": [row]})
    assert small_store.rejects().empty
    assert list(small_store.records("matches")["minutes"]) == [85]
