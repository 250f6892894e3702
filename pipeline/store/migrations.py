"""A facts file of any earlier version in, the same file at the current version out, in one transaction of the caller's.

Each migration is numbered, applied once and in order; the number reached is kept in `store_info`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import duckdb

from pipeline import __version__
from pipeline.contract.resources import load_contract
from pipeline.store.errors import StoreError
from pipeline.store.schema import create_store
from pipeline.store.sql import statements


@dataclass(frozen=True)
class Migration:
    """A step from version `number - 1` to `number`."""

    number: int
    title: str
    apply: Callable[[duckdb.DuckDBPyConnection], None]


def _keep_who(con: duckdb.DuckDBPyConnection) -> None:
    for statement in statements("books_2.sql"):
        con.execute(statement)


MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "the tables of an empty store", create_store),
    Migration(2, "who wrote what, and the acts by hand", _keep_who),
)


def schema_version(con: duckdb.DuckDBPyConnection) -> int:
    """The version a facts file stands at; 0 for an empty one."""
    is_there = con.execute(
        "select count(*) from duckdb_tables() where schema_name = 'main' and table_name = 'store_info' and not internal"
    ).fetchall()[0][0]
    if not is_there:
        return 0
    rows = con.execute("select value from store_info where key = 'schema_version'").fetchall()
    return int(rows[0][0]) if rows else 0


def refuse_newer(version: int, where: str, migrations: Sequence[Migration] = MIGRATIONS) -> None:
    """Raise for a store written by a later program."""
    latest = migrations[-1].number
    if version > latest:
        raise StoreError(
            f"{where} was written by a newer program (store version {version}, this one knows {latest}): "
            "update racket-fleet; nothing was changed."
        )


def migrate(con: duckdb.DuckDBPyConnection, where: str, migrations: Sequence[Migration] = MIGRATIONS) -> int:
    """Bring the facts file that `con` writes to up to date; the version it stands at then."""
    version = schema_version(con)
    refuse_newer(version, where, migrations)
    for migration in migrations:
        if migration.number > version:
            migration.apply(con)
            _note(con, "schema_version", str(migration.number))
    _note(con, "contract_version", load_contract().version)
    _note(con, "written_by", __version__)
    return migrations[-1].number


def _note(con: duckdb.DuckDBPyConnection, key: str, value: str) -> None:
    current = con.execute("select value from store_info where key = $key", {"key": key}).fetchall()
    if current != [(value,)]:
        con.execute("insert or replace into store_info values ($key, $value)", {"key": key, "value": value})
