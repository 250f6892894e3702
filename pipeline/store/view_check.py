"""Two published views in, in which tables they differ out: numbers may differ by rounding, everything else may not."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd

from pipeline.contract.typed import quoted
from pipeline.store.store import Store

OWN = ("view_version", "built_at")
"""What of `meta` belongs to one view alone."""
RELATIVE = 1e-9
ABSOLUTE = 1e-9


def _tables(con: duckdb.DuckDBPyConnection) -> list[str]:
    rows = con.execute(
        "select table_name from duckdb_tables() where database_name = current_catalog() order by table_name"
    ).fetchall()
    return [name for (name,) in rows]


def _frame(con: duckdb.DuckDBPyConnection, table: str) -> pd.DataFrame:
    where = f"where key not in ({', '.join(repr(key) for key in OWN)})" if table == "meta" else ""
    return con.execute(f"select * from {quoted(table)} {where} order by all").df()


def differs(one: pd.DataFrame, other: pd.DataFrame) -> str | None:
    """In what two frames differ, in words; None where they are the same but for rounding."""
    if list(one.columns) != list(other.columns):
        return "other columns"
    if len(one) != len(other):
        return f"{len(one)} rows, and {len(other)} when worked out anew"
    for column in one.columns:
        left, right = one[column], other[column]
        if pd.api.types.is_float_dtype(left) and pd.api.types.is_float_dtype(right):
            same = np.allclose(left.to_numpy(), right.to_numpy(), rtol=RELATIVE, atol=ABSOLUTE, equal_nan=True)
        else:
            same = list(left.astype(object).where(left.notna(), None)) == list(
                right.astype(object).where(right.notna(), None)
            )
        if not same:
            return f"other values of {column}"
    return None


def compare_views(store: Store, again: Store) -> list[str]:
    """A sentence for each table in which the first store's view is not the second's."""
    one, other = store.view(), again.view()
    try:
        tables, anew = _tables(one), _tables(other)
        findings = [f"the view has no table {name}: run `racket-fleet refresh`." for name in anew if name not in tables]
        for table in (name for name in tables if name in anew):
            found = differs(_frame(one, table), _frame(other, table))
            if found:
                findings.append(f"table {table} of the view has {found}: run `racket-fleet refresh`.")
        return findings
    finally:
        one.close()
        other.close()
