"""Rows as a form gives them in, the facts brought up to date out: the same checks and the same way as rows of a file.

In: rows by resource name, each a mapping of column to text, number, date, instant, yes/no or None (empty); instants are
the club's own time, without a zone. All rows of an entry are kept, or none. A row with the key of a recorded row
corrects it, and a column that is not given keeps what is recorded.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from numbers import Integral, Real
from pathlib import Path

import duckdb
import pyarrow as pa

from pipeline.contract.resources import Contract, Field, Resource
from pipeline.contract.typed import cell, quoted, values
from pipeline.store import books
from pipeline.store.errors import EntryRefusedError, Refusal, StoreError
from pipeline.store.exporting import instant_text, number_text, text_of_row
from pipeline.store.landing import Landed
from pipeline.store.loading import Arrival, Occasion, load_landed
from pipeline.store.report import LoadReport
from pipeline.store.scan import FIELD_CHARACTERS, ScannedFile

TYPED_IN = "typed in"
"""Stands where a loaded row has the name of its file."""
MOST_ROWS = 10_000
ID_DIGITS = 4


class FreshId:
    """Stands in rows for an id that is made while the entry is written: the next free one of a file.

    Two people who write at once get two ids. The same object in several rows, or in a row that refers to it, is one id.
    """

    def __init__(self, resource: str, prefix: str) -> None:
        self.resource = resource
        self.prefix = prefix


Rows = Mapping[str, Sequence[Mapping[str, object]]]


def cell_text(value: object) -> str:
    """A form's value as the cell of a file would hold it."""
    if value is None or value != value:  # NaN and NaT differ from themselves
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or type(value).__name__ in ("bool_", "bool"):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        if value.tzinfo is not None:
            raise StoreError(f"{value} has a time zone: give the club's own time, without a zone.")
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        number = float(value)
        return number_text(number) if math.isfinite(number) else str(number)
    if isinstance(value, (list, tuple, set, frozenset)):
        return " ".join(
            cell_text(part) for part in (sorted(value, key=str) if isinstance(value, (set, frozenset)) else value)
        )
    raise StoreError(f"a {type(value).__name__} cannot be written into a cell: give text, a number, a date, yes or no.")


def _must_know(contract: Contract, rows: Rows) -> None:
    """Refuse resources and columns that the contract has not: a fault of the form, said before anything is written."""
    for name, given in rows.items():
        if name not in contract.resources:
            raise StoreError(f"there is no file {name!r}: it is one of {', '.join(contract.resources)}.")
        known = [field.name for field in contract.resources[name].fields]
        for column in dict.fromkeys(column for row in given for column in row):
            if column not in known:
                near = difflib.get_close_matches(column, known, n=1, cutoff=0.4)
                hint = f"did you mean {near[0]}?" if near else f"it has {', '.join(known)}."
                raise StoreError(f"{name}.csv has no column {column!r}: {hint}")
    count = sum(len(given) for given in rows.values())
    if not count:
        raise StoreError("there is nothing to write down: no row was given.")
    if count > MOST_ROWS:
        raise StoreError(f"{count} rows are too many to type in at once (at most {MOST_ROWS}): load them as a file.")


def next_number(
    con: duckdb.DuckDBPyConnection, resource: Resource, prefix: str, catalog: str = "main"
) -> tuple[int, int]:
    """One more than the largest number after `prefix` in any id ever given, and the digits it is written with."""
    column = quoted(resource.key[0])
    schema = {"main": ("main", "history", "raw"), "facts": ("facts.main", "facts.history", "facts.raw")}[catalog]
    ids = " union all ".join(f"select {column} as id from {part}.{quoted(resource.name)}" for part in schema)
    row = con.execute(
        "select max(cast(digits as bigint)), max(length(digits)) from (select substr(trim(id), length($prefix) + 1) "
        f"as digits from ({ids}) where starts_with(trim(id), $prefix)) "
        "where regexp_full_match(digits, '[0-9]{1,15}')",
        {"prefix": prefix},
    ).fetchall()[0]
    return (int(row[0]) + 1, int(row[1])) if row[0] is not None else (1, ID_DIGITS)


def new_id(con: duckdb.DuckDBPyConnection, resource: Resource, prefix: str, catalog: str = "main") -> str:
    """The next free id, such as P0041 after P0040 or P41 after P40."""
    number, digits = next_number(con, resource, prefix, catalog)
    return f"{prefix}{number:0{digits}d}"


def _with_ids(
    con: duckdb.DuckDBPyConnection, contract: Contract, rows: Rows
) -> tuple[dict[str, list[dict[str, str]]], tuple[str, ...]]:
    """The rows as text, every FreshId replaced by its id; and the ids made."""
    made: dict[FreshId, str] = {}
    counters: dict[tuple[str, str], tuple[int, int]] = {}

    def text(value: object) -> str:
        if not isinstance(value, FreshId):
            return cell_text(value)
        if value not in made:
            place = (value.resource, value.prefix)
            number, digits = counters.get(place) or next_number(con, contract.resources[value.resource], value.prefix)
            counters[place] = (number + 1, digits)
            made[value] = f"{value.prefix}{number:0{digits}d}"
        return made[value]

    texts = {
        name: [{column: text(value) for column, value in row.items()} for row in given] for name, given in rows.items()
    }
    return texts, tuple(made.values())


def put_rows(
    con: duckdb.DuckDBPyConnection, table: str, columns: Sequence[str], rows: Sequence[Mapping[str, str]]
) -> None:
    """Make a temporary table of texts: line_number (from 1) and cell_0, cell_1 ..."""
    arrays = [pa.array(range(1, len(rows) + 1), pa.int64())]
    arrays += [pa.array([row.get(column) for row in rows], pa.string()) for column in columns]
    names = ["line_number", *(f"cell_{place}" for place in range(len(columns)))]
    con.register("entered_rows", pa.table(arrays, names=names))
    con.execute(f"create or replace temp table {table} as from entered_rows")
    con.unregister("entered_rows")


def _recorded(
    con: duckdb.DuckDBPyConnection, resource: Resource, rows: Sequence[Mapping[str, str]]
) -> dict[int, list[str]]:
    """The recorded rows with the keys of the given ones, as texts of the contract's columns, by row (from 1)."""
    keys = [resource.field(name) for name in resource.key]
    put_rows(con, "entered_keys", resource.key, rows)
    cells = ", ".join(f"cell_{place} as {quoted(field.name)}" for place, field in enumerate(keys))
    texts = ", ".join(f"{cell(field, 'k')} as {quoted(field.name)}" for field in keys)
    typed = {name: sql for field in keys for name, sql in values(field, f"x.{quoted(field.name)}").items()}
    key_columns = ", ".join(f"{typed[name]} as {quoted(name)}" for name in resource.key_columns)
    same = " and ".join(f"c.{quoted(name)} is not distinct from g.{quoted(name)}" for name in resource.key_columns)
    columns = ", ".join(f"c.{quoted(name)}" for name in resource.value_columns)
    found = con.execute(
        f"select g.line_number, {columns} from (select x.line_number, {key_columns} from (select k.line_number, "
        f"{texts} from (select line_number, false as is_decimal_comma, {cells} from entered_keys) as k) as x) as g "
        f"join main.{quoted(resource.name)} as c on {same}"
    ).fetchall()
    return {line: text_of_row(resource.fields, row, is_for_file=False) for line, *row in found}


def _kept(field: Field, recorded: str, row: Mapping[str, str]) -> str:
    """What a column that was not given keeps: what is recorded, but not a pull in the unit that was not given."""
    for one, other in (("_kg", "_lb"), ("_lb", "_kg")):
        if field.name.endswith(one) and row.get(field.name[: -len(one)] + other):
            return ""
    return recorded


def _arrival(con: duckdb.DuckDBPyConnection, resource: Resource, rows: list[dict[str, str]]) -> Arrival:
    recorded = _recorded(con, resource, rows)
    whole = []
    for line, row in enumerate(rows, start=1):
        old = recorded.get(line, [""] * len(resource.fields))
        whole.append(
            {
                field.name: row[field.name] if field.name in row else _kept(field, was, row)
                for field, was in zip(resource.fields, old, strict=True)
            }
        )
    columns = tuple(field.name for field in resource.fields)
    table = f"entered_{resource.name}"
    put_rows(con, table, columns, whole)
    file = ScannedFile(Path(TYPED_IN), resource, ",", columns, (), len(rows) + 1, False, 1)
    return Arrival(file.path, resource, Landed(file, table, table, len(rows), ()))


def _too_long(rows: Mapping[str, Sequence[Mapping[str, str]]]) -> tuple[Refusal, ...]:
    """Cells that a file could not hold either: of more than a million characters, with a NUL or half a character."""
    refusals = []
    for name, given in rows.items():
        for place, row in enumerate(given, start=1):
            for column, text in row.items():
                if len(text) > FIELD_CHARACTERS:
                    said = f"{column} has {len(text):,} characters: shorten it (at most {FIELD_CHARACTERS:,})."
                elif "\0" in text:
                    said = f"{column} holds a NUL character: delete it and type it again."
                elif any("\ud800" <= mark <= "\udfff" for mark in text):
                    said = f"{column} holds half of a character: delete it and type it again."
                else:
                    continue
                shown = text[:60].replace("\0", " ").encode("utf-8", "replace").decode("utf-8")
                refusals.append(Refusal(name, place, column, shown, said))
    return tuple(refusals)


def _refusals(con: duckdb.DuckDBPyConnection, report: LoadReport) -> tuple[Refusal, ...]:
    found = con.execute(
        "select resource, line_number, column_name, coalesce(value, ''), message from rejects "
        "where load_id in (select unnest($loads::integer[])) and mended_at is null "
        "order by load_id, line_number, reject_id",
        {"loads": [file.load_id for file in report.files]},
    ).fetchall()
    return tuple(Refusal(*row) for row in found)


def enter(con: duckdb.DuckDBPyConnection, contract: Contract, rows: Rows, occasion: Occasion) -> LoadReport:
    """Write the rows into the facts that `con` is connected to; the caller commits, or rolls back on any error.

    Raises EntryRefusedError where a row breaks the contract.
    """
    _must_know(contract, rows)
    texts, made = _with_ids(con, contract, {name: given for name, given in rows.items() if given})
    refusals = _too_long(texts)
    if refusals:
        raise EntryRefusedError(refusals)
    entry_id = books.next_id(con)
    arrivals = [_arrival(con, contract.resources[name], given) for name, given in texts.items()]
    report = load_landed(con, arrivals, contract, replace(occasion, entry_id=entry_id))
    refusals = _refusals(con, report)
    if refusals or report.total("rejected"):
        raise EntryRefusedError(refusals)
    counts = {f"{file.resource}.csv": (file.new, file.corrected, file.unchanged) for file in report.files}
    keys = {
        f"{name}.csv": [
            " ".join(filter(None, (row.get(column, "") for column in contract.resources[name].key))) for row in given
        ]
        for name, given in texts.items()
    }
    books.note(con, entry_id, "entry", occasion.now, occasion.by, books.entry_in_words(counts, keys))
    questions = con.execute(
        "select message from questions where load_id in (select unnest($loads::integer[])) "
        "order by load_id, line_number",
        {"loads": [file.load_id for file in report.files]},
    ).fetchall()
    return replace(report, entry_id=entry_id, questions=tuple(row[0] for row in questions), given_ids=made)
