"""The product as the trial sees it: a club's folder in, its snapshot at any origin out.

The folder is loaded once into a fresh store in a scratch folder; each origin is then a snapshot with that `as_of`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path

from tests.trial.harness import Forecaster
from tests.trial.records import read_table


@contextmanager
def open_club(folder: Path) -> Iterator[Callable[[date], Forecaster]]:
    """Load a folder through the store and give the function that takes an origin to a snapshot."""
    from pipeline.fleet.snapshot import snapshot
    from pipeline.store import Store

    last = read_table(folder / "restrings.csv")["strung_on"].max()
    now = datetime.combine(last.date() + timedelta(days=60), datetime.min.time())
    with tempfile.TemporaryDirectory() as scratch:
        store = Store(Path(scratch) / "club")
        store.load([folder], now=now)
        with store.facts() as con:
            yield lambda origin: snapshot(con, origin)
