"""The dashboard's only door to the store: which folder, which day is today, and each page's frame, cached by version.

In: the environment variables RACKET_FLEET_STORE (the store's folder, default ./club) and RACKET_FLEET_TODAY (an ISO
date that stands in for the clock in tests and pictures). Out: what `pipeline.fleet.frames` makes of the published
view. A published view never changes, so everything is cached by its version; a new version is simply another key.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from pipeline.fleet import frames
from pipeline.fleet.track_record import FILE
from pipeline.store import Store


def store_folder() -> Path:
    """Where the club's two files live."""
    return Path(os.environ.get("RACKET_FLEET_STORE") or "club")


def open_store() -> Store:
    """The store itself; cheap to make, it opens nothing before it is asked."""
    return Store(store_folder())


def today() -> date:
    """The club's day, unless the environment says otherwise."""
    told = os.environ.get("RACKET_FLEET_TODAY")
    return date.fromisoformat(told) if told else datetime.now(ZoneInfo(open_store().settings.time_zone)).date()


def load_day() -> date:
    """The day that dates in loaded files are held against: today, or the view's day if that is later."""
    return max(today(), club().as_of) if view_version() is not None else today()


def view_version() -> str | None:
    """The version of the published view; None where nothing has been loaded yet."""
    return open_store().view_version


@st.cache_data(max_entries=256, show_spinner=False)
def _frame(folder: str, version: str, name: str, *arguments: Any) -> Any:
    """One answer of `pipeline.fleet.frames`; the store keeps the connection behind it, one for each version."""
    with closing(Store(folder).view()) as view:
        answer: Callable[..., Any] = getattr(frames, name)
        return answer(view, *arguments)


def _ask(name: str, *arguments: Any) -> Any:
    version = view_version()
    if version is None:
        raise RuntimeError("No view is published: the router shows the first steps instead of a page.")
    return _frame(str(store_folder().resolve()), version, name, *arguments)


def club() -> frames.Club:
    """Name, dates and units of the club."""
    return _ask("club", today())


def choices() -> frames.Choices:
    """What the filters offer."""
    return _ask("choices")


def racket_names() -> dict[str, str]:
    """Every racket by number, with its player."""
    return _ask("racket_names")


def this_week(filters: frames.Filters) -> frames.ThisWeek:
    """The page This week."""
    return _ask("this_week", filters, today())


def racket(racket_id: str) -> frames.Racket | None:
    """The page of one racket."""
    return _ask("racket", racket_id, today())


def workload() -> frames.Workload:
    """The page Workload."""
    return _ask("workload", today())


def records() -> frames.Records:
    """The page Records."""
    return _ask("records", open_store().settings.time_zone)


def track_record() -> frames.TrackRecordPage:
    """The page Track record; the kept file changes without a new view, so its time belongs to the question."""
    folder = store_folder().resolve()
    kept = folder / FILE
    changed_at_ns = kept.stat().st_mtime_ns if kept.exists() else 0
    zone = open_store().settings.time_zone
    return _ask("track_record", str(folder), view_version(), zone, today(), changed_at_ns)
