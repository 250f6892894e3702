"""A club put straight into an in-memory facts schema: rows as dicts, columns as in the contract.

In: a table's name and rows. Out: rows in `facts.<table>`. A date may carry a time ("2026-03-14T17:30"): the day
goes to the column, the instant to its companion. loaded_at and line_number follow the order in which rows are put.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import duckdb

from pipeline.sql import run_relations
from pipeline.store.schema import create_tables
from pipeline.wear.reference import VALUES, session_weight_rows

Row = dict[str, object]

PLAYER: Row = {"player_name": "A Player", "squad": "U16", "level": "regional", "spin": "moderate"}
RACKET: Row = {
    "frame": "Frame A",
    "head_cm2": 632,
    "mains": 16,
    "crosses": 19,
    "role": "match",
    "in_service_on": "2025-01-01",
}
STRINGS: tuple[Row, ...] = (
    {"string_id": "poly", "string_name": "Poly", "material": "polyester", "gauge_mm": 1.25, "profile": "round"},
    {
        "string_id": "poly_thick",
        "string_name": "Poly 130",
        "material": "polyester",
        "gauge_mm": 1.30,
        "profile": "round",
    },
    {
        "string_id": "poly_thin",
        "string_name": "Poly 115",
        "material": "polyester",
        "gauge_mm": 1.15,
        "profile": "round",
    },
    {
        "string_id": "poly_shaped",
        "string_name": "Poly hex",
        "material": "polyester",
        "gauge_mm": 1.25,
        "profile": "shaped",
    },
    {"string_id": "multi", "string_name": "Multi", "material": "multifilament", "gauge_mm": 1.30, "profile": "round"},
    {
        "string_id": "multi_125",
        "string_name": "Multi 125",
        "material": "multifilament",
        "gauge_mm": 1.25,
        "profile": "round",
    },
)


def empty_club() -> duckdb.DuckDBPyConnection:
    """An in-memory connection with empty clean tables under `facts`."""
    con = duckdb.connect()
    create_tables(con, "facts")
    return con


def put(con: duckdb.DuckDBPyConnection, table: str, rows: Iterable[Row]) -> None:
    """Append rows to facts.<table>; a column that is left out stays empty."""
    found = con.execute(f"select count(*) from facts.{table}").fetchone()
    line = (found[0] if found else 0) + 2  # the header is line 1
    groups: dict[tuple[str, ...], list[object]] = {}
    for row in rows:
        cells: Row = {}
        for name, value in row.items():
            is_day = name == "since" or name.endswith("_on")
            cells[name] = str(value)[:10] if is_day and value is not None else value
            if is_day and isinstance(value, str) and "T" in value:
                cells[f"{name}_at"] = value
        cells |= {"load_id": 1, "line_number": line, "loaded_at": "2026-01-01T00:00:00"}
        line += 1
        groups.setdefault(tuple(cells), []).extend(cells.values())
    for columns, values in groups.items():
        names = ", ".join(f'"{c}"' for c in columns)
        marks = "(" + ", ".join("?" for _ in columns) + ")"
        many = ", ".join([marks] * (len(values) // len(columns)))
        con.execute(f"insert into facts.{table} ({names}) values {many}", values)


def players(con: duckdb.DuckDBPyConnection, *ids: str, **changes: object) -> None:
    put(con, "players", [PLAYER | {"player_id": i} | changes for i in ids])


def rackets(con: duckdb.DuckDBPyConnection, *pairs: tuple[str, str | None], **changes: object) -> None:
    """rackets(con, ("R1", "P1"), ...): racket and holder."""
    put(con, "rackets", [RACKET | {"racket_id": r, "player_id": p} | changes for r, p in pairs])


def strung(
    con: duckdb.DuckDBPyConnection,
    restring_id: str,
    racket_id: str,
    strung_on: str,
    reason: str = "first",
    **more: object,
) -> None:
    row: Row = {
        "restring_id": restring_id,
        "racket_id": racket_id,
        "strung_on": strung_on,
        "mains_string_id": "poly",
        "mains_kg": 23.0,
    }
    put(con, "restrings", [row | {"reason": reason} | more])


def practised(
    con: duckdb.DuckDBPyConnection, practice_id: str, player_id: str | None, played_on: str, **more: object
) -> None:
    row: Row = {
        "practice_id": practice_id,
        "player_id": player_id,
        "played_on": played_on,
        "activity": "rally",
        "minutes": 60.0,
    }
    put(con, "practices", [row | more])


def one_player_club() -> duckdb.DuckDBPyConnection:
    """P1 with racket R1, and the strings; nothing strung yet."""
    con = empty_club()
    players(con, "P1")
    rackets(con, ("R1", "P1"))
    put(con, "strings", STRINGS)
    return con


def relations(con: duckdb.DuckDBPyConnection, as_of: str) -> duckdb.DuckDBPyConnection:
    """Run every relation as known on `as_of`, with the trade values."""
    run_relations(con, date.fromisoformat(as_of), [(v.name, v.value) for v in VALUES], list(session_weight_rows()))
    return con


def read(con: duckdb.DuckDBPyConnection, query: str) -> list[tuple[object, ...]]:
    return con.execute(query).fetchall()
