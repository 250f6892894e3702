"""The store: a club's CSV files in, checked facts with their history out, and the published view beside them."""

from pipeline.store.entering import FreshId
from pipeline.store.errors import (
    EntryRefusedError,
    FileRefusedError,
    Refusal,
    SettingsError,
    StoreBusyError,
    StoreError,
    UnreadableViewError,
)
from pipeline.store.report import FileReport, LoadReport
from pipeline.store.settings import ClubSettings
from pipeline.store.store import Store

__all__ = [
    "ClubSettings",
    "EntryRefusedError",
    "FileRefusedError",
    "FileReport",
    "FreshId",
    "LoadReport",
    "Refusal",
    "SettingsError",
    "Store",
    "StoreBusyError",
    "StoreError",
    "UnreadableViewError",
]
