"""Typed rows without problems in, the clean table brought up to date: new, corrected and unchanged rows, the old kept.

The latest load wins: a row that differs from the current one of its key replaces it, and the replaced row goes to the
history. A row that was struck stays struck while it is loaded with the values it had; with other values it is new.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import duckdb

from pipeline.contract.resources import Resource
from pipeline.contract.typed import clean_columns, quoted
from pipeline.store.checking import same_key


@dataclass(frozen=True)
class Merged:
    """Counts of rows: `repeated` (the same row twice in one file) and `struck` (taken back earlier) changed nothing."""

    new: int
    corrected: int
    unchanged: int
    repeated: int
    struck: int
    went_back: int  # of the corrected: rows that took a value again that an earlier load had replaced

    @property
    def accepted(self) -> int:
        """Rows that were not refused, whatever became of them."""
        return self.new + self.corrected + self.unchanged + self.repeated + self.struck


def _count(con: duckdb.DuckDBPyConnection, query: str) -> int:
    (count,) = con.execute(query).fetchall()[0]
    return int(count)


def _same_values(resource: Resource, one: str, other: str) -> str:
    return " and ".join(
        f"{one}.{quoted(name)} is not distinct from {other}.{quoted(name)}" for name in clean_columns(resource)
    )


def _accept(con: duckdb.DuckDBPyConnection, resource: Resource) -> int:
    """Make the view `accepted`; the count of rows left out because the file holds them twice."""
    con.execute(
        "create or replace temp table refused_lines as "
        "select distinct load_id, line_number from problems where not is_question"
    )
    con.execute(
        "create or replace temp table repeats as select load_id, line_number from ("
        "select t.load_id, t.line_number, row_number() over (partition by "
        f"{', '.join(f't.{quoted(name)}' for name in resource.key_columns)} order by t.line_number) as place "
        f"from typed as t join shared_keys as c on {same_key(resource, 't', 'c')} "
        "anti join refused_lines as r on r.load_id = t.load_id and r.line_number = t.line_number"
        ") where place > 1"
    )
    con.execute(
        "create or replace temp view accepted as select t.* from typed as t "
        "anti join (from refused_lines union all from repeats) as r "
        "on r.load_id = t.load_id and r.line_number = t.line_number"
    )
    return _count(con, "select count(*) from repeats")


def _judge(con: duckdb.DuckDBPyConnection, resource: Resource, is_typed_in: bool) -> None:
    """Make `judged`: the accepted rows, what becomes of each, and where the current row of its key lies."""
    table = quoted(resource.name)
    con.execute(
        "create or replace temp table judged as select a.*, c.rowid as current_rowid, "
        f"case when c.load_id is null then 'new' when {_same_values(resource, 'a', 'c')} then 'unchanged' "
        f"else 'corrected' end as verdict from accepted as a left join main.{table} as c on "
        f"{same_key(resource, 'a', 'c')}"
    )
    if is_typed_in:
        return
    con.execute(
        "update judged set verdict = 'struck' from (select * from "
        f"(select *, row_number() over (partition by {', '.join(quoted(name) for name in resource.key_columns)} "
        f"order by coalesce(replaced_by_load, load_id) desc) as place from history.{table}) where place = 1 and "
        "replaced_how = 'struck') "
        f"as h where judged.verdict = 'new' and {_same_values(resource, 'judged', 'h')}"
    )


def merge(
    con: duckdb.DuckDBPyConnection, resource: Resource, load_id: int, now: datetime, is_typed_in: bool = False
) -> Merged:
    """Bring `main.<resource>` up to date with `typed` less `problems`; `now` is the instant written beside each row.

    `is_typed_in`: someone wrote these very rows just now, so a row that was struck comes back.
    """
    table = quoted(resource.name)
    names = ", ".join(quoted(name) for name in clean_columns(resource))
    repeated = _accept(con, resource)
    is_first = _count(con, f"select count(*) from (from main.{table} limit 1)") == 0
    is_first = is_first and _count(con, f"select count(*) from (from history.{table} limit 1)") == 0
    if is_first:
        # in any order: whoever needs one asks for it, and a first load may hold millions of rows
        source = "accepted" if repeated or _count(con, "select count(*) from refused_lines") else "typed"
        con.execute(
            f"insert into main.{table} select {names}, load_id, line_number, $now from {source}",
            {"now": now},
        )
        new = _count(con, f"select count(*) from main.{table}")
        return Merged(new, 0, 0, repeated, 0, 0)
    _judge(con, resource, is_typed_in)
    counts = dict(con.execute("select verdict, count(*) from judged group by verdict").fetchall())
    went_back = 0
    if counts.get("corrected"):
        went_back = _count(
            con,
            f"select count(*) from judged as j semi join history.{table} as h on {_same_values(resource, 'j', 'h')} "
            "where j.verdict = 'corrected'",
        )
        con.execute(
            f"insert into history.{table} select c.*, $now, $load_id, 'corrected' from main.{table} as c "
            "where c.rowid in (select current_rowid from judged where verdict = 'corrected')",
            {"now": now, "load_id": load_id},
        )
        con.execute(
            f"delete from main.{table} where rowid in (select current_rowid from judged where verdict = 'corrected')"
        )
    con.execute(
        f"insert into main.{table} select {names}, load_id, line_number, $now from judged "
        "where verdict in ('new', 'corrected') order by line_number",
        {"now": now},
    )
    return Merged(
        counts.get("new", 0),
        counts.get("corrected", 0),
        counts.get("unchanged", 0),
        repeated,
        counts.get("struck", 0),
        went_back,
    )
