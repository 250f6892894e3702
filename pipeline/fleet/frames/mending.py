"""Rows that were turned away, as they stood in their file, to be mended on the screen.

In: a connection with the facts attached as `facts`, a file's name in the contract. Out: one line a row, every cell as
text under the contract's columns, the sentences that say what to mend beside it; and from the mended grid the rows to
write down.
"""

from __future__ import annotations

from typing import Any

import duckdb
import pandas as pd

from pipeline.contract import load_contract
from pipeline.fleet import words

SAID = "what to mend"
MOST_ROWS = 200


def resources_to_mend(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """File by file, how many rows wait to be mended: resource -> 'restrings.csv, 4 rows'."""
    found = con.sql(
        "select resource, count(distinct (load_id, line_number)) from facts.rejects "
        "where mended_at is null and resource is not null group by resource order by resource"
    ).fetchall()
    known = load_contract().resources
    return {name: f"{known[name].file_name}, {words.count(rows, 'row')}" for name, rows in found if name in known}


def rows_to_mend(con: duckdb.DuckDBPyConnection, resource: str) -> pd.DataFrame:
    """The newest rows first; empty columns that need no word are left out of sight."""
    declared = load_contract().resources[resource]
    columns = ", ".join(f'r."{field.name}"' for field in declared.fields)
    found = con.execute(
        f"""with said as (
            select load_id, line_number, string_agg(message, '; ' order by column_name) as said,
                list(column_name) as columns
            from facts.rejects where mended_at is null and resource = $resource group by load_id, line_number)
        select s.said as "{SAID}", s.columns as wrong, {columns}
        from said as s join facts.raw."{resource}" as r using (load_id, line_number)
        order by load_id desc, line_number limit {MOST_ROWS}""",
        {"resource": resource},
    ).df()
    wrong = {name for names in found["wrong"] for name in names}
    kept = [
        field.name
        for field in declared.fields
        if field.is_required or field.name in wrong or found[field.name].fillna("").ne("").any()
    ]
    return found[[SAID, *kept]].fillna("")


def mended_rows(before: pd.DataFrame, after: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows in which something was changed, with the cells that hold something."""
    changed = (before.drop(columns=SAID) != after.drop(columns=SAID).fillna("")).any(axis=1)
    rows = after[changed].drop(columns=SAID).fillna("").to_dict("records")
    return [{str(name): value for name, value in row.items() if str(value).strip()} for row in rows]
