"""Stores for the dashboard's tests: none, a small one with numbers to check by head, and the sample academy."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from pipeline.store import Store
from tests.dashboard import small_view
from tests.dashboard.sample_store import SUNDAY_EVENING, make_sample_store

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
PATIENCE_SECONDS = 30


@pytest.fixture(autouse=True)
def fresh_caches() -> Iterator[None]:
    """No frame of one test is served to another."""
    st.cache_data.clear()
    st.cache_resource.clear()
    yield
    st.cache_data.clear()
    st.cache_resource.clear()


@pytest.fixture
def view() -> Iterator[duckdb.DuckDBPyConnection]:
    """The small view, in memory."""
    con = duckdb.connect()
    small_view.write(con, with_books=True)
    yield con
    con.close()


FOUR_FILES = {
    "players.csv": "player_id,player_name,squad,level,spin\nP1,Ana Reed,Falcon,regional,heavy\n",
    "rackets.csv": (
        "racket_id,player_id,frame,mains,crosses,role,in_service_on\nA-1,P1,Kestrel 98,16,19,match,2026-01-10\n"
    ),
    "strings.csv": (
        "string_id,string_name,material,gauge_mm,profile,reel_m,reel_price\nS1,Lyra,polyester,1.25,round,200,90\n"
    ),
    "restrings.csv": (
        "restring_id,racket_id,strung_on,mains_string_id,mains_kg,reason\nX1,A-1,2026-10-26,S1,24,first\n"
    ),
}


@pytest.fixture
def small_store(tmp_path: Path) -> Store:
    """A real store whose published view is the small one."""
    given = tmp_path / "given"
    given.mkdir()
    store = Store(tmp_path / "club")
    for name, text in FOUR_FILES.items():
        (given / name).write_text(text, encoding="utf-8")
    store.load(given, now=SUNDAY_EVENING)
    store.publish(small_view.write, now=SUNDAY_EVENING)
    return store


@pytest.fixture(scope="session")
def academy_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample academy, loaded and refreshed by the real pipeline; copy it before writing to it."""
    return make_sample_store(tmp_path_factory.mktemp("academy") / "club").folder


@pytest.fixture
def academy(academy_folder: Path, tmp_path: Path) -> Store:
    """A copy of the sample academy's store, free to be written to."""
    return Store(shutil.copytree(academy_folder, tmp_path / "academy"))


@pytest.fixture
def open_page(monkeypatch: pytest.MonkeyPatch) -> Callable[..., AppTest]:
    """Open a page through the router, on a store, on a day, with what the address says after the question mark."""

    def opened(store: Store | Path, page: str | None = None, today: str = "2026-11-15", **query: str) -> AppTest:
        folder = store.folder if isinstance(store, Store) else store
        monkeypatch.setenv("RACKET_FLEET_STORE", str(folder))
        monkeypatch.setenv("RACKET_FLEET_TODAY", today)
        app = AppTest.from_file(str(APP), default_timeout=PATIENCE_SECONDS)
        if page is not None:
            app.run().switch_page(f"screens/{page}.py")
        for name, value in query.items():
            app.query_params[name] = value
        return app.run()

    return opened
