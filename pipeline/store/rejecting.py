"""The problems of one file in, the permanent books of rejects and questions brought up to date.

A reject stays for good. It is marked mended when a later load accepts a row of its key, when the row is tried again and
accepted because what it needed was loaded since, when a later row of its key was refused in its stead, or when the file
it came from is loaded again, mostly as it was, without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import duckdb

from pipeline.contract.resources import Resource
from pipeline.contract.typed import quoted
from pipeline.store.checking import key_text
from pipeline.store.landing import Misshapen

VALUE_CHARACTERS = 200
NO_LONGER_IN_FILE = "the file was loaded again without it"
BY_CORRECTED_ROW = "a later load held a good row of the same key"
BY_LATER_REJECT = "a later row of the same key was refused in its place"
BY_OTHER_FILE = "what it needed was loaded later"


@dataclass(frozen=True)
class Source:
    """The load a file's rows come with."""

    load_id: int
    file_name: str
    resource: Resource
    now: datetime


def _mend(con: duckdb.DuckDBPyConnection, source: Source, how: str, condition: str) -> int:
    rows = con.execute(
        "update rejects set mended_at = $now, mended_how = $how "
        f"where mended_at is null and resource = $resource and ({condition}) returning load_id, line_number",
        {"now": source.now, "how": how, "resource": source.resource.name},
    ).fetchall()
    return len(set(rows))


def _find_mended(con: duckdb.DuckDBPyConnection, source: Source, relation: str) -> int:
    """Mark the open rejects whose key stands in `relation` now."""
    open_keys = f"select key_text from rejects where mended_at is null and resource = '{source.resource.name}'"
    keys = f"select {key_text(source.resource, 'a')} from {relation} as a"
    return _mend(
        con, source, BY_CORRECTED_ROW, f"key_text in (select k from ({keys}) as x(k) where k in ({open_keys}))"
    )


def count_open(con: duckdb.DuckDBPyConnection, resource: Resource) -> int:
    """Open entries of one file in the book of rejects."""
    (count,) = con.execute(
        "select count(*) from rejects where mended_at is null and resource = $resource", {"resource": resource.name}
    ).fetchall()[0]
    return int(count)


def mend_accepted(con: duckdb.DuckDBPyConnection, source: Source) -> int:
    """Mark the rejects of whose key a row has just been accepted."""
    return _find_mended(con, source, "accepted") if count_open(con, source.resource) else 0


def mend_removed(con: duckdb.DuckDBPyConnection, source: Source, count_same: int) -> int:
    """Mark the rejects of an earlier load of this same file that are no longer in it.

    It is the same file if its name is, and if at least half of the rows accepted then are unchanged now.
    """
    if not count_open(con, source.resource):
        return 0
    same_file = (
        "load_id in (select l.load_id from loads as l where l.file = '" + source.file_name.replace("'", "''") + "' "
        f"and l.resource = '{source.resource.name}' and l.load_id <> {source.load_id} "
        f"and l.read > l.rejected and 2 * {count_same} >= l.read - l.rejected)"
    )
    return _mend(con, source, NO_LONGER_IN_FILE, f"{same_file} and row_hash not in (select row_hash from present_rows)")


def note_present(con: duckdb.DuckDBPyConnection) -> None:
    """Make `present_rows`: the hashes of the open rejects' rows that this file holds."""
    con.execute(
        "create or replace temp table present_rows as select distinct row_hash from ("
        "select t.row_hash from typed as t semi join (select row_hash from rejects where mended_at is null) as r "
        "on r.row_hash = t.row_hash union all select row_hash from misshapen_lines)"
    )


def stage_misshapen(con: duckdb.DuckDBPyConnection, source: Source, lines: Sequence[Misshapen]) -> None:
    """Make `misshapen_lines` from lines that have not the header's number of fields, and keep them as raw rows."""
    con.execute("create or replace temp table misshapen_lines (line_number BIGINT, cells VARCHAR, row_hash UHUGEINT)")
    for start in range(0, len(lines), 10_000):
        part = lines[start : start + 10_000]
        con.execute(
            "insert into misshapen_lines select n, c, md5_number(c) "
            "from (select unnest($numbers::bigint[]) as n, unnest($cells::varchar[]) as c)",
            {"numbers": [line.line_number for line in part], "cells": [line.as_json for line in part]},
        )
    con.execute(
        "insert into raw.misshapen select $resource, m.cells, m.row_hash, $load_id, m.line_number, $now "
        "from misshapen_lines as m anti join raw.misshapen as r on r.row_hash = m.row_hash and r.resource = $resource",
        {"resource": source.resource.name, "load_id": source.load_id, "now": source.now},
    )


def _problem_rows(resource: Resource, count_columns: int) -> str:
    """SQL of everything refused in this file, in the form of the book."""
    key = key_text(resource, "t")
    return (
        "select p.load_id, p.line_number, p.column_name, p.value, p.message, p.is_elsewhere, p.row_hash, "
        f"{key} as key_text from problems as p "
        "join typed as t on t.load_id = p.load_id and t.line_number = p.line_number where not p.is_question "
        "union all select $load_id, m.line_number, '', left(m.cells, 200), "
        "'this line has ' || json_array_length(m.cells) || ' fields where the header line has "
        f"{count_columns}: look for a separator too many or too few, or text with a separator that needs "
        "quote marks.', "
        "false, m.row_hash, null from misshapen_lines as m"
    )


def record_rejects(con: duckdb.DuckDBPyConnection, source: Source, count_columns: int) -> None:
    """Write what was refused into the book; a row refused before keeps its entry, with the place it was last seen at.

    One entry a row and column; the same bad row twice in a file has two entries (`occurrence`).
    """
    con.execute(
        "create or replace temp table refused_now as "
        f"select * replace (left(value, {VALUE_CHARACTERS}) as value), "
        "dense_rank() over (partition by row_hash order by line_number) as occurrence "
        f"from ({_problem_rows(source.resource, count_columns)}) "
        "qualify row_number() over (partition by row_hash, line_number, column_name order by message) = 1",
        {"load_id": source.load_id},
    )
    (count,) = con.execute("select count(*) from refused_now").fetchall()[0]
    if not count:
        return
    same_entry = (
        "r.resource = $resource and r.row_hash = n.row_hash and r.column_name = n.column_name "
        "and r.occurrence = n.occurrence"
    )
    named = {"resource": source.resource.name, "now": source.now, "file": source.file_name}
    con.execute(
        "update rejects as r set load_id = n.load_id, loaded_at = $now, file = $file, line_number = n.line_number, "
        "value = n.value, message = n.message, is_elsewhere = n.is_elsewhere, mended_at = null, mended_how = null "
        f"from refused_now as n where {same_entry}",
        named,
    )
    con.execute(
        f"update rejects as r set mended_at = $now, mended_how = '{BY_LATER_REJECT}' from refused_now as n "
        "where r.mended_at is null and r.resource = $resource and r.key_text = n.key_text "
        "and r.load_id < n.load_id and r.row_hash not in (select row_hash from refused_now)",
        {"resource": source.resource.name, "now": source.now},
    )
    con.execute(
        "insert into rejects select nextval('reject_ids'), $resource, n.load_id, $now, $file, n.line_number, "
        "n.column_name, "
        "n.value, n.message, n.is_elsewhere, n.row_hash, n.occurrence, n.key_text, $now, null, null from "
        "refused_now as n "
        f"anti join rejects as r on {same_entry} order by n.line_number, n.column_name",
        named,
    )


def record_questions(con: duckdb.DuckDBPyConnection, source: Source) -> int:
    """Write what was questioned in rows that were kept; the count of new entries."""
    rows = con.execute(
        "insert into questions select $resource, p.load_id, $now, $file, p.line_number, p.column_name, "
        f"left(p.value, {VALUE_CHARACTERS}), p.message, p.row_hash "
        "from problems as p anti join refused_lines as r on r.load_id = p.load_id and r.line_number = p.line_number "
        "anti join questions as q on q.resource = $resource and q.row_hash = p.row_hash and q.column_name = "
        "p.column_name "
        "where p.is_question order by p.line_number returning line_number",
        {"resource": source.resource.name, "now": source.now, "file": source.file_name},
    ).fetchall()
    return len(rows)


def stage_retries(con: duckdb.DuckDBPyConnection, resource: Resource) -> int:
    """Make `staged` from the open rejects whose every cause lies in another file; the count of such rows."""
    con.execute(
        "create or replace temp table retried as select row_hash, max(load_id) as load_id, max(line_number) "
        "as line_number, "
        "any_value(key_text) as key_text, any_value(file) as file from rejects "
        "where mended_at is null and resource = $resource group by row_hash having bool_and(is_elsewhere)",
        {"resource": resource.name},
    )
    cells = ", ".join(f"w.{quoted(field.name)}" for field in resource.fields)
    con.execute(
        f"create or replace temp table retried_rows as select y.load_id, y.line_number, {cells}, w.unknown_cells, "
        f"w.is_decimal_comma, w.row_hash from raw.{quoted(resource.name)} as w join retried as y on "
        "y.row_hash = w.row_hash"
    )
    con.execute("create or replace temp view staged as from retried_rows")
    (count,) = con.execute("select count(*) from retried_rows").fetchall()[0]
    return int(count)


def mend_retried(con: duckdb.DuckDBPyConnection, source: Source) -> int:
    """Mark the tried rows that were accepted."""
    return _mend(con, source, BY_OTHER_FILE, "row_hash in (select row_hash from accepted)")
