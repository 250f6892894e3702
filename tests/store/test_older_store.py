"""A facts file as the program of store version 1 wrote it: brought up to date with nothing lost, and worked on."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.store import FreshId, Store, StoreError
from pipeline.store.migrations import MIGRATIONS
from tests.small_club import NOW, write_club

VERSION_1 = Path(__file__).with_name("version_1.sql")


def _older(folder: Path) -> Store:
    """The store that version_1.sql describes."""
    store = Store(folder)
    store.create()
    with duckdb.connect(str(store.facts_path)) as con:
        for statement in duckdb.extract_statements(VERSION_1.read_text(encoding="utf-8")):
            con.execute(statement)
    return store


def test_reading_an_older_store_brings_it_up_to_date_and_loses_nothing(tmp_path: Path) -> None:
    store = _older(tmp_path / "store")
    assert len(store.records("matches")) == 2 and store.records("matches").recorded_by.isna().all()
    history = store.history("matches")
    assert list(history.replaced_how) == ["corrected", "struck"] and list(history["minutes"]) == [90, 60]
    assert list(store.rejects().message) == [
        "player_id PX is not in players.csv, or was rejected there: mend it there and load both, or correct it here."
    ]
    with store.facts() as con:
        version = con.execute("select value from facts.store_info where key = 'schema_version'").fetchall()
    assert version == [(str(MIGRATIONS[-1].number),)]


def test_an_older_store_takes_files_and_entries_and_keeps_who(tmp_path: Path) -> None:
    store = _older(tmp_path / "store")
    report = store.load(write_club(tmp_path / "club"), now=NOW + timedelta(days=3))
    assert (report.total("unchanged"), report.total("corrected")) == (11, 1)
    played = {"player_id": "P1", "racket_id": "R1", "played_on": "2026-05-01", "format": "singles", "minutes": 60}
    report = store.enter({"matches": [{"match_id": FreshId("matches", "M"), **played}]}, now=NOW + timedelta(days=4))
    assert report.given_ids == ("M5",)  # M3 was struck and M4 refused: no id is given twice
    assert list(store.records("matches").recorded_by) == ["this machine", None, "this machine"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="permissions do not bind this user")
def test_an_older_store_in_a_folder_that_cannot_be_written_to_is_refused(tmp_path: Path) -> None:
    store = _older(tmp_path / "store")
    store.folder.chmod(0o500)
    try:
        with pytest.raises(StoreError, match=r"was written by an older program \(store version 1\)"):
            store.rejects()
    finally:
        store.folder.chmod(0o700)
