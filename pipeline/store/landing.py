"""A scanned file in, its rows landed as text in a temporary table out, with the line each began on.

Two ways to the same rows. The fast one hands the file to DuckDB's reader (strict, no sniffing) and is kept only when
every line of the file came back as one row, which rules out line breaks within cells and lines of a wrong shape.
Otherwise Python's csv module (strict) reads record by record, keeping lines of a wrong shape apart.
Landing is done before the transaction begins: a reader's error inside one would abort it.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from typing import Any

import duckdb
import pyarrow as pa

from pipeline.contract.typed import literal, quoted
from pipeline.store.formulas import TEXT_KINDS, read_back_sql
from pipeline.store.scan import FIELD_CHARACTERS, ScannedFile, is_record, refused

CHUNK_ROWS = 50_000
GLOB_MARKS = "*?[]{}"


@dataclass(frozen=True)
class Misshapen:
    """A line whose fields do not match the header."""

    line_number: int
    cells: tuple[str, ...]

    @property
    def as_json(self) -> str:
        """The line's cells as one text."""
        return json.dumps(self.cells, ensure_ascii=False)


@dataclass(frozen=True)
class Landed:
    """What came out of a file: `count_records` without the header; `misshapen` records are not in the table.

    `rows` is the SQL of the landed rows: line_number, cell_0, cell_1 ... is_fast: every line came back as one row;
    such rows may carry their row_hash already.
    """

    file: ScannedFile
    table: str
    rows: str
    count_records: int
    misshapen: tuple[Misshapen, ...]
    is_fast: bool = False

    @property
    def is_hashed(self) -> bool:
        """Whether a row's hash can be worked out from the columns as they were read."""
        return self.is_fast and not self.file.unknown_columns and not self.file.has_neutralised

    @property
    def is_tidy(self) -> bool:
        """No cell needs to be trimmed."""
        return self.is_fast and self.file.is_tidy


def _cell_names(file: ScannedFile) -> list[str]:
    return [f"cell_{place}" for place in range(len(file.columns))]


def _land_fast(con: duckdb.DuckDBPyConnection, file: ScannedFile, table: str) -> Landed | None:
    """DuckDB's reader; None where its rows cannot be shown to be the lines of the file."""
    if file.has_lone_carriage_returns or file.header_lines != 1 or any(mark in str(file.path) for mark in GLOB_MARKS):
        return None
    columns = ", ".join(f"{literal(name)}: 'VARCHAR'" for name in _cell_names(file))
    hashed = "" if file.unknown_columns or file.has_neutralised else f", {_hash_of_cells(file)} as row_hash"
    try:
        con.execute(
            f"create or replace temp table {table} as select *{hashed} from read_csv({literal(str(file.path))}, "
            f"auto_detect = false, header = true, delim = {literal(file.delimiter)}, quote = '\"', escape = '\"', "
            f"strict_mode = true, max_line_size = {FIELD_CHARACTERS}, columns = {{{columns}}})"
        )
    except (duckdb.InvalidInputException, duckdb.IOException):
        return None  # a line of another shape, a stray quote, no access: the careful reader says which and why
    count, first, last = con.execute(
        f"select count(*), coalesce(min(rowid), 0), coalesce(max(rowid), -1) from {table}"
    ).fetchall()[0]
    if count + 1 != file.count_lines or first != 0 or last + 1 != count:
        return None
    # a table keeps the order of the file, so its row ids run with the lines, from 2 on
    return Landed(file, table, f"(select rowid + 2 as line_number, * from {table})", count, (), is_fast=True)


def _hash_of_cells(file: ScannedFile) -> str:
    """`row_hash` of a landed row of a file without unknown columns, from its cells under their landed names."""
    place = {name: f"cell_{at}" for at, name in enumerate(file.columns)}
    cells = [place.get(field.name, "''") for field in file.resource.fields]
    return _joined_hash([*cells, "''"], str(file.is_decimal_comma).lower())


def _land_chunk(
    con: duckdb.DuckDBPyConnection, lines: list[int], rows: list[list[str]], names: list[str], table: str
) -> None:
    if not rows:
        return
    arrays: list[Any] = [pa.array(lines, pa.int64())]
    arrays += [pa.array(column, pa.string()) for column in zip(*rows, strict=True)]
    con.register("landed_chunk", pa.table(arrays, names=["line_number", *names]))
    con.execute(f"insert into {table} select * from landed_chunk")
    con.unregister("landed_chunk")


def _land_carefully(con: duckdb.DuckDBPyConnection, file: ScannedFile, table: str) -> Landed:
    """Python's reader, record by record."""
    names = _cell_names(file)
    columns = ", ".join(f"{name} VARCHAR" for name in names)
    con.execute(f"create or replace temp table {table} (line_number BIGINT, {columns})")
    csv.field_size_limit(FIELD_CHARACTERS)
    misshapen: list[Misshapen] = []
    lines: list[int] = []
    rows: list[list[str]] = []
    count_records = 0
    with file.path.open(encoding="utf-8-sig", newline="") as text:
        reader = csv.reader(text, delimiter=file.delimiter, strict=True)
        begins_on = 1
        try:
            next(record for record in reader if is_record(record))
            begins_on = reader.line_num + 1
            for record in reader:
                if is_record(record):
                    count_records += 1
                    if len(record) == len(names):
                        lines.append(begins_on)
                        rows.append(record)
                    else:
                        misshapen.append(Misshapen(begins_on, tuple(record)))
                if len(rows) >= CHUNK_ROWS:
                    _land_chunk(con, lines, rows, names, table)
                    lines, rows = [], []
                begins_on = reader.line_num + 1
        except csv.Error as error:
            raise refused(file.path, _unreadable(begins_on, reader.line_num, str(error))) from error
    _land_chunk(con, lines, rows, names, table)
    return Landed(file, table, table, count_records, tuple(misshapen))


def _unreadable(begins_on: int, stopped_on: int, reason: str) -> str:
    if "field limit" in reason:
        why = f"has a cell of more than {FIELD_CHARACTERS:,} characters in the record that begins on line {begins_on}"
    elif "end of data" in reason:
        why = f"has a quote mark on line {begins_on} that is never closed"
    else:
        why = (
            f"has a stray quote mark in the record that begins on line {begins_on} "
            f"(reading stopped on line {stopped_on})"
        )
    return (
        f"{why}; nothing of it was loaded: mend that record (a quote mark within a quoted cell is written twice) "
        "and load the file again."
    )


def land(con: duckdb.DuckDBPyConnection, file: ScannedFile, table: str) -> Landed:
    """Land a file in the temporary table `table`, every cell as text exactly as it stood; outside a transaction."""
    return _land_fast(con, file, table) or _land_carefully(con, file, table)


def stage(con: duckdb.DuckDBPyConnection, landed: Landed, load_id: int) -> None:
    """Make the temporary view `staged`: the landed cells under the contract's names, unknown ones together as JSON."""
    file = landed.file
    place = {name: f"l.cell_{at}" for at, name in enumerate(file.columns)}
    if file.has_neutralised:
        texts = {field.name for field in file.resource.fields if field.kind in TEXT_KINDS}
        place = {name: read_back_sql(cell) if name in texts else cell for name, cell in place.items()}
    names = [field.name for field in file.resource.fields]
    cells = ", ".join(f"{place.get(name, 'cast(null as varchar)')} as {quoted(name)}" for name in names)
    unknown = ", ".join(f"{literal(name)}, nullif({place[name]}, '')" for name in file.unknown_columns)
    unknown_cells = f"cast(json_object({unknown}) as varchar)" if unknown else "cast(null as varchar)"
    hashed = ", l.row_hash" if landed.is_hashed else ""
    con.execute(
        f"create or replace temp view staged_cells as select {load_id} as load_id, l.line_number{hashed}, {cells}, "
        f"{unknown_cells} as unknown_cells, {str(file.is_decimal_comma).lower()} as is_decimal_comma from "
        f"{landed.rows} as l"
    )
    hashing = "" if landed.is_hashed else f", {row_hash(names)} as row_hash"
    con.execute(f"create or replace temp view staged as select *{hashing} from staged_cells")


def row_hash(names: list[str]) -> str:
    """SQL: a number that stands for a row's cells as text, unknown ones included; the same in every version."""
    return _joined_hash([quoted(name) for name in [*names, "unknown_cells"]], "is_decimal_comma")


def _joined_hash(cells: list[str], is_decimal_comma: str) -> str:
    texts = [cell if cell == "''" else f"coalesce({cell}, '')" for cell in cells]
    return f"md5_number({' || chr(31) || '.join(texts)} || chr(31) || {is_decimal_comma})"
