"""An act (rows typed in, or a row struck) in, the records as before it out; the act itself stays on the books.

New rows leave the clean tables and stand in the history as undone; corrected and struck rows come back as they were,
with the load they came from. Refused where something later was built on it.
"""

from __future__ import annotations

from datetime import datetime

import duckdb

from pipeline.contract.resources import Contract, Resource
from pipeline.contract.typed import clean_columns, quoted
from pipeline.store import books
from pipeline.store.checking import key_text, same_key
from pipeline.store.errors import StoreError
from pipeline.store.rejecting import BY_CORRECTED_ROW
from pipeline.store.schema import PROVENANCE


def resources_of(con: duckdb.DuckDBPyConnection, contract: Contract, act_id: int) -> list[Resource]:
    """The files that an act wrote to, each after those that refer to it; raises where there is nothing to undo."""
    rows = con.execute(
        "select kind, what, undone_by_act from acts where act_id = $act_id", {"act_id": act_id}
    ).fetchall()
    if not rows:
        raise StoreError(f"there is no entry {act_id}: choose one of the list of entries.")
    kind, what, undone_by = rows[0]
    if undone_by is not None:
        raise StoreError(f"entry {act_id} ({what}) has been undone already: nothing was changed.")
    if kind not in ("entry", "strike"):
        raise StoreError(f"{act_id} ({what}) is not an entry that can be undone: correct the rows, or strike them.")
    numbers = _numbers(con, act_id)
    touched = [resource for resource in contract.resources.values() if _count(con, resource, numbers)]
    return touched[::-1]


def _numbers(con: duckdb.DuckDBPyConnection, act_id: int) -> str:
    loads = con.execute("select load_id from loads where entry_id = $act_id", {"act_id": act_id}).fetchall()
    return ", ".join(str(number) for number in (act_id, *(row[0] for row in loads)))


def _count(con: duckdb.DuckDBPyConnection, resource: Resource, numbers: str) -> int:
    name = quoted(resource.name)
    (count,) = con.execute(
        f"select (select count(*) from main.{name} where load_id in ({numbers})) + "
        f"(select count(*) from history.{name} where load_id in ({numbers}) or replaced_by_load in ({numbers}))"
    ).fetchall()[0]
    return int(count)


def _refuse_if_changed_since(con: duckdb.DuckDBPyConnection, resource: Resource, numbers: str) -> None:
    key = " || ' ' || ".join(f"coalesce(cast({quoted(name)} as varchar), '')" for name in resource.key)
    later = con.execute(
        f"select trim({key}) from history.{quoted(resource.name)} where load_id in ({numbers}) "
        f"and replaced_by_load not in ({numbers}) limit 1"
    ).fetchall()
    if later:
        raise StoreError(
            f"{resource.file_name} {later[0][0]} was changed again after this entry, so the entry stays: undo the "
            "later change first, or correct the row."
        )
    taken = con.execute(
        f"select trim({key}) from history.{quoted(resource.name)} as h where replaced_by_load in ({numbers}) and "
        f"replaced_how = 'struck' and exists (from main.{quoted(resource.name)} as c where "
        f"{same_key(resource, 'c', 'h')} and load_id not in ({numbers})) limit 1"
    ).fetchall()
    if taken:
        raise StoreError(f"{resource.file_name} {taken[0][0]} was recorded anew since, so it stays as it is now.")


def _take_back(con: duckdb.DuckDBPyConnection, resource: Resource, numbers: str, act_id: int, now: datetime) -> int:
    """Move what the act made to the history and what it replaced back; the count of rows touched.

    Makes the temporary tables `gone_<resource>` and `back_<resource>`.
    """
    name = quoted(resource.name)
    gone, back = quoted(f"gone_{resource.name}"), quoted(f"back_{resource.name}")
    columns = ", ".join(quoted(column) for column in (*clean_columns(resource), *PROVENANCE))
    con.execute(f"create or replace temp table {gone} as from main.{name} where load_id in ({numbers})")
    con.execute(f"create or replace temp table {back} as from history.{name} where replaced_by_load in ({numbers})")
    con.execute(f"delete from main.{name} where load_id in ({numbers})")
    con.execute(f"delete from history.{name} where replaced_by_load in ({numbers})")
    con.execute(
        f"insert into history.{name} select {columns}, $now, $act_id, 'undone' from {gone}",
        {"now": now, "act_id": act_id},
    )
    con.execute(f"insert into main.{name} select {columns} from {back}")
    (count,) = con.execute(
        f"select count(*) from (select {', '.join(map(quoted, resource.key_columns))} from {gone} union "
        f"select {', '.join(map(quoted, resource.key_columns))} from {back})"
    ).fetchall()[0]
    return int(count)


def _refuse_if_named(con: duckdb.DuckDBPyConnection, contract: Contract, touched: list[Resource]) -> None:
    """No row may be left with an id that is in no file, neither one that stays nor one that came back."""
    names = {resource.name for resource in touched}
    for other in contract.resources.values():
        for key in other.foreign_keys:
            known = (
                f"(select {quoted(key.target)} from main.{quoted(key.resource)} where {quoted(key.target)} is not null)"
            )
            sources = []
            if key.resource in names:
                left = f"(select {quoted(key.target)} from {quoted('gone_' + key.resource)})"
                field = quoted(key.field)
                sources.append(f"select {field} as id from main.{quoted(other.name)} where {field} in {left}")
            if other.name in names:
                sources.append(f"select {quoted(key.field)} as id from {quoted('back_' + other.name)}")
            for source in sources:
                (count, example) = con.execute(
                    f"select count(*), min(id) from ({source}) where id is not null and id not in {known}"
                ).fetchall()[0]
                if count:
                    raise StoreError(
                        f"{count} {'row' if count == 1 else 'rows'} of {other.file_name} would name {example} under "
                        f"{key.field}, which would be in no file, so the entry stays: strike or correct "
                        f"{'that row' if count == 1 else 'those rows'} first."
                    )


def undo(con: duckdb.DuckDBPyConnection, contract: Contract, act_id: int, now: datetime, by: str) -> str:
    """Take an act back, in the caller's transaction; what was taken back, in words."""
    touched = resources_of(con, contract, act_id)
    numbers = _numbers(con, act_id)
    (what, acted_at) = con.execute(
        "select what, acted_at from acts where act_id = $act_id", {"act_id": act_id}
    ).fetchall()[0]
    undo_id = books.next_id(con)
    done = []
    for resource in touched:
        _refuse_if_changed_since(con, resource, numbers)
        done.append(books.rows_in_words(resource.file_name, _take_back(con, resource, numbers, undo_id, now), []))
    _refuse_if_named(con, contract, touched)
    for resource in touched:
        con.execute(
            "update rejects set mended_at = null, mended_how = null where resource = $resource "
            "and mended_at = $acted_at and mended_how = $how and key_text in (select "
            f"{key_text(resource, 'g')} from {quoted('gone_' + resource.name)} as g)",
            {"resource": resource.name, "acted_at": acted_at, "how": BY_CORRECTED_ROW},
        )
    said = ", ".join(done[::-1]) or "nothing, for it had changed nothing"
    books.note(con, undo_id, "undo", now, by, f"undone: {what}")
    con.execute(
        "update acts set undone_by_act = $undo_id where act_id = $act_id", {"undo_id": undo_id, "act_id": act_id}
    )
    return said
