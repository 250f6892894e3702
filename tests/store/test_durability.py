"""A load that fails, two writers, a store of another version, a damaged one: what is left, and what is said."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import duckdb
import pytest

from pipeline.store import Store, StoreBusyError, StoreError
from pipeline.store.migrations import MIGRATIONS, Migration, migrate, schema_version
from tests.small_club import FILES, NOW, write_club, write_file


def _count(store: Store, table: str) -> int:
    with store.facts() as con:
        ((count,),) = con.execute(f"select count(*) from facts.{table}").fetchall()
    return int(count)


def test_an_error_while_loading_leaves_everything_as_it_was(
    store: Store, club: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.load(club, now=NOW)
    write_file(club, "players", FILES["players"] + "P3,Cy Sample,U16,club,flat\n")
    write_file(club, "matches", FILES["matches"] + "M3,P1,R1,2026-04-01,singles,60,\n")
    from pipeline.store import loading

    monkeypatch.setattr(loading.rejecting, "note_present", lambda con: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        store.load(club, now=NOW)
    monkeypatch.undo()
    assert (_count(store, "players"), _count(store, "matches"), len(store.loads())) == (2, 2, 5)


def test_counts_that_do_not_add_up_fail_the_whole_load(
    store: Store, club: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.store import loading

    store.load(club, now=NOW)
    write_file(club, "players", FILES["players"] + "P3,Cy Sample,U16,club,flat\n")
    real = loading.land

    def loses_a_row(con: duckdb.DuckDBPyConnection, *args: object) -> object:
        landed = real(con, *args)  # type: ignore[arg-type]
        con.execute(f"delete from {landed.table} where cell_0 = 'M2'")
        return landed

    monkeypatch.setattr(loading, "land", loses_a_row)
    with pytest.raises(
        StoreError, match=r"matches.csv: 2 records were read, but 1 accepted and 0 rejected, which does not add up"
    ):
        store.load(club, now=NOW)
    assert _count(store, "players") == 2


HOLDS = (
    "import sys, time; from pipeline.store import Store; s = Store(sys.argv[1])\n"
    "with s.writing(): print('held', flush=True); time.sleep(60)"
)


def test_a_second_writer_is_told_who_holds_the_store(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(store.folder)],
        cwd=Path(__file__).parents[2],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None and process.stdout.readline() == "held\n"
        hurried = Store(store.folder, wait_seconds=0.1)
        assert not hurried.is_free()
        with pytest.raises(StoreBusyError) as error:
            hurried.load(club, now=NOW)
        assert f"is in use by `-c` (process {process.pid}, since " in str(error.value)
        assert str(error.value).endswith("wait until it has finished, then try again.")
    finally:
        process.kill()
        process.communicate()
    assert store.is_free()
    assert store.load(club, now=NOW).total("unchanged") == 12


def test_two_writers_take_turns(store: Store, tmp_path: Path) -> None:
    store.load(write_club(tmp_path / "club"), now=NOW)
    header = FILES["matches"].splitlines()[0]
    faults: list[BaseException] = []

    def write(writer: int) -> None:
        try:
            for place in range(3):
                name = f"M{writer}x{place}"
                path = write_file(tmp_path / name, "matches", f"{header}\n{name},P1,R1,2026-04-01,singles,60,\n")
                Store(store.folder, wait_seconds=60).load(path, now=NOW)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=write, args=(writer,)) for writer in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert _count(store, "matches") == 8


def test_a_reader_of_the_view_does_not_wait_for_a_writer(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.publish(lambda con: con.execute("create table t as select 1 as n"), now=NOW)
    seen: list[object] = []
    with store.writing():
        thread = threading.Thread(target=lambda: seen.append(store.view().execute("select n from t").fetchall()))
        thread.start()
        thread.join(timeout=30)
    assert seen == [[(1,)]]


def test_a_store_of_a_newer_program_is_refused(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    with duckdb.connect(str(store.facts_path)) as con:
        con.execute("update store_info set value = '99' where key = 'schema_version'")
    for action in (lambda: store.load(club, now=NOW), lambda: store.rejects()):
        with pytest.raises(
            StoreError, match=r"was written by a newer program \(store version 99, this one knows \d+\): update"
        ):
            action()


def test_an_older_store_is_brought_up_to_date_in_order() -> None:
    con = duckdb.connect()
    later = (
        *MIGRATIONS,
        Migration(len(MIGRATIONS) + 1, "a table", lambda con: con.execute("create table added (a INTEGER)") and None),
        Migration(
            len(MIGRATIONS) + 2, "a column", lambda con: con.execute("alter table added add column b INTEGER") and None
        ),
    )
    assert schema_version(con) == 0
    assert migrate(con, "here") == len(MIGRATIONS)
    assert migrate(con, "here", later) == len(MIGRATIONS) + 2
    assert con.execute("select a, b from added").fetchall() == []
    assert migrate(con, "here", later) == schema_version(con) == len(MIGRATIONS) + 2


def test_a_damaged_store_is_said_in_one_sentence(store: Store, club: Path) -> None:
    store.create()
    store.facts_path.write_bytes(b"this is no database" * 1000)
    with pytest.raises(StoreError, match=r"facts.duckdb cannot be opened: "):
        store.load(club, now=NOW)
    with pytest.raises(StoreError, match=r"facts.duckdb cannot be opened: "):
        store.rejects()


def test_an_empty_folder_is_no_store(store: Store) -> None:
    with pytest.raises(StoreError, match="holds no store yet: load the club's files first"):
        store.rejects()
    with pytest.raises(StoreError, match="holds no store yet"):
        store.strike("matches", ["M1"])
    assert not store.folder.exists()


def test_the_log_holds_counts_and_no_names(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.strike("matches", ["M1", "P1", "R1"], now=NOW)
    text = (store.folder / "racket-fleet.log").read_text()
    assert "loaded players: read 2, new 2" in text and "struck one row of matches" in text
    for private in ("Ada", "Sample", "P1", "M1"):
        assert private not in text


def test_no_write_ahead_log_is_left_beside_the_facts(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    assert not list(store.folder.glob("*.wal"))


def test_a_full_disk_is_said_and_nothing_of_the_load_is_kept(
    store: Store, club: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.store import loading

    store.load(club, now=NOW)
    write_file(club, "players", FILES["players"] + "P3,Cy Sample,U16,club,flat\n")

    def full(*args: object) -> None:
        raise duckdb.IOException("IO Error: Could not write all bytes: No space left on device")

    monkeypatch.setattr(loading.rejecting, "note_present", full)
    with pytest.raises(StoreError, match=r"No space left on device\), so nothing of this was kept: make room\."):
        store.load(club, now=NOW)
    monkeypatch.undo()
    assert _count(store, "players") == 2
