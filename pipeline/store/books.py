"""The store's book of acts: who did what by hand, in words; and the numbers that loads and acts share.

In: a connection that writes to the facts. An act is an entry (rows typed in), strike, undo, or mended (rejects that a
load of another file let in). Every row of a clean or history table leads by its load_id or replaced_by_load to a load
or an act, and so to who wrote it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

import duckdb

from pipeline.contract.resources import Resource

if TYPE_CHECKING:
    from pipeline.store.merging import Merged

# SQL: number of a load or an act, and who did it
WHO = "(select load_id as number, recorded_by from facts.loads union all select act_id, recorded_by from facts.acts)"


def next_id(con: duckdb.DuckDBPyConnection) -> int:
    """The next number of a load or an act."""
    (number,) = con.execute("select nextval('load_ids')").fetchall()[0]
    return int(number)


def note(con: duckdb.DuckDBPyConnection, act_id: int, kind: str, now: datetime, by: str, what: str) -> None:
    """Write one act into the book."""
    con.execute(
        "insert into acts values ($act_id, $kind, $now, $by, $what, null)",
        {"act_id": act_id, "kind": kind, "now": now, "by": by, "what": what},
    )


def rows_in_words(file_name: str, count: int, keys: list[str]) -> str:
    """Such as `2 rows of practices.csv (W1 P1, W2 P1)`; three keys are named at most."""
    named = ", ".join(keys[:3]) + (", ..." if len(keys) > 3 else "")
    return f"{count} {'row' if count == 1 else 'rows'} of {file_name}" + (f" ({named})" if named else "")


def mended_in_words(resource: Resource, merged: Merged) -> str:
    """What became of rejects that were tried again."""
    count = merged.new + merged.corrected
    return f"{rows_in_words(resource.file_name, count, [])} that had been rejected could be kept"


def entry_in_words(counts: Mapping[str, tuple[int, int, int]], keys: Mapping[str, list[str]]) -> str:
    """What was typed in; `counts`: file name -> new, corrected, unchanged."""
    parts = []
    for file_name, (new, corrected, unchanged) in counts.items():
        done = [f"{n} {word}" for n, word in ((new, "new"), (corrected, "corrected"), (unchanged, "unchanged")) if n]
        shown = keys.get(file_name, [])
        named = ", ".join(shown[:3]) + (", ..." if len(shown) > 3 else "")
        parts.append(f"{file_name}: {', '.join(done) or 'nothing'}" + (f" ({named})" if named else ""))
    return "; ".join(parts)
