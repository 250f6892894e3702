"""A club's own sheet (CSV or XLSX, whatever its headings) in, its headings and rows as text out.

Nothing is read into the cells here: dates of a workbook become ISO dates, numbers their shortest text, everything else
stays as it stood. How the columns are meant is `sheet_proposal.py`; how rows of the contract come out is
`sheet_loading.py`.
"""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import PurePath

from pipeline.store.errors import FileRefusedError
from pipeline.store.exporting import instant_text, number_text

MOST_SHEET_BYTES = 20_000_000
MOST_UNPACKED_BYTES = 200_000_000
MOST_SHEET_ROWS = 200_000
MOST_SHEET_COLUMNS = 200
WORKBOOKS = (".xlsx", ".xlsm")


@dataclass(frozen=True)
class Sheet:
    """One sheet: `rows` hold as many cells as there are headings; `lines` are the rows' line numbers in the sheet."""

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()

    def column(self, heading: str) -> list[str]:
        """The cells under one heading."""
        place = self.headings.index(heading)
        return [row[place] for row in self.rows]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        is_day = value.time() == time.min
        return value.date().isoformat() if is_day else instant_text(value.replace(tzinfo=None, microsecond=0))
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, float):
        return number_text(value)
    return str(value).replace("\0", "")


def _sheet(name: str, records: list[tuple[int, list[str]]], notes: tuple[str, ...]) -> Sheet:
    """The first record that fills two cells or more is the heading; what stands above it is left out, and said."""
    place = next((at for at, (_, cells) in enumerate(records) if sum(bool(c.strip()) for c in cells) > 1), None)
    if place is None:
        raise FileRefusedError(f"{name} has no row with two filled cells, so it has no headings; nothing was loaded.")
    line, cells = records[place]
    while cells and not cells[-1].strip():
        cells = cells[:-1]
    if len(cells) > MOST_SHEET_COLUMNS:
        raise FileRefusedError(
            f"{name} has {len(cells)} columns (at most {MOST_SHEET_COLUMNS}): leave out those it does not need."
        )
    headings: list[str] = []
    for at, cell in enumerate(cells, start=1):
        heading = " ".join(cell.split()) or f"column {at}"
        while heading in headings:
            heading += " (again)"
        headings.append(heading)
    if place:
        notes = (*notes, f"what stands above line {line} was left out: the headings were taken from there.")
    body = [(number, row) for number, row in records[place + 1 :] if any(cell.strip() for cell in row)]
    if len(body) > MOST_SHEET_ROWS:
        raise FileRefusedError(f"{name} has {len(body):,} rows (at most {MOST_SHEET_ROWS:,}): split it in parts.")
    width = len(headings)
    wide = [number for number, row in body if any(cell.strip() for cell in row[width:])]
    if wide:
        notes = (*notes, f"cells without a heading were left out ({len(wide)} rows, the first on line {wide[0]}).")
    rows = tuple(tuple((row + [""] * width)[:width]) for _, row in body)
    return Sheet(name, tuple(headings), rows, tuple(number for number, _ in body), notes)


def _workbook(name: str, data: bytes) -> tuple[Sheet, ...]:
    from openpyxl import load_workbook

    refused = FileRefusedError(f"{name} cannot be read as a workbook; nothing was loaded: save it anew as XLSX or CSV.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
    except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError, ValueError) as error:
        raise refused from error
    if unpacked > MOST_UNPACKED_BYTES:
        raise FileRefusedError(
            f"{name} would unpack to {unpacked // 1_000_000} MB, more than any club's sheet; nothing was loaded."
        )
    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        tabs = []
        for tab in book.worksheets:
            records: list[tuple[int, list[str]]] = []
            for number, row in enumerate(tab.iter_rows(values_only=True, max_row=MOST_SHEET_ROWS + 1000), start=1):
                if any(value is not None for value in row):
                    records.append((number, [_cell(value) for value in row]))
            tabs.append((tab.title, records))
        book.close()
    except Exception as error:  # whatever the reader stumbles over in a damaged workbook is one thing to the club
        raise refused from error
    filled = [(title, records) for title, records in tabs if records]
    if not filled:
        raise FileRefusedError(f"{name} is empty: it needs a row of headings.")
    return tuple(_sheet(f"{name} [{title}]" if len(filled) > 1 else name, records, ()) for title, records in filled)


def _text(name: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), ("it is saved as UTF-16 and was read so.",)
        except UnicodeDecodeError as error:
            raise FileRefusedError(f"{name} is damaged UTF-16; nothing was loaded: save it as CSV UTF-8.") from error
    if b"\0" in data:
        raise FileRefusedError(f"{name} holds NUL bytes, so it is not a text file; nothing was loaded: save it as CSV.")
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        note = "it is not UTF-8 and was read as Windows Western (cp1252): check letters with accents."
        return data.decode("cp1252", errors="replace"), (note,)


def _csv(name: str, data: bytes) -> tuple[Sheet, ...]:
    text, notes = _text(name, data)
    start = text[:65536]
    counts = {mark: start.count(mark) for mark in (",", ";", "\t")}
    mark = max(("\t", ";", ","), key=lambda mark: counts[mark] * (3 if mark != "," else 1))
    csv.field_size_limit(1_000_000)
    records, begins_on = [], 1
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        for row in reader:
            records.append((begins_on, row))
            begins_on = reader.line_num + 1
    except csv.Error as error:
        raise FileRefusedError(
            f"{name} cannot be read from line {begins_on} on ({error}); nothing was loaded: mend the quote marks there."
        ) from error
    return (_sheet(name, records, notes),)


def read_sheets(name: str, data: bytes) -> tuple[Sheet, ...]:
    """The sheets of one file by name and bytes: one of a CSV file, one a tab of a workbook.

    Raises FileRefusedError with one sentence where there is nothing to read.
    """
    shown = PurePath(name.replace("\\", "/")).name or "the sheet"
    if len(data) > MOST_SHEET_BYTES:
        raise FileRefusedError(
            f"{shown} is larger than {MOST_SHEET_BYTES // 1_000_000} MB; nothing was loaded: split it in parts."
        )
    if not data.strip():
        raise FileRefusedError(f"{shown} is empty: it needs a row of headings.")
    if shown.lower().endswith(".xls"):
        raise FileRefusedError(f"{shown} is in the old XLS format and was not loaded: save it as XLSX or CSV.")
    return _workbook(shown, data) if shown.lower().endswith(WORKBOOKS) else _csv(shown, data)
