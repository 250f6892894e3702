"""The key of a recorded row in, that row taken back: it leaves the clean table and stays in the history as struck.

Loaded again with the same values it stays out; with other values it is recorded anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import duckdb

from pipeline.contract.resources import Contract, Resource
from pipeline.contract.typed import quoted
from pipeline.store import books
from pipeline.store.errors import StoreError


def _key_shown(resource: Resource) -> str:
    return " ".join(f"<{name}>" for name in resource.key)


def _find(con: duckdb.DuckDBPyConnection, resource: Resource, key: Sequence[str]) -> list[int]:
    """Row ids of the rows whose key parts read as given; a part left out at the end is empty or free."""
    if not 1 <= len(key) <= len(resource.key):
        raise StoreError(
            f"a row of {resource.file_name} is named by {_key_shown(resource)}: give these, in this order."
        )
    conditions = [
        f"coalesce(cast({quoted(name)} as varchar), '') = ${place}"
        for place, name in enumerate(resource.key[: len(key)], 1)
    ]
    rows = con.execute(
        f"select rowid from main.{quoted(resource.name)} where {' and '.join(conditions)}",
        [part.strip() for part in key],
    ).fetchall()
    return [row[0] for row in rows]


def _refuse_if_named(con: duckdb.DuckDBPyConnection, contract: Contract, resource: Resource, rowid: int) -> None:
    """Other rows may not be left with an id that is in no file."""
    for other in contract.resources.values():
        for key in other.foreign_keys:
            if key.resource != resource.name:
                continue
            table = f"main.{quoted(resource.name)}"
            target = f"(select {quoted(key.target)} from {table} where rowid = {rowid})"
            (is_last,) = con.execute(
                f"select count(*) = 1 from {table} where {quoted(key.target)} = {target}"
            ).fetchall()[0]
            (count,) = con.execute(
                f"select count(*) from main.{quoted(other.name)} where {quoted(key.field)} = {target}"
            ).fetchall()[0]
            if is_last and count:
                raise StoreError(
                    f"{count} {'row' if count == 1 else 'rows'} of {other.file_name} name it under "
                    f"{key.field}, so it was "
                    "kept: strike those first, or give the racket or player a last day instead."
                )


def strike(
    con: duckdb.DuckDBPyConnection, contract: Contract, file: str, key: Sequence[str], now: datetime, by: str
) -> str:
    """Take back one row; the row in words. `file` is a resource's name, with or without .csv."""
    name = file.lower().removesuffix(".csv")
    if name not in contract.resources:
        raise StoreError(f"there is no file {file!r}: it is one of {', '.join(contract.resources)}.")
    resource = contract.resources[name]
    found = _find(con, resource, key)
    shown = " ".join(key)
    if not found:
        raise StoreError(f"{resource.file_name} has no current row {shown}: check the key ({_key_shown(resource)}).")
    if len(found) > 1:
        raise StoreError(
            f"{len(found)} rows of {resource.file_name} begin with {shown}: give the whole key "
            f"({_key_shown(resource)})."
        )
    (rowid,) = found
    _refuse_if_named(con, contract, resource, rowid)
    act_id = books.next_id(con)
    con.execute(
        f"insert into history.{quoted(name)} select *, $now, $act_id, 'struck' from main.{quoted(name)} where "
        f"rowid = {rowid}",
        {"now": now, "act_id": act_id},
    )
    con.execute(f"delete from main.{quoted(name)} where rowid = {rowid}")
    books.note(con, act_id, "strike", now, by, f"struck {resource.file_name} {shown}")
    return f"{resource.file_name} {shown}"
