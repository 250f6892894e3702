"""The relations of the pipeline: one readable .sql file each, run in dependency order.

In: a DuckDB connection with the club's clean tables attached as `facts`, the day of the forecast's origin, and the
numbers the relations use. Out: a table of the same name as each file, in the connection's own catalog.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from importlib.resources import files

import duckdb

# what happened, free of any weight
RECORDED = (
    "player_spans",
    "racket_spans",
    "restrings_clean",
    "string_beds",
    "shop_visits",
    "beds",
    "bed_starts",
    "sessions_logged",
    "assumed_play",
    "sessions",
    "sessions_described",
    "sessions_valid",
    "usage_months",
    "session_beds",
    "bed_players",
    "bed_looks",
    "bed_play",
    "rackets_now",
)
# what it cost the beds
WEIGHTED = (
    "session_hours",
    "bed_days",
    "bed_steps",
    "player_days",
    "calendar_days",
    "next_events",
)
ORDER = RECORDED + WEIGHTED
# relations that are no more than another way to read others: worked out when asked for
VIEWS = ("sessions_logged", "sessions", "session_hours", "bed_play", "bed_steps")

# A sum of floating-point numbers depends on the order in which they are added, and with it on rows that have nothing to
# do with it; a sum of whole billionths does not. The rounding is below half a billionth of an hour a row.
EXACT_SUM = "create or replace macro exact_sum(p_number) as sum((p_number * 1e9)::bigint)::double / 1e9"

WeightRow = tuple[str, str, float, float]


def relation_text(name: str) -> str:
    """The text of one relation's file."""
    return files(__package__).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def last_logged_day(con: duckdb.DuckDBPyConnection) -> date | None:
    """The latest day on which anything happened on file (plans ahead do not count), or None for an empty store."""
    row = con.execute(relation_text("last_logged_day")).fetchone()
    return row[0] if row else None


def run_relations(
    con: duckdb.DuckDBPyConnection, as_of: date, values: Iterable[tuple[str, float]], weights: Iterable[WeightRow]
) -> None:
    """Build every relation as known on `as_of`.

    values: (name, number) of the reference values the relations read. weights: (feature, level, abrasion, playability).
    """
    con.execute(EXACT_SUM)
    con.execute("create or replace table origin as select ?::date as as_of", [as_of])
    con.execute("create or replace table reference_values (name varchar, value double)")
    _insert(con, "reference_values", [list(v) for v in values])
    for name in RECORDED:
        _build(con, name)
    run_weighted(con, weights)


def run_weighted(con: duckdb.DuckDBPyConnection, weights: Iterable[WeightRow]) -> None:
    """Build again what depends on the session weights."""
    con.execute(
        "create or replace table session_weights (feature varchar, level varchar, abrasion double, playability double)"
    )
    _insert(con, "session_weights", [list(w) for w in weights])
    for name in WEIGHTED:
        _build(con, name)


def _build(con: duckdb.DuckDBPyConnection, name: str) -> None:
    kind = "view" if name in VIEWS else "table"
    con.execute(f"create or replace {kind} {name} as\n{relation_text(name)}")


def _insert(con: duckdb.DuckDBPyConnection, table: str, rows: list[list[object]]) -> None:
    if rows:
        marks = ", ".join("(" + ", ".join("?" for _ in row) + ")" for row in rows)
        con.execute(f"insert into {table} values {marks}", [cell for row in rows for cell in row])
