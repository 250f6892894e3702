"""The current facts in, contract CSV files out, losslessly: exporting, loading into an empty store and exporting again
gives the same bytes.

RFC 4180: comma, CRLF, UTF-8 without BOM, quote marks only where needed; text that a spreadsheet would run as a formula
is neutralised (`formulas.py`), which loading undoes. Rows stand in the order of their keys, columns in the contract's;
a column that no row fills is left out unless it is required. A file without rows is not written.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import duckdb

from pipeline.contract.resources import Contract, Field, Resource
from pipeline.contract.typed import quoted
from pipeline.store.formulas import TEXT_KINDS, neutralised

FETCHED_ROWS = 50_000


def number_text(number: float) -> str:
    """The shortest text that reads back as the same number."""
    return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)


def instant_text(instant: datetime) -> str:
    """ISO 8601 to the minute, or to the second where it has one."""
    return instant.isoformat(timespec="minutes" if instant.second == 0 else "seconds")


def _plain(value: object) -> str:
    return "" if value is None else str(value)


def _number(value: object) -> str:
    return number_text(value) if isinstance(value, float) else _plain(value)


def _money(value: object) -> str:
    return f"{value:.2f}" if isinstance(value, Decimal) else _plain(value)


def _yes_no(value: object) -> str:
    return "" if value is None else "yes" if value else "no"


def _date(value: object) -> str:
    if isinstance(value, datetime):
        return instant_text(value)
    return value.isoformat() if isinstance(value, date) else ""


def _text(value: object) -> str:
    return neutralised(_plain(value))


WRITERS: dict[str, Callable[[object], str]] = {
    "id": _text, "label": _text, "text": _text, "list": _text,
    "number": _number, "money": _money, "boolean": _yes_no, "date": _date,
}  # fmt: skip


def text_of_row(fields: Sequence[Field], row: Sequence[object], is_for_file: bool = True) -> list[str]:
    """The cells of a file for a row of a clean table (dates followed by their instants).

    `is_for_file`: text that a spreadsheet would run as a formula is neutralised.
    """
    values = iter(row)
    cells = []
    for field in fields:
        value = next(values)
        if field.kind == "date":
            value = next(values) or value
        is_plain = not is_for_file and field.kind in TEXT_KINDS
        cells.append(_plain(value) if is_plain else WRITERS.get(field.kind, _plain)(value))
    return cells


def _expression(field: Field) -> str:
    if field.kind != "date":
        return quoted(field.name)
    return f"{quoted(field.name)}, {quoted(field.instant_name)}"


def _filled_fields(con: duckdb.DuckDBPyConnection, resource: Resource, table: str) -> list[Field]:
    counts = ", ".join(f"count({quoted(field.name)})" for field in resource.fields)
    filled = con.execute(f"select {counts} from {table}").fetchall()[0]
    needed = {name for group in resource.one_of for name in group.fields[:1]} | set(resource.required_columns)
    return [field for field, count in zip(resource.fields, filled, strict=True) if count or field.name in needed]


def _export_file(con: duckdb.DuckDBPyConnection, resource: Resource, table: str, path: Path) -> int:
    fields = _filled_fields(con, resource, table)
    order = ", ".join(f"{quoted(name)} nulls first" for name in resource.key_columns)
    cursor = con.execute(f"select {', '.join(_expression(field) for field in fields)} from {table} order by {order}")
    count = 0
    fresh = path.with_name(path.name + ".new")
    with fresh.open("w", encoding="utf-8", newline="") as text:
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow([field.name for field in fields])
        while rows := cursor.fetchmany(FETCHED_ROWS):
            writer.writerows(text_of_row(fields, row) for row in rows)
            count += len(rows)
    fresh.replace(path)
    return count


def export_files(
    con: duckdb.DuckDBPyConnection, folder: Path, contract: Contract, catalog: str = "facts"
) -> dict[str, int]:
    """Write the facts attached as `catalog` to `folder`; the count of rows by file name."""
    folder.mkdir(parents=True, exist_ok=True)
    counts: dict[str, int] = {}
    for resource in contract.resources.values():
        table = f"{quoted(catalog)}.{quoted(resource.name)}"
        (count,) = con.execute(f"select count(*) from {table}").fetchall()[0]
        path = folder / resource.file_name
        if count:
            counts[resource.file_name] = _export_file(con, resource, table, path)
        else:
            path.unlink(missing_ok=True)
    return counts
