"""A store in, its track record out: worked out on request, kept beside the view, read back by the page.

The kept file, `track-record.json`, is derived: it may be deleted and worked out anew. It holds the backtest, the day up
to which the log counted, the instant it was worked out (UTC) and the version of the view it belongs to.
"""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.fleet.backtest import DEFAULT_WEEKS, Backtest, Progress, backtest
from pipeline.fleet.kept_fit import kept_by_hand
from pipeline.sql import last_logged_day
from pipeline.store import Store, StoreError
from pipeline.store.schema import create_tables

FILE = "track-record.json"
FORMAT = 1
DATES = {"rackets": ("origin",), "weeks": ("origin", "starts_on")}
TEXTS = ("racket_id", "bed_id", "outcome")


@dataclass(frozen=True)
class TrackRecord:
    """A backtest with its circumstances; view_version is None where no view was published."""

    backtest: Backtest
    worked_out_at: datetime
    view_version: str | None


def work_out(
    store: Store,
    weeks: int = DEFAULT_WEEKS,
    on: date | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> TrackRecord:
    """The track record over the last `weeks` up to `on` (default: the last logged day); nothing is kept."""
    version = store.view_version
    with closing(duckdb.connect()) as con:
        last = _copy_facts(store, con)
        as_of = min(on or last, last) if last else None
        if as_of is None:
            raise StoreError(f"{store.folder} has no dated record yet: load restrings, matches or practices first.")
        found = backtest(con, as_of, weeks, store.settings, progress=progress, kept=kept_by_hand(store))
    return TrackRecord(found, now or datetime.now(UTC), version)


def _copy_facts(store: Store, con: duckdb.DuckDBPyConnection) -> date | None:
    """Copy the clean tables to `con`, so that nobody who wants to write waits for the backtest; the last logged day."""
    create_tables(con, "facts", store.contract)
    with store.facts() as facts:
        for name in store.contract.resources:
            con.register("incoming", facts.sql(f'from facts."{name}"').to_arrow_table())
            con.execute(f'insert into facts."{name}" by name from incoming')
            con.unregister("incoming")
    return last_logged_day(con)


def keep(store: Store, record: TrackRecord) -> None:
    """Write the track record into the store's folder in one step."""
    b = record.backtest
    frames = {"rackets": b.rackets, "weeks": b.weeks}
    text = json.dumps(
        {
            "format": FORMAT,
            "as_of": b.as_of.isoformat(),
            "worked_out_at": record.worked_out_at.astimezone(UTC).isoformat(timespec="seconds"),
            "view_version": record.view_version,
            "weeks_asked": b.weeks_asked,
            "count_left_out": b.count_left_out,
            "count_new_ended": b.count_new_ended,
        }
        | {name: _plain(frame, name) for name, frame in frames.items()},
        allow_nan=False,
    )
    path = store.folder / FILE
    fresh = path.with_name(FILE + ".new")
    try:
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written ({error.strerror or error}), so the track record is not kept: check the "
            "permissions of the folder."
        ) from error


def kept(folder: Path) -> TrackRecord | None:
    """The track record kept in a store's folder; None where none is."""
    path = folder / FILE
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    try:
        found = json.loads(text)
        if found["format"] != FORMAT:
            raise ValueError(f"format {found['format']}")
        frames = {name: _frame(found[name], name) for name in DATES}
        made = Backtest(
            date.fromisoformat(found["as_of"]),
            found["weeks_asked"],
            frames["rackets"],
            frames["weeks"],
            found["count_left_out"],
            found["count_new_ended"],
        )
        return TrackRecord(made, datetime.fromisoformat(found["worked_out_at"]), found["view_version"])
    except (ValueError, KeyError, TypeError) as error:
        raise StoreError(
            f"{path} is damaged or of another version of the program: work the track record out anew, which "
            "replaces it."
        ) from error


def _plain(frame: pd.DataFrame, name: str) -> dict[str, list[object]]:
    """Columns as lists that JSON can hold to the last digit: dates as text, what is not known as null."""
    dated = frame.assign(**{column: frame[column].map(date.isoformat) for column in DATES[name]}).astype(object)
    return {str(column): values.tolist() for column, values in dated.where(dated.notna(), None).items()}


def _frame(columns: dict[str, list[object]], name: str) -> pd.DataFrame:
    read = pd.DataFrame(columns)
    for column in read.columns:
        if column in DATES[name]:
            read[column] = read[column].map(date.fromisoformat)
        elif column not in TEXTS:
            read[column] = pd.to_numeric(read[column])
    return read
