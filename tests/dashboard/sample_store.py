"""Stores made from sample_data by the real pipeline, for tests and pictures.

In: a folder to make the store in. Out: the store, as of the sample's last day; or the same after a file with mistakes.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import sample_data
from pipeline.refresh import refresh
from pipeline.store import Store

SAMPLE = Path(sample_data.__file__).parent
SUNDAY_EVENING = datetime(2026, 11, 15, 20, 0, tzinfo=UTC)
BAD_RESTRINGS = """restring_id,racket_id,strung_on,reason
BAD-1,NO-SUCH-RACKET,2026-11-10,broke
BAD-2,R001,2099-03-01,broke
BAD-3,R001,2026-11-12,it snapped
BAD-4,R001,12/11/2026,broke
"""


def make_sample_store(folder: Path) -> Store:
    """The invented academy, loaded and worked out."""
    store = Store(folder)
    store.create("Holm Ridge Academy")
    store.load(SAMPLE, now=SUNDAY_EVENING)
    refresh(store, now=SUNDAY_EVENING)
    return store


def load_mistakes(store: Store, folder: Path) -> None:
    """Load a file in which every row breaks the contract in another way."""
    path = folder / "restrings.csv"
    path.write_text(BAD_RESTRINGS, encoding="utf-8")
    store.load([path], now=SUNDAY_EVENING)
    refresh(store, now=SUNDAY_EVENING)
