"""A CSV file in, what must be known before reading it out: its encoding, separator, header and count of lines.

Source: RFC 4180. Refuses, with one sentence, what cannot be a CSV file of the contract.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.contract.resources import Contract, Resource
from pipeline.store.errors import FileRefusedError
from pipeline.store.formulas import IN_BYTES

CHUNK_BYTES = 1 << 20
LONGEST_HEADER_BYTES = 64 * 1024
FIELD_CHARACTERS = 1_000_000
"""A cell longer than this is not a club's record."""


@dataclass(frozen=True)
class ScannedFile:
    """A file that can be read: which resource it is, and how it is written."""

    path: Path
    resource: Resource
    delimiter: str
    columns: tuple[str, ...]  # in the file's order: a contract name, or the file's own word
    unknown_columns: tuple[str, ...]
    count_lines: int  # lines as an editor shows them, header included
    has_lone_carriage_returns: bool
    header_lines: int
    has_neutralised: bool = False  # a cell may hold text that was kept from running as a formula
    is_tidy: bool = False  # no cell begins or ends with white space, as far as the bytes can tell

    @property
    def is_decimal_comma(self) -> bool:
        """A semicolon as separator leaves the comma free for decimals."""
        return self.delimiter == ";"


def refused(path: Path, sentence: str) -> FileRefusedError:
    """The error for a file of which nothing can be loaded; names the file first."""
    return FileRefusedError(f"{path.name} {sentence}")


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            yield chunk


# where a cell may begin or end with a space
LOOSE = tuple(a + b" " for a in (b",", b";", b'"', b"\n")) + tuple(b" " + z for z in (b",", b";", b'"', b"\n", b"\r"))


def _may_be_loose(chunk: bytes) -> bool:
    """Whether a cell in it may begin or end with white space (a space, a tab, a space that does not break)."""
    return b"\t" in chunk or b"\xa0" in chunk or (b" " in chunk and any(pair in chunk for pair in LOOSE))


def _count_lines(path: Path) -> tuple[int, bool, bool, bool]:
    """Lines of the file, whether some end in a carriage return alone, whether its cells are tidy, and whether some may
    be neutralised; refuses what is not UTF-8 text."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    feeds = lone_returns = count_bytes = 0
    last = b""
    is_tidy, has_neutralised = True, False
    for chunk in _chunks(path):
        if count_bytes == 0 and chunk[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
            raise refused(path, "is saved as UTF-16 and was not loaded: save it as CSV UTF-8.")
        if b"\0" in chunk:
            line = feeds + chunk[: chunk.index(b"\0")].count(b"\n") + 1
            raise refused(
                path,
                f"holds a NUL byte on line {line}, so it is not a text file; nothing was loaded: save it as CSV UTF-8.",
            )
        try:
            decoder.decode(chunk)
        except UnicodeDecodeError as error:
            whole = decoder.getstate()[0] + chunk
            line = feeds + whole[: error.start].count(b"\n") + 1
            raise refused(path, f"is not UTF-8 text (line {line}) and was not loaded: save it as CSV UTF-8.") from error
        feeds += chunk.count(b"\n")
        joined = last + chunk
        lone_returns += joined[:-1].count(b"\r") - joined.count(b"\r\n")
        is_tidy = is_tidy and not _may_be_loose(joined)
        has_neutralised = has_neutralised or (b"'" in chunk and IN_BYTES.search(chunk) is not None)
        last = chunk[-1:]
        count_bytes += len(chunk)
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        raise refused(path, "ends within a character, so it is cut short; nothing was loaded: copy it anew.") from error
    if count_bytes == 0:
        raise refused(path, "is empty: it needs a header line with the column names.")
    lone_returns += last == b"\r"
    return feeds + (last not in (b"\n", b"")), lone_returns > 0, is_tidy and last != b" ", has_neutralised


def _header_text(path: Path) -> str:
    """The start of the file up to the end of its first record that holds anything."""
    with path.open("rb") as file:
        start = file.read(LONGEST_HEADER_BYTES)
        is_whole = not file.read(1)
    if not is_whole and b"\n" not in start and b"\r" not in start:
        raise refused(path, "has no line end in its first 64 KB, so its first line is no header; nothing was loaded.")
    text = start.decode("utf-8-sig", errors="ignore")
    if not text.strip():
        raise refused(path, "is empty: it needs a header line with the column names.")
    return text


def _header(path: Path, text: str, delimiter: str) -> tuple[list[str], int]:
    """Names of the first record under one separator, and the lines it takes."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        names = next(record for record in reader if is_record(record))
    except (csv.Error, StopIteration):
        return [], 1
    return [name.strip().strip("\ufeff").lower() for name in names], reader.line_num


def is_record(cells: list[str]) -> bool:
    """An empty line, or one of white space alone, is none."""
    return len(cells) > 1 or any(cell.strip() for cell in cells)


def _missing(path: Path, resource: Resource, names: list[str]) -> str:
    missing = [name for name in resource.required_columns if name not in names]
    plural = "s" if len(missing) > 1 else ""
    have = ", ".join(name for name in names if name)[:120] or "nothing"
    return (
        f"lacks the column{plural} {', '.join(missing)} (its first line has: {have}); nothing of it was loaded: "
        f"add the column{plural} to the header line."
    )


def scan_file(path: Path, contract: Contract) -> ScannedFile:
    """Look at a file without loading it; raises `FileRefusedError` where it cannot be one of the contract."""
    resource = contract.resource_of_file(path.name)
    if resource is None:
        allowed = ", ".join(r.file_name for r in contract.resources.values())
        raise refused(path, f"is not a file name of the contract and was not loaded: name it one of {allowed}.")
    count_lines, has_lone_returns, is_tidy, has_neutralised = _count_lines(path)
    text = _header_text(path)
    known = {field.name for field in resource.fields}
    by_delimiter = {delimiter: _header(path, text, delimiter) for delimiter in (",", ";")}
    delimiter = max(by_delimiter, key=lambda mark: len(known.intersection(by_delimiter[mark][0])))
    names, header_lines = by_delimiter[delimiter]
    if any(name not in names for name in resource.required_columns):
        raise refused(path, _missing(path, resource, names))
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise refused(
            path, f"has the column {twice[0]} twice in its header; nothing was loaded: leave one of them out."
        )
    columns = tuple(name or f"column {place}" for place, name in enumerate(names, start=1))
    unknown = tuple(name for name in columns if name not in known)
    return ScannedFile(
        path,
        resource,
        delimiter,
        columns,
        unknown,
        count_lines,
        has_lone_returns,
        header_lines,
        has_neutralised,
        is_tidy,
    )
