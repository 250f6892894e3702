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
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from pipeline.fleet import frames, words
from pipeline.fleet.frames import forms, mending, writing
from pipeline.fleet.track_record import FILE
from pipeline.refresh import refresh
from pipeline.store import ClubSettings, Store, UnreadableViewError
from pipeline.store.settings import FILE_NAME

_renewing = Lock()


def store_folder() -> Path:
    """Where the club's two files live."""
    return Path(os.environ.get("RACKET_FLEET_STORE") or "club")


def open_store() -> Store:
    """The store itself; cheap to make, it opens nothing before it is asked."""
    return Store(store_folder())


def settings() -> ClubSettings:
    """The club's settings, read again only when club.toml has changed."""
    path = store_folder() / FILE_NAME
    return _settings(str(store_folder()), path.stat().st_mtime_ns if path.exists() else 0)


@lru_cache(maxsize=4)
def _settings(folder: str, changed_at_ns: int) -> ClubSettings:
    return Store(folder).settings


def today() -> date:
    """The club's day, unless the environment says otherwise."""
    told = os.environ.get("RACKET_FLEET_TODAY")
    return date.fromisoformat(told) if told else datetime.now(ZoneInfo(settings().time_zone)).date()


def load_day() -> date:
    """The day that dates in loaded files are held against: today, or the view's day if that is later."""
    return max(today(), club().as_of) if view_version() is not None else today()


def now_text() -> str:
    """The club's day and time as a form writes them; the day alone where the environment says which day it is."""
    if os.environ.get("RACKET_FLEET_TODAY"):
        return today().isoformat()
    return datetime.now(ZoneInfo(settings().time_zone)).strftime("%Y-%m-%dT%H:%M")


def view_version() -> str | None:
    """The version of the published view; None where nothing has been loaded yet."""
    return open_store().view_version


def is_view_readable() -> bool:
    """Whether there is no view yet, or one that this version of the program can read."""
    store = open_store()
    try:
        if store.view_version is not None:
            store.view().close()
    except UnreadableViewError:
        return False
    return True


def renew_view() -> None:
    """Work the view out anew, unless another session has just done so."""
    with _renewing:
        if not is_view_readable():
            refresh(open_store())


@st.cache_data(max_entries=16, show_spinner=False)
def _facts(folder: str, changed_at_ns: int, name: str, *arguments: Any) -> Any:
    """One answer of `frames.writing`, read from the facts themselves; cached until they change."""
    with Store(folder).facts() as con:
        answer: Callable[..., Any] = getattr(mending if hasattr(mending, name) else writing, name)
        return answer(con, *arguments)


def _ask_facts(name: str, *arguments: Any) -> Any:
    store = open_store()
    return _facts(str(store.folder.resolve()), store.facts_path.stat().st_mtime_ns, name, *arguments)


def known() -> forms.Known:
    """What the forms of Write down offer; nothing while nothing is recorded."""
    if not open_store().exists:
        return forms.Known({}, {}, {}, (), (), ())
    return _ask_facts("known", settings().tension_unit, today())


def rows_to_correct(resource: str) -> pd.DataFrame:
    """The newest rows of one file."""
    return _ask_facts("rows_to_correct", resource)


def resources_to_mend() -> dict[str, str]:
    """Files with rejected rows that wait to be mended, with their count."""
    return _ask_facts("resources_to_mend") if open_store().exists else {}


def rows_to_mend(resource: str) -> pd.DataFrame:
    """The rejected rows of one file."""
    return _ask_facts("rows_to_mend", resource)


def entries() -> pd.DataFrame:
    """What was written down by hand, newest first."""
    store = open_store()
    return store.entries() if store.exists else pd.DataFrame(columns=["entry_id", "at", "by", "what", "is_undone"])


def history(resource: str) -> pd.DataFrame:
    """Rows of one file that were replaced or taken back."""
    return open_store().history(resource)


def next_racket_id() -> str:
    """A free racket number to propose."""
    return open_store().new_id("rackets", "R")


def locale() -> str:
    """How the club writes numbers, money and dates."""
    return settings().locale


def tension_unit() -> str:
    """kg or lb, as the club has it."""
    return settings().tension_unit


def time_zone() -> str:
    """The club's time zone."""
    return settings().time_zone


def last_log_on() -> date | None:
    """The day of the newest record; None while nothing is worked out."""
    return club().last_log_on if view_version() is not None else None


@st.cache_data(max_entries=256, show_spinner=False)
def _frame(folder: str, version: str, locale: str, name: str, *arguments: Any) -> Any:
    """One answer of `pipeline.fleet.frames`; the store keeps the connection behind it, one for each version."""
    with words.in_locale(locale), closing(Store(folder).view()) as view:
        answer: Callable[..., Any] = getattr(frames, name)
        return answer(view, *arguments)


def _ask(name: str, *arguments: Any) -> Any:
    version = view_version()
    if version is None:
        raise RuntimeError("No view is published: the router shows the first steps instead of a page.")
    return _frame(str(store_folder().resolve()), version, settings().locale, name, *arguments)


def club() -> frames.Club:
    """Name, dates and units of the club."""
    return _ask("club", today())


def choices() -> frames.Choices:
    """What the filters offer."""
    return _ask("choices")


def racket_names() -> dict[str, str]:
    """Every racket by number, with its player."""
    return _ask("racket_names")


def racket_names_to_inspect() -> dict[str, str]:
    """Every racket by number, with its player, those most worth a look first."""
    names = racket_names()
    return {number: names[number] for number in _ask("inspect_order")}


def inspect(racket_id: str) -> frames.Inspect | None:
    """The page Inspect for one racket."""
    return _ask("inspect", racket_id, today())


def this_week(filters: frames.Filters) -> frames.ThisWeek:
    """The page This week."""
    return _ask("this_week", filters, today())


def messages(rackets: tuple[str, ...]) -> tuple[frames.Message, ...]:
    """A message to each player whose rackets these are."""
    return _ask("messages", rackets, today(), settings().ready_days_before_match)


def hand_in_rows(rackets: tuple[str, ...]) -> pd.DataFrame:
    """The rows of the printed hand-in list."""
    return _ask("hand_in_rows", rackets, today(), settings().ready_days_before_match)


def racket(racket_id: str) -> frames.Racket | None:
    """The page of one racket."""
    return _ask("racket", racket_id, today())


def workload() -> frames.Workload:
    """The page Workload."""
    return _ask("workload", today())


def records() -> frames.Records:
    """The page Records."""
    return _ask("records", settings().time_zone)


def reels() -> frames.ReelsPage:
    """The page Reels; what club.toml says of money changes without a new view, so it belongs to the question."""
    return _ask("reels", str(store_folder().resolve()), today(), repr(settings()))


def what_if_page() -> frames.WhatIfPage:
    """The form of the page What if."""
    return _ask("what_if_page", today())


def what_if_told(asked: frames.Asked) -> frames.Told:
    """The answer to it; raises StoreError where the question does not fit what is on file."""
    return _ask("what_if_told", str(store_folder().resolve()), asked, today(), repr(settings()))


def track_record() -> frames.TrackRecordPage:
    """The page Track record; the kept file changes without a new view, so its time belongs to the question."""
    folder = store_folder().resolve()
    kept = folder / FILE
    changed_at_ns = kept.stat().st_mtime_ns if kept.exists() else 0
    zone = settings().time_zone
    return _ask("track_record", str(folder), view_version(), zone, today(), changed_at_ns)
