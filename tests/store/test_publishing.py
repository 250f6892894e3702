"""The published view: whole, swapped in one step, read by version."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.store import Store, StoreError, UnreadableViewError
from pipeline.store.publishing import VIEW_FORMAT, view_path
from tests.small_club import FILES, NOW, write_file


def _build(number: int):  # type: ignore[no-untyped-def]
    return lambda con: con.execute(f"create table t as select {number} as n, count(*) as matches from facts.matches")


def _seen(store: Store) -> list[tuple[object, ...]]:
    cursor = store.view()
    try:
        return cursor.execute("from t").fetchall()
    finally:
        cursor.close()


def test_a_view_is_published_and_replaced(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    assert store.view_version is None
    assert store.publish(_build(1), now=NOW) == "1"
    assert _seen(store) == [(1, 2)]
    assert store.publish(_build(2), now=NOW) == store.view_version == "2"
    assert _seen(store) == [(2, 2)]


@pytest.mark.parametrize(
    ("error", "mend"),
    [
        (duckdb.IOException("IO Error: No space left on device"), "make room, then run"),
        (
            duckdb.OutOfMemoryException("Out of Memory Error"),
            "make room on the disk or take a machine with more memory",
        ),
    ],
)
def test_a_view_that_does_not_fit_leaves_the_old_one_and_says_what_to_mend(
    store: Store, club: Path, error: duckdb.Error, mend: str
) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)

    def build(con: duckdb.DuckDBPyConnection) -> None:
        raise error

    with pytest.raises(StoreError, match=f"the view stays as it was: {mend}"):
        store.publish(build, now=NOW)
    assert _seen(store) == [(1, 2)]


def test_an_open_cursor_keeps_its_version_and_the_last_two_files_are_kept(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)
    old = store.view()
    for number in (2, 3, 4):
        store.publish(_build(number), now=NOW)
    assert old.execute("select n from t").fetchall() == [(1,)]
    assert _seen(store) == [(4, 2)]
    assert old.execute("select n from t").fetchall() == [(1,)], "also once somebody has asked for the new version"
    old.close()
    assert sorted(path.name for path in store.folder.glob("view-*")) == ["view-000003.duckdb", "view-000004.duckdb"]


def test_a_build_that_fails_leaves_the_old_view(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)
    with pytest.raises(duckdb.CatalogException):
        store.publish(lambda con: con.execute("from nowhere"), now=NOW)
    assert (store.view_version, _seen(store)) == ("1", [(1, 2)])
    assert store.publish(_build(2), now=NOW) == "2"


def test_the_books_are_published_with_it(store: Store, club: Path) -> None:
    write_file(club, "matches", FILES["matches"].replace(",90,", ",-90,"))
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW + timedelta(hours=1))
    with store.view() as view:
        rejects = view.execute("from rejects").df()
        assert list(rejects.columns) == ["load_id", "loaded_at", "file", "line", "column", "value", "message"]
        assert list(rejects.value) == ["-90"]
        loads = view.execute(
            "select file, resource, read, new, corrected, unchanged, rejected from loads order by load_id"
        ).fetchall()
        assert loads[-1] == ("matches.csv", "matches", 2, 1, 0, 0, 1)
        assert dict(view.execute("from meta").fetchall()) == {
            "view_version": "1", "view_format": VIEW_FORMAT, "built_at": "2026-06-01T10:00:00", "last_act": "5",
        }  # fmt: skip


def test_a_missing_or_damaged_view_is_said(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    with pytest.raises(StoreError, match="has no view yet: load the club's files first"):
        store.view()
    store.publish(_build(1), now=NOW)
    (store.folder / "view.current").write_text("not a number")
    with pytest.raises(StoreError, match="is damaged: delete it"):
        store.view()
    (store.folder / "view.current").write_text("7")
    with pytest.raises(StoreError, match=r"view-000007\.duckdb is missing: run `racket-fleet refresh`"):
        store.view()


@pytest.mark.parametrize(
    "change",
    ["update meta set value = '0' where key = 'view_format'", "delete from meta where key = 'view_format'",
     "drop table meta"],
)  # fmt: skip
def test_a_view_of_another_version_of_the_program_is_said_until_it_is_made_anew(
    store: Store, club: Path, change: str
) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)
    with duckdb.connect(str(view_path(store.folder, 1))) as con:
        con.execute(change)
    for _ in range(2):
        with pytest.raises(
            UnreadableViewError, match=r"published by another version of the program: run `racket-fleet"
        ):
            store.view()
    with store.view(is_any_format=True) as view:
        assert view.execute("select n from t").fetchall() == [(1,)]
    store.publish(_build(2), now=NOW)
    assert _seen(store) == [(2, 2)]


def test_a_view_that_is_no_database_is_said(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)
    view_path(store.folder, 1).write_bytes(b"not a database" * 1000)
    with pytest.raises(UnreadableViewError, match=r"cannot be opened .*: run `racket-fleet refresh`"):
        store.view()
    store.publish(_build(2), now=NOW)
    assert _seen(store) == [(2, 2)]


def test_the_clock_set_back_still_gives_a_later_version(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.publish(_build(1), now=NOW)
    assert store.publish(_build(2), now=NOW - timedelta(days=400)) == "2"
