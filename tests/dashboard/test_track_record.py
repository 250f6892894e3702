"""The page Track record through the router: nothing worked out, the button, worked out, out of date, damaged."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.palette import palette
from dashboard.record_charts import calibration, weekly_bands
from pipeline.fleet.frames.track_record import _calibration, _parameters_note, _weeks
from pipeline.fleet.track_record import FILE, keep, kept, work_out
from pipeline.refresh import refresh
from pipeline.store import Store
from tests.dashboard.test_pages import said, title
from tests.fleet.club_files import write_files
from tests.fleet.test_backtest import twenty_calls
from tests.small_club import NOW

Opened = Callable[..., AppTest]


@pytest.fixture(scope="module")
def club_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A club of sixteen weeks with a published view."""
    folder = tmp_path_factory.mktemp("club")
    store = Store(folder / "store")
    store.load(write_files(folder / "files"), now=NOW)
    refresh(store, now=NOW)
    return store.folder


@pytest.fixture
def small_club(club_folder: Path, tmp_path: Path) -> Store:
    """A copy of it, free to be written to."""
    return Store(shutil.copytree(club_folder, tmp_path / "copy"))


def test_nothing_is_worked_out_on_opening_the_page(small_club: Store, open_page: Opened) -> None:
    app = open_page(small_club, "track_record")
    assert title(app) == "No track record has been worked out yet"
    assert "Press the button: every forecast of the last twelve weeks is made again" in said(app)
    assert not (small_club.folder / FILE).exists()
    assert [button.label for button in app.button] == ["Work out the track record"]


def test_the_button_works_it_out_and_keeps_it(small_club: Store, open_page: Opened) -> None:
    app = open_page(small_club, "track_record")
    app.button[0].click().run(timeout=120)
    record = kept(small_club.folder)
    assert record is not None and record.backtest.count_weeks == 10
    words = said(app)
    assert re.match(r"(Of \d+|No racket was) called due[,;] \d+ came in", title(app))
    assert "The times-a-week rule would have called" in words
    assert re.search(r"Weekly restrings: \d+ of 10 weeks came out inside the band", words)
    assert "over 10 weeks, Sun 18 Jan to Sat 28 Mar: the records reach back far enough for these of 12 weeks" in words
    assert [button.label for button in app.button] == ["Work it out anew"]
    calls = app.dataframe[0].value
    assert list(calls["Way to call"])[:2] == ["This forecast", "Times a week"]
    assert (calls["Called due"] >= calls["Came in"]).all()
    assert [name for name in calls if calls[name].dtype.kind == "O"] == ["Way to call"]


def test_a_kept_record_is_read_back_in_the_same_words(small_club: Store, open_page: Opened) -> None:
    record = work_out(small_club, weeks=2, now=NOW)
    keep(small_club, type(record)(twenty_calls(), NOW, small_club.view_version))
    app = open_page(small_club, "track_record")
    assert title(app) == "Of 20 called due, 17 came in within two weeks; 3 came in that were not called"
    assert "Worked out on Mon 1 Jun 2026 over 1 week, Mon 2 Mar to Sun 15 Mar" in said(app)
    calls = app.dataframe[0].value.set_index("Way to call")
    assert calls.loc["This forecast"].tolist() == [20, 17, 85, 3]
    assert calls.loc["40 hours of play", "Called due"] == 44
    assert app.dataframe[2].value.set_index("Forecast by").loc["This forecast", "Against the average"] == 0.5


def test_a_record_of_an_earlier_view_is_said_to_be_out_of_date(small_club: Store, open_page: Opened) -> None:
    keep(small_club, work_out(small_club, weeks=2, now=NOW))
    assert "out of date" not in said(open_page(small_club, "track_record"))
    refresh(small_club, now=NOW)
    app = open_page(small_club, "track_record")
    assert "This track record is out of date. Records or settings have been loaded since." in said(app)
    assert "called due" in title(app)
    assert [button.label for button in app.button] == ["Work it out anew"]


def test_a_record_that_ends_before_the_log_says_so(small_club: Store, open_page: Opened) -> None:
    record = work_out(small_club, weeks=2, now=NOW)
    keep(small_club, type(record)(twenty_calls(), NOW, "0"))
    words = said(open_page(small_club, "track_record"))
    assert "It ends on Sun 15 Mar 2026; the log now reaches Sat 28 Mar 2026." in words


def test_a_damaged_record_does_not_take_the_page_down(small_club: Store, open_page: Opened) -> None:
    (small_club.folder / FILE).write_text("{", encoding="utf-8")
    app = open_page(small_club, "track_record")
    assert title(app) == "No track record has been worked out yet"
    assert "is damaged or of another version of the program" in said(app)


def test_a_club_with_too_little_history_is_told_so(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "track_record")
    app.button[0].click().run(timeout=60)
    assert "The restrings on file reach from 2026-10-26 to 2026-10-26, which is too short to look back on" in said(app)
    assert kept(small_store.folder) is None


def test_every_number_in_force_is_listed_with_its_standing(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "track_record")
    numbers = app.dataframe[0].value
    assert list(numbers["Number"]) == ["shape breaks", "gauge exponent", "strung part of pull"]
    assert list(numbers["Standing"]) == ["learned here", "assumption", "published"]
    assert numbers["Trade value"].tolist() == [3.0, 2.5, 0.7] and numbers["In force"].tolist() == [2.4, 2.5, 0.7]
    assert numbers["Source of the trade value"][2].startswith("Cross & Bower")
    assert "3 numbers: 1 learned from this club's records, 1 trade values that are assumptions, 1 with" in said(app)
    assert numbers["Evidence"].tolist() == ["12 held-out weeks: better", "", ""]
    assert any("12 held-out weeks" in caption.value for caption in app.caption)


@pytest.mark.parametrize("is_narrow", [False, True])
def test_the_charts_show_every_tenth_and_every_week(is_narrow: bool) -> None:
    b, colours = twenty_calls(), palette("light")
    points, weeks = _calibration(b), _weeks(b)
    figure = calibration(points, colours, is_narrow)
    assert list(figure.data[1].x) == pytest.approx([0.2, 0.8])
    assert list(figure.data[1].y) == pytest.approx([3 / 63, 17 / 20])
    assert [note.text for note in figure.layout.annotations] == ["63", "20"]
    assert "17 of 20" not in points["words"][1] and "85 % of 20 rackets" in points["words"][1]
    bars = weekly_bands(weeks, colours, is_narrow)
    assert (bars.data[0].base[0], bars.data[0].y[0]) == (15.0, 9.0)
    assert [trace.name for trace in bars.data][2:] == ["came"]
    outside = weekly_bands(weeks.assign(real=40, is_inside=False), colours, is_narrow)
    assert outside.data[2].name == "outside" and outside.data[2].marker.symbol == "circle-open"


def test_the_note_says_how_each_limit_was_decided_and_no_more() -> None:
    """What a single number rests on stands in its row alone."""
    shown = pd.DataFrame(
        {
            "Number": ["shape breaks", "shape goes dead", "notching severe", "gauge exponent"],
            "Standing": ["learned here"] * 4,
            "Evidence": ["9 weeks: better", "9 weeks: no better", "5.1 endings after such a look", "9 weeks: better"],
        }
    )
    note = _parameters_note(shown, "")
    assert note.count("9 weeks: better.") == 1 and "9 weeks: no better." in note and "such a look" not in note
