"""What the page Records shows: what came in, what was turned away and what to mend.

In: a view (`loads`, `rejects`, `questions`), a load report of the store. Out: sentences and frames for the page.
Instants are UTC in the view and the club's own time here.
"""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Row, read
from pipeline.store import LoadReport

REJECT_COLUMNS = ["file", "line", "column", "value", "message"]
COUNTS = ["read", "new", "corrected", "unchanged", "rejected"]
VALUE_LENGTH = 60  # longer values are cut on the page, never in the file to take away


@dataclass(frozen=True)
class Places:
    """Rows with a place in a file and a sentence: for the page, and as a CSV file to take away."""

    table: pd.DataFrame
    as_csv: bytes


@dataclass(frozen=True)
class Records:
    """Everything on the page Records but the upload itself."""

    title: str
    rejects: Places
    questions: Places
    loads: pd.DataFrame


@dataclass(frozen=True)
class LoadResult:
    """What one load did, ready for the page."""

    sentence: str
    refused: tuple[str, ...]
    notes: tuple[str, ...]
    files: pd.DataFrame
    rejects: Places


def records(con: duckdb.DuckDBPyConnection, time_zone: str) -> Records:
    """Counts of every load, newest first, the rows still turned away, and the rows worth a look."""
    rejects, loads = read(con, "rejects", "load_id desc, file, line"), read(con, "loads", "load_id desc")
    questions = read(con, "questions", "load_id desc, file, line")
    return Records(
        title=_title(rejects, questions, loads),
        rejects=places(rejects),
        questions=places(questions),
        loads=_load_table(loads, time_zone),
    )


def _title(rejects: pd.DataFrame, questions: pd.DataFrame, loads: pd.DataFrame) -> str:
    """The answer: whether anything waits to be mended, else how much is in and how much of it is worth a look."""
    if rejects.empty:
        new = int(loads["new"].fillna(0).sum())
        text = f"{words.count(new, 'row')} {words.verb(new, 'has', 'have')} come in, and none waits to be mended"
        rows = len(questions[["load_id", "file", "line"]].drop_duplicates())
        return f"{text}; {rows} {words.verb(rows, 'is', 'are')} worth a look" if rows else text
    rows = len(rejects[["load_id", "file", "line"]].drop_duplicates())
    files = rejects["file"].nunique()
    return f"{words.count(rows, 'row')} to mend in {words.count(files, 'file')}; everything else is in"


def places(found: pd.DataFrame) -> Places:
    """Rows as the page lists them, and as a CSV file (UTF-8 with a mark, so that spreadsheets read it right)."""
    table = found.reindex(columns=REJECT_COLUMNS).reset_index(drop=True)
    as_csv = table.to_csv(index=False).encode("utf-8-sig")
    shown = table.copy()
    shown["value"] = [("" if words.is_missing(value) else str(value))[:VALUE_LENGTH] for value in table["value"]]
    return Places(shown, as_csv)


def place_line(row: Row) -> str:
    """One row's place and what to mend, for a screen too narrow for a table."""
    line = "" if words.is_missing(row["line"]) else f", line {int(row['line'])}"
    column = "" if words.is_missing(row["column"]) else f", {row['column']}"
    place = words.plain(f"{row['file']}{line}{column}")
    return f"**{place}**  \n{words.plain(row['message'])}"


def _load_table(loads: pd.DataFrame, time_zone: str) -> pd.DataFrame:
    local = (
        pd.to_datetime(loads["loaded_at"]).dt.tz_localize("UTC").dt.tz_convert(ZoneInfo(time_zone)).dt.tz_localize(None)
    )
    table = pd.DataFrame({"Loaded": local, "File": loads["file"]})
    for column in COUNTS:
        table[column.capitalize()] = loads[column].astype("Int64")
    table["Refused because"] = loads["refused"].fillna("")
    return table if (table["Refused because"] != "").any() else table.drop(columns="Refused because")


def load_result(report: LoadReport, rejects: pd.DataFrame) -> LoadResult:
    """A load report of the store in words and frames; `rejects` are all that the store still holds."""
    taken = [file for file in report.files if file.refused is None]
    lines = [{"File": file.file, **{name.capitalize(): getattr(file, name) for name in COUNTS}} for file in taken]
    files = pd.DataFrame(lines, columns=["File", *(name.capitalize() for name in COUNTS)])
    of_this_load = rejects["load_id"].isin([file.load_id for file in report.files])
    return LoadResult(
        sentence=_load_sentence(files, report.count_mended) if taken else "",
        refused=tuple(file.refused for file in report.files if file.refused is not None),
        notes=report.notes,
        files=files,
        rejects=places(rejects[of_this_load]),
    )


def refused_load(why: str) -> LoadResult:
    """A load that did not happen at all, and why."""
    nothing = pd.DataFrame(columns=REJECT_COLUMNS)
    return LoadResult("", (why,), (), nothing, places(nothing))


def _load_sentence(files: pd.DataFrame, count_mended: int) -> str:
    """What one load did, in a sentence or two."""
    new, corrected, unchanged, rejected = (int(files[name.capitalize()].sum()) for name in COUNTS[1:])
    text = f"{words.count(new, 'new row')}, {words.number(corrected)} corrected, {words.number(unchanged)} unchanged"
    if count_mended:
        text += f", {words.number(count_mended)} mended"
    if rejected:
        return f"{text}; {words.count(rejected, 'row')} turned away, listed below with what to mend."
    return f"{text}. Nothing was turned away."


def needs() -> pd.DataFrame:
    """Which files give which answers: shown while nothing is loaded."""
    return pd.DataFrame(
        [
            ("players, rackets, strings, restrings", "a ranking from how long beds have lasted so far, and a forecast"),
            ("also matches and practices", "dates that follow how each racket is really played"),
            ("also inspections", "dates that follow what the string bed shows"),
            ("also the calendar", "the play that is planned, and whether rackets last to the next event"),
            ("also the bench", "whether the work of the weeks ahead fits the hours"),
        ],
        columns=["With these files", "you get"],
    )
