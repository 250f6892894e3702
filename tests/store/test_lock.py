"""One writer or many readers: readers of the facts and a view in the making leave each other alone, writers wait.

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
from pipeline.store import Store, StoreBusyError, lock
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


def test_the_facts_are_read_while_a_view_is_made(filled: Store) -> None:
    """A page that asks the facts does not wait for another's refresh; a second refresh does."""
    told: list[object] = []

    def build(con: duckdb.DuckDBPyConnection) -> None:
        def meanwhile() -> None:
            with filled.facts() as facts:
                told.append((facts.execute(COUNT).fetchone() or (0,))[0])
            try:
                filled.publish(lambda _: None, now=NOW)
            except StoreBusyError as error:
                told.append(str(error))

        page = threading.Thread(target=meanwhile)
        page.start()
        page.join()

    filled.publish(build, now=NOW)
    assert told[0]
    assert "wait until it has finished" in str(told[1])
    assert refresh(filled, as_of=date(2026, 5, 1), now=NOW)


def test_a_writer_may_read_and_publish_but_no_reader_writes(filled: Store, tmp_path: Path) -> None:
    with filled.writing(), filled.facts() as con:
        assert con.execute(COUNT).fetchone()
        assert refresh(filled, as_of=date(2026, 5, 1), now=NOW)
    with filled.facts(), pytest.raises(RuntimeError, match="cannot write to them before the reading is over"):
        filled.load(tmp_path / "club", now=NOW)
    assert filled.is_free()


def test_the_note_of_a_killed_holder_is_not_believed_for_long(filled: Store) -> None:
    (filled.folder / lock.HOLDER_NAME).write_text(
        '{"pid": 1, "command": "gone", "since": "2026-01-01T00:00:00"}', encoding="utf-8"
    )
    with filled.writing():
        assert "gone" not in filled.holder()
    assert not (filled.folder / lock.HOLDER_NAME).exists()
    assert filled.holder() == "another process, which left no note of itself"
