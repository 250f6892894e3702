"""A facts file as the program of store version 1 wrote it: brought up to date with nothing lost, and worked on."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.store import FreshId, Store
from pipeline.store.migrations import MIGRATIONS
from tests.small_club import NOW, write_club

VERSION_1 = Path(__file__).with_name("version_1.sql")


def older_store(folder: Path) -> Store:
    """The store that version_1.sql describes."""
    store = Store(folder)
    store.create()
    with duckdb.connect(str(store.facts_path)) as con:
        for statement in duckdb.extract_statements(VERSION_1.read_text(encoding="utf-8")):
            con.execute(statement)
    return store


def test_every_earlier_version_has_a_store_to_be_tested_on() -> None:
    """A new migration fails here until the version before it is written down as `version_<number>.sql`."""
    kept = sorted(path.name for path in VERSION_1.parent.glob("version_*.sql"))
    assert kept == [f"version_{migration.number}.sql" for migration in MIGRATIONS[:-1]]


def test_reading_an_older_store_brings_it_up_to_date_and_loses_nothing(tmp_path: Path) -> None:
    store = older_store(tmp_path / "store")
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
    store = older_store(tmp_path / "store")
    report = store.load(write_club(tmp_path / "club"), now=NOW + timedelta(days=3))
    assert (report.total("unchanged"), report.total("corrected")) == (11, 1)
    played = {"player_id": "P1", "racket_id": "R1", "played_on": "2026-05-01", "format": "singles", "minutes": 60}
    report = store.enter({"matches": [{"match_id": FreshId("matches", "M"), **played}]}, now=NOW + timedelta(days=4))
    assert report.given_ids == ("M5",)  # M3 was struck and M4 refused: no id is given twice
    assert list(store.records("matches").recorded_by) == ["this machine", None, "this machine"]


READS = (
    "import sys; from pipeline.store import Store, StoreError\n"
    "try: Store(sys.argv[1]).rejects()\n"
    "except StoreError as error: print(error)\n"
    "else: print('read')"
)
CAPBSET_DROP, DAC_OVERRIDE, DAC_READ_SEARCH = 24, 1, 2  # prctl(2), capabilities(7)


def _bound_by_permissions() -> None:
    """Before a program is started: give up what lets root write where permissions forbid it."""
    if os.geteuid() == 0:
        for capability in (DAC_OVERRIDE, DAC_READ_SEARCH):
            ctypes.CDLL(None).prctl(CAPBSET_DROP, capability, 0, 0, 0)


@pytest.mark.skipif(os.name == "nt", reason="needs the permissions of POSIX")
@pytest.mark.parametrize(("version", "said"), [(1, "was written by an older program (store version 1)"), (2, "read")])
def test_a_folder_that_cannot_be_written_to_is_read_or_refused_in_a_sentence(
    tmp_path: Path, version: int, said: str
) -> None:
    store = older_store(tmp_path / "store")
    if version > 1:
        store.rejects()  # brings it up to date
    store.folder.chmod(0o500)
    store.facts_path.chmod(0o400)
    try:
        told = subprocess.run(
            [sys.executable, "-c", READS, str(store.folder)],
            cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False,
            preexec_fn=_bound_by_permissions,
        )  # fmt: skip
        assert said in told.stdout, told.stdout + told.stderr
    finally:
        store.folder.chmod(0o700)
