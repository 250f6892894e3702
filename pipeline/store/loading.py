"""Paths of CSV files in, the facts brought up to date and a report out, inside one transaction of the caller's.

Files are taken in the contract's order (what others refer to comes first), so a row may name an id that is loaded in
the same call. Every file is reconciled: records read = accepted + rejected, or `StoreError` is raised and the caller
rolls everything back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline.contract.resources import Contract, Resource
from pipeline.contract.typed import quoted
from pipeline.store import books, rejecting
from pipeline.store.checking import find_problems, rules_of, type_rows
from pipeline.store.errors import FileRefusedError, StoreError
from pipeline.store.landing import Landed, land, stage
from pipeline.store.memory import bound_memory
from pipeline.store.merging import Merged, merge
from pipeline.store.people import LOCAL
from pipeline.store.report import FileReport, LoadReport
from pipeline.store.scan import ScannedFile, scan_file

MOST_MEMORY = "2 GiB"  # for the rows of a load that are under way; the rest waits on the disk beside the facts

Progress = Callable[[int, int, str], None]
"""Called with steps done, steps in all (two a file), and the name of the file that comes next."""


@dataclass(frozen=True)
class Occasion:
    """When the load happens and who loads: the instant written beside each row (UTC), the club's day, a name.

    `entry_id`: set where the rows were typed in, not read from a file.
    """

    now: datetime
    load_day: date
    by: str = LOCAL.name
    entry_id: int | None = None


def files_to_load(paths: Iterable[Path], contract: Contract) -> list[Path]:
    """The files meant by paths of files and folders, in the contract's order; raises where there is nothing to load."""
    found: list[Path] = []
    names = ", ".join(resource.file_name for resource in contract.resources.values())
    for path in paths:
        if not path.exists():
            raise StoreError(f"{path} does not exist: give the folder that holds the club's CSV files.")
        if path.is_dir():
            inside = sorted(file for file in path.iterdir() if file.is_file() and file.suffix.lower() == ".csv")
            if not any(contract.resource_of_file(file.name) for file in inside):
                raise StoreError(f"{path} holds no file of the contract: it needs CSV files named {names}.")
            found += inside
        else:
            found.append(path)
    order = {resource.file_name: place for place, resource in enumerate(contract.resources.values())}
    unique = dict.fromkeys(found)
    return sorted(unique, key=lambda path: order.get(path.name.lower(), len(order)))


def _keep_raw(con: duckdb.DuckDBPyConnection, resource: Resource, occasion: Occasion) -> None:
    """Append the staged rows that are not yet among the raw rows word for word."""
    cells = ", ".join(f"s.{quoted(field.name)}" for field in resource.fields)
    table = f"raw.{quoted(resource.name)}"
    is_known = f"anti join {table} as r on r.row_hash = s.row_hash"
    if not con.execute(f"from {table} limit 1").fetchall():
        is_known = ""  # the first file of its kind
    con.execute(
        f"insert into {table} select {cells}, s.unknown_cells, s.is_decimal_comma, s.row_hash, s.load_id, "
        "s.line_number, "
        f"$now from staged as s {is_known}",
        {"now": occasion.now},
    )


def _count(con: duckdb.DuckDBPyConnection, query: str) -> int:
    (count,) = con.execute(query).fetchall()[0]
    return int(count)


def _reconcile(file: ScannedFile, count_records: int, merged: Merged, rejected: int) -> None:
    if merged.accepted + rejected != count_records:
        raise StoreError(
            f"{file.path.name}: {count_records} records were read, but {merged.accepted} accepted and "
            f"{rejected} rejected, "
            "which does not add up, so nothing was loaded: this is a fault of the program, please report it."
        )


def _notes(file: ScannedFile, merged: Merged, count_records: int, count_questions: int) -> tuple[str, ...]:
    notes = []
    if count_records == 0:
        notes.append("it has a header line and no rows.")
    if file.unknown_columns:
        some = ", ".join(file.unknown_columns[:5]) + (", ..." if len(file.unknown_columns) > 5 else "")
        plural = "s" if len(file.unknown_columns) > 1 else ""
        notes.append(f"unknown column{plural} {some}: kept beside the raw rows, not used; check the spelling.")
    if merged.went_back:
        rows = "row" if merged.went_back == 1 else "rows"
        notes.append(
            f"{merged.went_back} {rows} took a value again that a later load had replaced: is this an old file?"
        )
    if merged.struck:
        rows = "row was" if merged.struck == 1 else "rows were"
        notes.append(f"{merged.struck} {rows} taken back earlier (strike) and stayed out.")
    if count_questions:
        rows = "thing" if count_questions == 1 else "things"
        notes.append(f"{count_questions} {rows} to check in rows that were kept.")
    return tuple(notes)


def _load_file(
    con: duckdb.DuckDBPyConnection, landed: Landed, load_id: int, contract: Contract, occasion: Occasion
) -> tuple[FileReport, int, int]:
    """One landed file, checked, merged and reconciled; its report, the rejects mended and the questions raised."""
    file = landed.file
    resource = file.resource
    source = rejecting.Source(load_id, file.path.name, resource, occasion.now)
    stage(con, landed, load_id)
    rules = rules_of(resource, contract, occasion.load_day)
    type_rows(con, resource, rules, landed.is_tidy)
    find_problems(con, resource, rules)
    rejecting.stage_misshapen(con, source, landed.misshapen)
    _keep_raw(con, resource, occasion)
    merged = merge(con, resource, load_id, occasion.now, is_typed_in=occasion.entry_id is not None)
    rejected = _count(con, "select count(*) from refused_lines") + len(landed.misshapen)
    _reconcile(file, landed.count_records, merged, rejected)
    rejecting.note_present(con)
    mended = rejecting.mend_accepted(con, source)
    unchanged = merged.unchanged + merged.repeated + merged.struck
    mended += rejecting.mend_removed(con, source, unchanged)
    questions = 0
    if landed.misshapen or _count(con, "select count(*) from problems"):
        rejecting.record_rejects(con, source, len(file.columns))
        questions = rejecting.record_questions(con, source)
    report = FileReport(
        file.path.name, resource.name, load_id, landed.count_records, merged.new, merged.corrected, unchanged, rejected,
        notes=_notes(file, merged, landed.count_records, questions),
    )  # fmt: skip
    return report, mended, questions


def _try_again(con: duckdb.DuckDBPyConnection, resource: Resource, contract: Contract, occasion: Occasion) -> int:
    """Try the rejects of one file whose cause lay in another; the count of rows accepted now."""
    if not rejecting.count_open(con, resource) or not rejecting.stage_retries(con, resource):
        return 0
    rules = rules_of(resource, contract, occasion.load_day)
    type_rows(con, resource, rules)
    find_problems(con, resource, rules)
    load_id = books.next_id(con)
    source = rejecting.Source(load_id, "", resource, occasion.now)
    merged = merge(con, resource, load_id, occasion.now)
    if merged.new + merged.corrected:
        books.note(con, load_id, "mended", occasion.now, occasion.by, books.mended_in_words(resource, merged))
    return rejecting.mend_retried(con, source)


def _record(con: duckdb.DuckDBPyConnection, report: FileReport, origin: str, occasion: Occasion, unknown: str) -> None:
    con.execute(
        "insert into loads values ($load_id, $file, $path, $resource, $now, $read, $new, $corrected, $unchanged, "
        "$rejected, $unknown, $refused, $by, $entry_id)",
        {
            "load_id": report.load_id, "file": report.file, "path": origin, "resource": report.resource,
            "now": occasion.now, "read": report.read, "new": report.new, "corrected": report.corrected,
            "unchanged": report.unchanged, "rejected": report.rejected, "unknown": unknown or None,
            "refused": report.refused, "by": occasion.by, "entry_id": occasion.entry_id,
        },
    )  # fmt: skip


@dataclass(frozen=True)
class Arrival:
    """One path that was given: its landed rows, or why it was refused.

    `origin`: the words for where it came from, where the path is that of a copy for the while.
    """

    path: Path
    resource: Resource | None
    landed: Landed | None
    refused: str | None = None
    origin: str | None = None


def land_files(
    con: duckdb.DuckDBPyConnection,
    paths: list[Path],
    contract: Contract,
    progress: Progress | None = None,
    origins: Mapping[Path, str] | None = None,
) -> list[Arrival]:
    """Read every file into temporary tables of `con`, which must not be in a transaction yet.

    `origins`: for copies of files, the words for where each came from.
    """
    bound_memory(con, MOST_MEMORY)
    arrivals = []
    for place, path in enumerate(paths):
        if progress:
            progress(place, 2 * len(paths), path.name)
        resource = contract.resource_of_file(path.name)
        landed, said = None, None
        try:
            landed = land(con, scan_file(path, contract), f"landed_{place}")
        except FileRefusedError as error:
            said = str(error)
        except OSError as error:
            said = f"{path.name} cannot be read ({error.strerror or error}): check its permissions."
        arrivals.append(Arrival(path, resource, landed, said, (origins or {}).get(path)))
    return arrivals


def load_landed(
    con: duckdb.DuckDBPyConnection,
    arrivals: list[Arrival],
    contract: Contract,
    occasion: Occasion,
    progress: Progress | None = None,
) -> LoadReport:
    """Load landed files into the facts that `con` is connected to; the caller commits, or rolls back on any error."""
    reports: list[FileReport] = []
    count_mended = count_questions = 0
    for resource in [*contract.resources.values(), None]:
        for arrival in (arrival for arrival in arrivals if arrival.resource == resource):
            if progress:
                progress(len(arrivals) + len(reports), 2 * len(arrivals), arrival.path.name)
            load_id = books.next_id(con)
            unknown = ""
            if arrival.landed is None:
                name = resource.name if resource else None
                report = FileReport(arrival.path.name, name, load_id, refused=arrival.refused)
            else:
                report, mended, questions = _load_file(con, arrival.landed, load_id, contract, occasion)
                unknown = ", ".join(arrival.landed.file.unknown_columns)
                count_mended += mended
                count_questions += questions
            _record(con, report, arrival.origin or str(arrival.path), occasion, unknown)
            reports.append(report)
        if resource is not None:
            count_mended += _try_again(con, resource, contract, occasion)
    if progress:
        progress(2 * len(arrivals), 2 * len(arrivals), "")
    return LoadReport(tuple(reports), count_mended, count_questions)
