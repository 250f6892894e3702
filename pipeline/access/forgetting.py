"""A player's number in.

The store without the player's name and without the way back to them out, the wear history kept.

The player becomes a number drawn by lot, everywhere alike: clean tables, history, raw rows, rejects, questions,
books. What was written about the player goes: remarks on looks at their rackets, who paid, cells of unknown columns,
marks of the old rows' hashes. Restrings, play and grades stay, since they carry no name. DuckDB leaves freed blocks
in a file as they were, so all is done on a copy, the copy is written into a fresh file, and that replaces the facts
in one step: killed at any instant, the store is as it was or has forgotten. Everything derived (views, plans, the
track record) is removed, to be worked out anew.
"""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.access.scrubbing import NEW_NAME, Scrubber
from pipeline.contract.resources import Contract
from pipeline.contract.typed import literal, quoted
from pipeline.store import Store, StoreError, books
from pipeline.store.facts_file import COPY_NAME
from pipeline.store.people import LOCAL, Person, require

WORK_NAME, FRESH_NAME = "forgetting.duckdb", "forgotten.duckdb"
DERIVED = ("view-*.duckdb", "view.building*", f"{COPY_NAME}*", "plan-*.json", "track-record.json")
PREFIX = "former-"
KEPT_SCHEMAS = ("main", "history", "raw")
LISTS = {"absent", "key_text", "what"}  # columns made of numbers and keys alone


def _players_columns(contract: Contract) -> dict[str, list[str]]:
    """By file: its columns that name a player."""
    columns = {
        resource.name: [key.field for key in resource.foreign_keys if key.resource == "players"]
        for resource in contract.resources.values()
    }
    columns["players"] = ["player_id"]
    return columns


def _ids_of_others(contract: Contract) -> set[tuple[str, str]]:
    """File and column of every number that is not a player's.

    Names are taken out of these, players' numbers are not.
    """
    return {
        (resource.name, field.name)
        for resource in contract.resources.values()
        for field in resource.fields
        if field.kind == "id" and field.name not in _players_columns(contract)[resource.name]
    }


def _tables(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], list[str]]:
    """Every table of the facts with its columns of text."""
    rows = con.execute(
        "select schema_name, table_name, list(column_name order by column_index) from duckdb_columns() "
        "where database_name = current_database() and not internal and schema_name in ('main', 'history', 'raw') "
        "and data_type in ('VARCHAR', 'JSON') group by all order by all"
    ).fetchall()
    views = set(con.execute("select schema_name, view_name from duckdb_views() where not internal").fetchall())
    return {(schema, table): columns for schema, table, columns in rows if (schema, table) not in views}


def _named(con: duckdb.DuckDBPyConnection, player_id: str, contract: Contract) -> Scrubber:
    """Who is meant: every name that ever stood beside the number. Raises where the number is on no row."""
    names: dict[str, None] = {}
    for schema in KEPT_SCHEMAS:
        rows = con.execute(
            f"select distinct trim(player_name) from {schema}.players where trim(player_id) = $id and "
            "player_name is not null order by all",
            {"id": player_id},
        ).fetchall()
        names |= dict.fromkeys(name for (name,) in rows if name)
    is_there = bool(names) or any(
        con.execute(
            f"select 1 from {schema}.{quoted(file)} where trim({quoted(column)}) = $id limit 1", {"id": player_id}
        ).fetchall()
        for schema in KEPT_SCHEMAS
        for file, columns in _players_columns(contract).items()
        for column in columns
    )
    if not player_id or not is_there:
        raise StoreError(f"no player {player_id!r} is on file: give the number as players.csv has it, such as P07.")
    new_id = PREFIX + secrets.token_hex(4)
    return Scrubber(player_id, tuple(names), new_id)


def _rackets_of(con: duckdb.DuckDBPyConnection, player_id: str) -> list[str]:
    """The rackets that were ever the player's."""
    parts = [
        f"select racket_id from {schema}.{file} where trim(player_id) = $id"
        for schema in KEPT_SCHEMAS
        for file in ("rackets", "holders")
    ]
    return [row[0] for row in con.execute(" union ".join(parts), {"id": player_id}).fetchall() if row[0] is not None]


def _change(
    con: duckdb.DuckDBPyConnection, table: str, column: str, change: Callable[[str], str | None], where: str = "true"
) -> None:
    """Replace the texts of one column that `change` alters, and note the hashes of the rows they stood in."""
    name = quoted(column)
    texts = con.execute(f"select distinct {name} as old from {table} where {name} is not null and ({where})").fetchall()
    pairs = [(old, new) for (old,) in texts if (new := change(old)) != old]
    if not pairs:
        return
    frame = pd.DataFrame(pairs, columns=["old", "new"], dtype="object")
    con.register("changes_given", frame)
    con.execute(
        "create or replace temp table changes as select old::varchar as old, new::varchar as new from changes_given"
    )
    con.unregister("changes_given")
    condition = f"{name} = c.old and ({where})"
    if con.execute(
        "select 1 from duckdb_columns() where column_name = 'row_hash' and database_name = current_database() and "
        f"schema_name || '.' || table_name = {literal(table.replace(chr(34), ''))}"
    ).fetchall():
        con.execute(f"insert into touched select distinct row_hash from {table}, changes as c where {condition}")
    con.execute(f"update {table} set {name} = c.new from changes as c where {condition}")


def _forget_own_words(con: duckdb.DuckDBPyConnection, who: Scrubber, contract: Contract) -> None:
    """Take out what was written about the player: names, remarks, who paid, cells of unknown columns."""
    own_id = f"trim(player_id) = {literal(who.player_id)}"
    rackets = ", ".join(literal(racket) for racket in _rackets_of(con, who.player_id)) or "''"
    own_racket = f"trim(racket_id) in ({rackets})"
    for schema in KEPT_SCHEMAS:
        others = "player_id is null or trim(player_id) not in (select player_id from main.players)"
        _change(con, f"{schema}.players", "player_name", lambda name: NEW_NAME, own_id)
        _change(con, f"{schema}.players", "player_name", who.without_name, others)
        _change(con, f"{schema}.inspections", "note", lambda note: None, own_racket)
        _change(con, f"{schema}.restrings", "charge_to", lambda payer: None, own_racket)
        _change(con, f"{schema}.rackets", "marking", lambda text: who.clean(text, is_own=True), own_racket)
        _change(con, f"{schema}.calendar", "event", lambda text: who.clean(text, is_own=True), own_id)
    for file, columns in _players_columns(contract).items():
        for column in columns:
            own = f"trim({quoted(column)}) = {literal(who.player_id)}"
            _change(con, f"raw.{quoted(file)}", "unknown_cells", lambda cells: None, own)


def _forget_everywhere(con: duckdb.DuckDBPyConnection, who: Scrubber, contract: Contract) -> None:
    """Take name and number out of every text of every table."""
    players, ids = _players_columns(contract), _ids_of_others(contract)
    for (schema, table), columns in _tables(con).items():
        where_is = f"{schema}.{quoted(table)}"
        for column in columns:
            if column == "player_name":
                continue  # done row by row: another player may bear the same name
            if column in players.get(table, []):
                _change(con, where_is, column, who.as_number)
            elif (table, column) in ids:
                _change(con, where_is, column, who.without_name)
            elif column == "value":
                _change(con, where_is, column, lambda text: who.clean(text, is_list=text.strip() == who.player_id))
            else:
                is_list = column in LISTS
                _change(con, where_is, column, lambda text, is_list=is_list: who.clean(text, is_list))  # type: ignore[misc]


def _draw_new_hashes(con: duckdb.DuckDBPyConnection) -> None:
    """A hash of the old row would tell whether a guess at its text is right: draw another one in its place."""
    con.execute(
        "create temp table hashes as select row_hash as old, md5_number(uuid()::varchar) as new from touched "
        "group by row_hash"
    )
    for schema, table in con.execute(
        "select schema_name, table_name from duckdb_columns() where column_name = 'row_hash' and not internal and "
        "database_name = current_database() and schema_name in ('main', 'history', 'raw')"
    ).fetchall():
        con.execute(
            f"update {schema}.{quoted(table)} as t set row_hash = h.new from hashes as h where t.row_hash = h.old"
        )


def _close_cleanly(path: Path) -> None:
    """Bring what a killed process left in the write-ahead log into the file, so that the file alone is all there is."""
    with duckdb.connect(str(path)) as con:
        con.execute("checkpoint")
    if path.with_name(f"{path.name}.wal").exists():
        raise StoreError(f"{path} was not written whole, so nothing was changed: try again.")


def _rewritten(source: Path, fresh: Path) -> None:
    """Copy a database into a fresh file, without the blocks that it has freed."""
    with duckdb.connect() as con:
        con.execute(f"attach {literal(str(source))} as source (read_only)")
        con.execute(f"attach {literal(str(fresh))} as fresh")
        con.execute("copy from database source to fresh")
        con.execute("checkpoint fresh")


def _remove(folder: Path, *patterns: str) -> None:
    for pattern in patterns:
        for path in folder.glob(pattern):
            if path.is_dir():  # what the database had put aside when it was killed
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)


@dataclass(frozen=True)
class Forgotten:
    """What came of it.

    The number that stands in the player's place, and files of the folder that still hold the name.
    """

    new_id: str
    still_named_in: tuple[str, ...]


def forget(store: Store, player_id: str, by: Person = LOCAL, now: datetime | None = None) -> Forgotten:
    """Take one player's name and number out of the store for good.

    The views are gone afterwards: refresh the store. Copies made earlier (backups, exports, the club's own files) are
    not touched. Raises `StoreError` for a number that is on no row, and `NotAllowedError`.
    """
    require(by, "forget")
    moment = (now or datetime.now(UTC)).astimezone(UTC).replace(tzinfo=None)
    with store.facts():
        pass  # brings a store of an older program up to date, and says so if there is none
    work, fresh = store.folder / WORK_NAME, store.folder / FRESH_NAME
    leftovers = (f"{WORK_NAME}*", f"{FRESH_NAME}*")
    with store.publishing(moment), store.writing(moment):  # a view in the making would bring the name back
        _remove(store.folder, *leftovers)
        try:
            _close_cleanly(store.facts_path)
            shutil.copyfile(store.facts_path, work)
            with duckdb.connect(str(work)) as con:
                con.begin()
                who = _named(con, player_id.strip(), store.contract)
                con.execute("create temp table touched (row_hash UHUGEINT)")
                _forget_own_words(con, who, store.contract)
                _forget_everywhere(con, who, store.contract)
                _draw_new_hashes(con)
                books.note(con, books.next_id(con), "forget", moment, by.name, "one player was forgotten")
                con.commit()
                con.execute("checkpoint")
            _rewritten(work, fresh)
            _remove(store.folder, f"{WORK_NAME}*", *DERIVED)
            fresh.replace(store.facts_path)
        except OSError as error:
            raise StoreError(
                f"{store.folder} could not be written to ({error.strerror or error}): make room."
            ) from error
        finally:
            _remove(store.folder, *leftovers)
    store.log.info("forgot one player")
    return Forgotten(who.new_id, tuple(path.name for path in files_that_name(store.folder, who.names)))


def files_that_name(folder: Path, names: tuple[str, ...]) -> list[Path]:
    """Files of a folder that hold one of the names as plain bytes, such as what the club has put there itself."""
    wanted = [name.encode() for name in names if name]
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_file() and any(name in path.read_bytes() for name in wanted):
            found.append(path)
    return found
