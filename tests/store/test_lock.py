"""One writer or many readers; a view in the making keeps nobody waiting but the next one.

Readers-writer locks: Courtois, Heymans & Parnas 1971 (from memory). That a process loses its POSIX file locks on a file
when it closes any handle on it: fcntl(2).
"""

from __future__ import annotations

import subprocess
import sys
import threading
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.refresh import refresh
from pipeline.store import Store, StoreBusyError, StoreError, lock
from pipeline.store.facts_file import COPY_NAME
from tests.small_club import NOW, write_club

COUNT = "select count(*) from facts.restrings"
WRITES = (
    "import sys; from pipeline.store import Store; from tests.small_club import NOW, write_club\n"
    "Store(sys.argv[1], wait_seconds=0.2).load(sys.argv[2], now=NOW)"
)


@pytest.fixture
def filled(tmp_path: Path) -> Store:
    store = Store(tmp_path / "store", wait_seconds=0.2)
    store.load(write_club(tmp_path / "club"), now=NOW)
    return store


def writes_from_elsewhere(store: Store, club: Path) -> str:
    """What another process is told that loads the club; '' where it could."""
    done = subprocess.run(
        [sys.executable, "-c", WRITES, str(store.folder), str(club)],
        cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.stderr if done.returncode else ""


def test_readers_read_side_by_side_and_the_last_one_still_keeps_writers_out(filled: Store, tmp_path: Path) -> None:
    """The second reader's file handle is closed first; DuckDB's own lock went with it."""
    counts: list[int] = []
    inside, may_leave = threading.Event(), threading.Event()

    def read() -> None:
        with filled.facts() as con:
            inside.set()
            may_leave.wait(60)
            counts.extend(con.execute(COUNT).fetchone() or ())

    reader = threading.Thread(target=read)
    reader.start()
    assert inside.wait(60)
    with filled.facts() as con:
        counts.extend(con.execute(COUNT).fetchone() or ())
    assert "StoreBusyError" in writes_from_elsewhere(filled, tmp_path / "club")
    with pytest.raises(StoreBusyError, match="is in use by"):
        filled.load(tmp_path / "club", now=NOW)
    may_leave.set()
    reader.join()
    assert counts[0] == counts[1] > 0
    assert writes_from_elsewhere(filled, tmp_path / "club") == ""
    assert filled.is_free()


def test_a_view_is_made_while_others_read_and_write(filled: Store, tmp_path: Path) -> None:
    """Whoever writes at the court waits for no refresh, and the view holds the facts of the moment it was begun."""
    told: list[object] = []

    def build(con: duckdb.DuckDBPyConnection) -> None:
        before = con.execute(COUNT).fetchone()

        def meanwhile() -> None:
            with filled.facts() as facts:
                told.append((facts.execute(COUNT).fetchone() or (0,))[0])
            restring = {"restring_id": "X9", "racket_id": "R1", "strung_on": "2026-05-02", "mains_string_id": "S1",
                        "mains_kg": 24.0, "reason": "broke"}  # fmt: skip
            filled.enter({"restrings": [restring]}, now=NOW)
            try:
                filled.publish(lambda _: None, now=NOW)
            except StoreBusyError as error:
                told.append(str(error))
            told.append(filled.is_free())

        page = threading.Thread(target=meanwhile)
        page.start()
        page.join()
        assert con.execute(COUNT).fetchone() == before
        con.execute(f"create table seen as {COUNT.replace('count(*)', 'count(*) as n')}")

    filled.publish(build, now=NOW)
    count, refused, is_free = told
    assert count
    assert "wait until it has finished" in str(refused)
    assert is_free is False
    assert len(filled.records("restrings")) == int(str(count)) + 1
    with filled.view() as view:
        assert view.execute("select n from seen").fetchone() == (count,)
        (last_act,) = view.execute("select value from meta where key = 'last_act'").fetchall()[0]
    assert int(last_act) < filled.last_act()  # so the next look at the store knows that there is more
    assert not list(filled.folder.glob(f"{COPY_NAME}*"))
    assert filled.is_free()


def test_a_copy_that_a_killed_process_left_is_cleared_away(filled: Store) -> None:
    for name in (f"{COPY_NAME}x", f"{COPY_NAME}x.wal", "view.building"):
        (filled.folder / name).write_bytes(b"half of it")
    (filled.folder / "view.building.tmp").mkdir()
    (filled.folder / "view.building.tmp" / "duckdb_temp_storage-0.tmp").write_bytes(b"put aside")
    assert refresh(filled, as_of=date(2026, 5, 1), now=NOW)
    filled.strike("matches", ["M1"], now=NOW)
    assert not list(filled.folder.glob(f"{COPY_NAME}*"))


def test_long_reading_is_of_a_copy_and_of_the_facts_where_none_can_be_made(
    filled: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with filled.facts_apart() as con:
        before = con.execute("select count(*) from facts.matches").fetchone()
        filled.strike("matches", ["M1"], now=NOW)
        assert con.execute("select count(*) from facts.matches").fetchone() == before
        assert not list(filled.folder.glob(f"{COPY_NAME}*"))

    def is_full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipeline.store.facts_file.shutil.copyfile", is_full)
    with filled.facts_apart() as con:
        assert con.execute("select count(*) from facts.matches").fetchone() == (len(filled.records("matches")),)
        with pytest.raises(RuntimeError, match="before the reading is over"):
            filled.strike("matches", ["M2"], now=NOW)
    with pytest.raises(StoreError, match="No space left on device"):
        filled.publish(lambda _: None, now=NOW)
    assert not list(filled.folder.glob(f"{COPY_NAME}*"))


def test_what_is_in_the_log_of_the_facts_alone_is_in_the_copy(filled: Store) -> None:
    """A process that was killed after its commit leaves its rows in DuckDB's write-ahead log."""
    dies = (
        "import os, sys, duckdb\ncon = duckdb.connect(sys.argv[1])\n"
        'con.execute("pragma disable_checkpoint_on_shutdown")\n'
        "con.execute('create table late as select 7 as n')\nos._exit(9)"
    )
    subprocess.run([sys.executable, "-c", dies, str(filled.facts_path)], check=False)
    assert list(filled.folder.glob("facts.duckdb.wal"))
    filled.publish(lambda con: con.execute("create table seen as from facts.late"), now=NOW)
    with filled.view() as view:
        assert view.execute("select n from seen").fetchone() == (7,)


def test_locks_are_taken_in_one_order(filled: Store, tmp_path: Path) -> None:
    with filled.writing(), filled.facts() as con:
        assert con.execute(COUNT).fetchone()
    with filled.facts(), pytest.raises(RuntimeError, match="cannot write to them before the reading is over"):
        filled.load(tmp_path / "club", now=NOW)
    for holding in (filled.writing, filled.facts):
        with holding(), pytest.raises(RuntimeError, match="cannot make a view before that is over"):
            refresh(filled, as_of=date(2026, 5, 1), now=NOW)
    with filled.publishing(NOW), filled.writing():
        assert not filled.is_free()
    assert filled.is_free()


def test_the_note_of_a_killed_holder_is_not_believed_for_long(filled: Store) -> None:
    (filled.folder / lock.HOLDER_NAME).write_text(
        '{"pid": 1, "command": "gone", "since": "2026-01-01T00:00:00"}', encoding="utf-8"
    )
    with filled.writing():
        assert "gone" not in filled.holder()
    assert not (filled.folder / lock.HOLDER_NAME).exists()
    assert filled.holder() == "another process, which left no note of itself"
