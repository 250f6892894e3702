"""What a builder computes in, a published view out: one new file, then a pointer swapped in one step.

`view-<version>.duckdb` is written whole, checkpointed and closed before `view.current` names it, so a reader never
waits for a writer and a killed build leaves the old view as it was. The last two versions are kept. A view says of
which format it is; one of another format is not read but made anew.
"""

from __future__ import annotations

import os
import re
import shutil
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import duckdb

from pipeline.store.errors import StoreError, UnreadableViewError, is_unwritten, room_for

POINTER = "view.current"
VIEW_FORMAT = "2"  # raise it whenever a table, a column or a key of meta is added, dropped or given another meaning
KEPT_VERSIONS = 2
VIEW_FILE = re.compile(r"^view-(\d+)\.duckdb$")

Builder = Callable[[duckdb.DuckDBPyConnection], None]

_open_views: dict[str, tuple[int, duckdb.DuckDBPyConnection, str | None]] = {}  # version, connection, format
_open_lock = threading.Lock()


def view_path(folder: Path, version: int) -> Path:
    """Where the view of a version lies."""
    return folder / f"view-{version:06d}.duckdb"


def current_version(folder: Path) -> int | None:
    """The published version; None before the first."""
    try:
        return int((folder / POINTER).read_text(encoding="ascii"))
    except FileNotFoundError:
        return None
    except ValueError as error:
        raise StoreError(
            f"{folder / POINTER} is damaged: delete it and run `racket-fleet refresh` or load again."
        ) from error


def _versions(folder: Path) -> list[int]:
    found = (VIEW_FILE.match(path.name) for path in folder.iterdir())
    return sorted(int(match.group(1)) for match in found if match)


def sync_file(path: Path) -> None:
    """Ask the system to put a file's bytes on the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Ask the system to put a folder's names on the disk, where it can be asked."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _point_to(folder: Path, version: int) -> None:
    fresh = folder / f"{POINTER}.new"
    fresh.write_text(str(version), encoding="ascii")
    sync_file(fresh)
    fresh.replace(folder / POINTER)
    sync_folder(folder)


def _remove_old(folder: Path, current: int) -> None:
    """Remove all but the last published versions; a file still open elsewhere is left for the next time."""
    versions = [version for version in _versions(folder) if version <= current]
    for version in versions[:-KEPT_VERSIONS]:
        try:
            view_path(folder, version).unlink()
        except PermissionError:
            continue


def publish(folder: Path, attach: Builder, build: Builder, now: datetime) -> int:
    """Build a new view with what `attach` attaches as `facts`, publish it and give its version."""
    known = _versions(folder)
    version = max([current_version(folder) or 0, *known]) + 1
    unfinished = folder / "view.building"
    for leftover in (unfinished, unfinished.with_name("view.building.wal")):
        leftover.unlink(missing_ok=True)
    shutil.rmtree(unfinished.with_name("view.building.tmp"), ignore_errors=True)  # of a killed one: what it put aside
    try:
        _build(attach, build, unfinished, version, now)
    except (duckdb.Error, OSError) as error:
        if not is_unwritten(error):
            raise
        reason = str(error).splitlines()[0]
        raise StoreError(
            f"{folder} could not be written ({reason}), so the view stays as it was: {room_for(error)}, then "
            "run `racket-fleet refresh`."
        ) from error
    sync_file(unfinished)
    unfinished.replace(view_path(folder, version))
    _point_to(folder, version)
    _remove_old(folder, version)
    return version


def _build(attach: Builder, build: Builder, unfinished: Path, version: int, now: datetime) -> None:
    """Write a whole view into `unfinished`."""
    con = duckdb.connect(str(unfinished))
    try:
        attach(con)
        build(con)
        _copy_books(con, version, now)
        con.execute("detach facts")
        con.execute("checkpoint")
    finally:
        con.close()
    if unfinished.with_name("view.building.wal").exists():
        raise StoreError(f"{unfinished} was not written whole, so the old view stays: try again.")


def _copy_books(con: duckdb.DuckDBPyConnection, version: int, now: datetime) -> None:
    """The store's books, as the dashboard shows them."""
    con.execute("create or replace table loads as from facts.loads")
    con.execute(
        "create or replace table rejects as select load_id, loaded_at, file, line_number as line, column_name "
        'as "column", '
        "value, message from facts.rejects where mended_at is null order by load_id, line_number, column_name"
    )
    con.execute(
        "create or replace table rejects_mended as select load_id, loaded_at, file, line_number as line, "
        'column_name as "column", value, message, mended_at, mended_how from facts.rejects where mended_at is not null'
    )
    con.execute(
        "create or replace table questions as select load_id, loaded_at, file, line_number as line, "
        'column_name as "column", value, message from facts.questions'
    )
    con.execute("create table if not exists meta (key VARCHAR, value VARCHAR)")
    con.execute("delete from meta where key in ('view_version', 'view_format', 'built_at', 'last_act')")
    con.execute(
        "insert into meta select 'last_act', cast(coalesce(max(number), 0) as varchar) from "
        "(select load_id as number from facts.loads union all select act_id from facts.acts)"
    )
    con.execute(
        "insert into meta values ('view_version', $version), ('view_format', $format), ('built_at', $built_at)",
        {"version": str(version), "format": VIEW_FORMAT, "built_at": now.isoformat(timespec="seconds")},
    )


def _opened(path: Path) -> tuple[duckdb.DuckDBPyConnection, str | None]:
    """A connection to a view's file, and the format the view says it has; None where it says none."""
    if not path.exists():
        raise UnreadableViewError(f"{path} is missing: run `racket-fleet refresh`, which makes the view anew.")
    try:
        con = duckdb.connect(str(path), read_only=True)
    except duckdb.Error as error:
        raise UnreadableViewError(
            f"{path} cannot be opened ({str(error).splitlines()[0]}): run `racket-fleet refresh`, which makes the view "
            "anew."
        ) from error
    try:
        row = con.execute("select value from meta where key = 'view_format'").fetchone()
    except duckdb.CatalogException:
        return con, None
    return con, row[0] if row else None


def view_cursor(folder: Path, is_any_format: bool = False) -> duckdb.DuckDBPyConnection:
    """A cursor on the published view, read-only; the connection behind it is kept while its version is current.

    Raises UnreadableViewError where it is not there, cannot be opened or, unless is_any_format, is of another format.
    """
    version = current_version(folder)
    if version is None:
        raise StoreError(f"{folder} has no view yet: load the club's files first (racket-fleet load FOLDER).")
    key = str(folder.resolve())
    with _open_lock:
        held = _open_views.get(key)
        if held is None or held[0] != version:
            con, view_format = _opened(view_path(folder, version))
            # the old connection is let go, not closed: closing it would end the cursors that others still read with,
            # and the file is free as soon as the last of them is closed
            _open_views[key] = held = (version, con, view_format)
        if held[2] != VIEW_FORMAT and not is_any_format:
            raise UnreadableViewError(
                f"{view_path(folder, version)} was published by another version of the program: run `racket-fleet "
                "refresh`, which makes the view anew."
            )
        return held[1].cursor()
