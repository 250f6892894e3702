"""The page What if through the router: the question, the answer, a question that changes nothing."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.change_chart import changes_against_now
from dashboard.palette import palette
from pipeline.fleet import words
from pipeline.refresh import refresh
from pipeline.store import Store
from tests.dashboard.test_pages import said, title
from tests.fleet.club_files import write_files
from tests.small_club import NOW

Opened = Callable[..., AppTest]
DAY = "2026-03-28"


@pytest.fixture(scope="module")
def club_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A club of sixteen weeks."""
    folder = tmp_path_factory.mktemp("what-if")
    store = Store(folder / "store")
    store.load(write_files(folder / "files"), now=NOW)
    refresh(store, now=NOW)
    return store.folder


@pytest.fixture
def club(club_folder: Path, tmp_path: Path) -> Store:
    """A copy of it, free to be written to."""
    return Store(shutil.copytree(club_folder, tmp_path / "copy"))


def heading(app: AppTest) -> str:
    """The title as a reader sees it."""
    return re.sub(r"\\([^\w\s])", r"\1", title(app))


def ask(app: AppTest) -> AppTest:
    return app.button[[b.label for b in app.button].index("Work it out")].click().run(timeout=60)


def test_it_opens_with_the_usual_question_answered(club: Store, open_page: Opened) -> None:
    app = open_page(club, "what_if", today=DAY)
    assert re.match(r"Restrung at 100 % of its life for U1[68]: about \d+ (more|fewer) restrings", heading(app))
    assert "Play on dead strings goes from" in said(app)
    assert app.button_group[0].value == "at a part of its life"
    assert list(app.selectbox[0].options)[:2] == ["Squad U16", "Squad U18"]
    file = club.folder / "plan-what-if.json"
    made_at = file.stat().st_mtime_ns
    assert title(open_page(club, "what_if", today=DAY)) == title(app)
    assert file.stat().st_mtime_ns == made_at, "the answer is kept"


def test_a_policy_is_answered_and_kept(club: Store, open_page: Opened) -> None:
    app = open_page(club, "what_if", today=DAY)
    app.button_group[0].set_value("after hours of play").run()
    app.number_input(key="what if after hours of play").set_value(4.0)
    ask(app)
    words = r"Restrung after 4 h of play for U16: about \d+ more restrings and €\d+ more in 12 weeks"
    assert re.match(words, heading(app))
    assert "Play on dead strings goes from" in said(app) and "4 rackets looked at." in said(app)
    assert "If a break in a match costs as much as 5 restrings, it is cheapest to" in said(app)
    table = app.dataframe[0].value
    assert list(table.iloc[:, 0])[:2] == ["Restrings", "Hours at the bench"]
    assert table["Change"][0].startswith("+")
    file = club.folder / "plan-what-if.json"
    made_at = file.stat().st_mtime_ns
    again = open_page(club, "what_if", today=DAY)
    again.button_group[0].set_value("after hours of play").run()
    again.number_input(key="what if after hours of play").set_value(4.0)
    assert title(ask(again)) == title(app)
    assert file.stat().st_mtime_ns == made_at


def test_a_phone_gets_the_band_whole_in_dollars_too(club: Store, open_page: Opened) -> None:
    """The table's cells read Markdown: a dollar sign is written as one, not as the start of a formula."""
    app = open_page(club, "what_if", today=DAY)
    wide = app.dataframe[0].value
    (club.folder / "club.toml").write_text('currency = "USD"\n', encoding="utf-8")
    app.session_state["is_narrow"] = True
    app.run(timeout=60)
    assert not app.dataframe
    lines = app.table[0].value
    assert list(lines.columns) == ["Measure", "As\u00a0now", "Then", "Band"]  # a heading of one line
    bands = dict(zip(lines["Measure"], lines["Band"], strict=True))
    assert bands["Play on dead strings"].endswith("\u00a0points")  # a unit never stands alone on the next line
    of_dead = str(wide.set_index("Measure").loc["Play on dead strings", "Band"])
    assert bands["Play on dead strings"] == words.breaking_at_to(of_dead)
    assert "\\$" in bands["Cost of string"] and "$" not in bands["Cost of string"].replace("\\$", "")


def test_a_question_that_changes_nothing_is_said(club: Store, open_page: Opened) -> None:
    app = open_page(club, "what_if", today=DAY)
    app.button_group[0].set_value("as now").run()
    ask(app)
    assert "Nothing would change: choose another string, gauge or restring policy." in said(app)
    assert title(app) == "What would another string or restring policy change?"


def test_another_string_of_materials_not_strung_here_warns(club: Store, open_page: Opened) -> None:
    app = open_page(club, "what_if", today=DAY)
    app.button_group[0].set_value("as now").run()
    app.selectbox[1].set_value("poly")
    app.selectbox[2].set_value("multi")
    ask(app)
    assert heading(app).startswith("Poly / Multi for U16: about ")
    assert "These materials have ended fewer than ten beds here, so the bands are wide" in said(app)


@pytest.mark.parametrize("narrow", [False, True])
def test_the_chart_shows_each_change_with_its_band(narrow: bool) -> None:
    rows = pd.DataFrame(
        {
            "name": ["Restrings", "Cost"],
            "part": [0.2, -0.1],
            "low": [0.1, -0.2],
            "high": [0.3, 0.0],
            "hover": ["a", "b"],
        }
    )
    figure = changes_against_now(rows, palette("light"), narrow)
    assert list(figure.data[0].x) == [0.1, 0.3]
    assert list(figure.data[2].text) == ["+20 %", "−10 %"]
    left, right = figure.layout.xaxis.range
    assert left < -0.2 and right > 0.3, "no band ends at the edge of the picture"
