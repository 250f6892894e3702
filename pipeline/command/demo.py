"""The shipped sample data in, a freshly loaded store with a published view out."""

from __future__ import annotations

import csv
from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from datetime import UTC, date, datetime
from importlib.resources import as_file, files
from pathlib import Path

import pandas as pd

from pipeline.contract import Contract, load_contract
from pipeline.store import Store, StoreError
from pipeline.store.loading import Progress

MARK = "demo.txt"
MARK_TEXT = "This store holds an invented academy. `racket-fleet demo` empties this folder and loads it anew.\n"
CLUB_NAME = "Sample academy"


def last_recorded_day(folder: Path, contract: Contract) -> date | None:
    """The latest day on which something is said to have happened in a folder of CSV files that keep the contract.

    The demo takes it as today where the clock of the machine is behind it.
    """
    latest = ""
    for resource in contract.resources.values():
        path = folder / resource.file_name
        names = [field.name for field in resource.fields if field.dates == "recorded"]
        if not names or not path.exists():
            continue
        with path.open(encoding="utf-8-sig", newline="") as text:
            for row in csv.DictReader(text):
                latest = max([latest, *(row.get(name) or "" for name in names)])
    return date.fromisoformat(latest[:10]) if latest else None


def _empty(folder: Path) -> None:
    """Remove an earlier demo's files; anything else in the way is left alone and said."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise StoreError(f"{folder} is a file and no folder: name another folder with --store.")
    inside = list(folder.iterdir())
    if inside and not (folder / MARK).exists():
        raise StoreError(f"{folder} is there and is no demo club: name another folder with --store.")
    for path in inside:
        if path.is_file() and path.name != MARK:
            path.unlink()


def empty_demo(folder: Path) -> Store:
    """A demo club without records, in place of an earlier one; raises where the folder holds anything else.

    The mark is there from first to last, so a process killed in between leaves a folder that the next demo takes.
    """
    _empty(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARK).write_text(MARK_TEXT, encoding="utf-8")
    store = Store(folder)
    store.create(name=CLUB_NAME)
    return store


def fresh_demo(folder: Path, progress: Callable[[], AbstractContextManager[Progress]]) -> Store:
    """Load the sample academy into `folder`, which is emptied first if it holds an earlier demo."""
    store = empty_demo(folder)
    with as_file(files("sample_data")) as samples:
        last_day = last_recorded_day(samples, load_contract())
        today = datetime.now(UTC).date()
        with progress() as show:
            store.load(samples, progress=show, load_day=max(today, last_day or today))
    from pipeline.refresh import refresh

    refresh(store)
    return store


def published_ranking(store: Store) -> tuple[pd.DataFrame, date]:
    """The published ranking of the rackets that have strings in, and the day it stands for."""
    with closing(store.view()) as view:
        frame = view.execute("select * from ranking where bed_id is not null order by rank").df()
        ((as_of,),) = view.execute("select cast(value as date) from meta where key = 'as_of'").fetchall()
    return frame, as_of
