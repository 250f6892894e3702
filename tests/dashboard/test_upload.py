"""Bringing files in on a page: what came in, what was turned away and why, and the first run from nothing."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.upload import all_templates
from pipeline.contract import load_contract
from pipeline.store import Store
from tests.dashboard.conftest import FOUR_FILES

Opened = Callable[..., AppTest]


def upload(app: AppTest, **texts: str | bytes) -> AppTest:
    """Drop files into the box (name without .csv = content) and press the button."""
    given = [
        (f"{name}.csv", text if isinstance(text, bytes) else text.encode(), "text/csv") for name, text in texts.items()
    ]
    app.file_uploader[0].set_value(given).run()
    next(button for button in app.button if button.label == "Load these files").click().run()
    assert not app.exception, app.exception
    return app


def test_good_file_is_counted(small_store: Store, open_page: Opened) -> None:
    text = "match_id,player_id,racket_id,played_on,format,minutes\nM1,P1,A-1,2026-11-01,singles,80\n"
    app = upload(open_page(small_store, "records"), matches=text)
    assert app.success[0].value == "1 new row, 0 corrected, 0 unchanged. Nothing was turned away."
    counts = app.dataframe[0].value.set_index("File").loc["matches.csv"]
    assert counts["Read"] == 1
    assert counts["New"] == 1
    assert small_store.view_version == "2"


def test_bad_row_is_turned_away_with_its_place_and_what_to_mend(small_store: Store, open_page: Opened) -> None:
    text = (
        "match_id,player_id,racket_id,played_on,format,minutes\n"
        "M1,P1,A-1,2026-11-01,singles,-5\nM2,P1,A-1,2026-11-02,singles,60\n"
    )
    app = upload(open_page(small_store, "records"), matches=text)
    assert (
        app.warning[-1].value
        == "1 new row, 0 corrected, 0 unchanged; 1 row turned away, listed below with what to mend."
    )
    (row,) = app.dataframe[1].value.to_dict("records")
    assert (row["file"], row["line"], row["column"], row["value"]) == ("matches.csv", 2, "minutes", "-5")
    assert "minutes" in row["message"]
    assert app.title[0].value == "1 row to mend in 1 file; everything else is in"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("matches", b"\x00\x01\x02\xff" * 200),
        ("matches", b""),
        ("matches", b"a,b\n1,2\n"),
        ("holiday-photos", b"a,b\n1,2\n"),
    ],
    ids=["binary", "empty", "wrong header", "unknown name"],
)
def test_refused_file_is_one_sentence_and_changes_nothing(
    small_store: Store, open_page: Opened, name: str, content: bytes
) -> None:
    app = upload(open_page(small_store, "records"), **{name: content})
    assert len(app.error) == 1
    assert f"{name}.csv" in app.error[0].value.replace("\\", "")
    assert "Traceback" not in app.error[0].value
    assert small_store.view_version == "1"


def test_the_button_waits_for_a_file(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "records")
    assert [button.disabled for button in app.button if button.label == "Load these files"] == [True]


def test_store_held_by_another_writer_is_one_sentence(
    small_store: Store, open_page: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard import data
    from pipeline.store import StoreBusyError

    def busy(*_: object, **__: object) -> None:
        raise StoreBusyError("the store is being written to by another program: wait a moment and load again.")

    app = open_page(small_store, "records")
    monkeypatch.setattr(data.Store, "load", busy)
    upload(app, matches="match_id\nM1\n")
    assert "wait a moment and load again" in app.error[0].value


def test_first_run_leads_from_nothing_to_a_ranking(tmp_path: Path, open_page: Opened) -> None:
    app = open_page(tmp_path / "club")
    upload(app, **{name.removesuffix(".csv"): text for name, text in FOUR_FILES.items()})
    assert "Load four files" not in app.title[0].value
    assert app.selectbox[0].label == "Squad"
    assert Store(tmp_path / "club").view_version == "1"


def test_every_file_of_the_contract_has_a_template(small_store: Store, open_page: Opened) -> None:
    names = {resource.file_name for resource in load_contract().resources.values()}
    with zipfile.ZipFile(io.BytesIO(all_templates())) as packed:
        assert set(packed.namelist()) == names
    app = open_page(small_store, "records")
    assert names <= {button.label for button in app.get("download_button")}


def test_templates_load_as_they_are(tmp_path: Path) -> None:
    """A template's example rows are good rows: someone who only overwrites the values starts from a file that loads."""
    folder = tmp_path / "templates"
    with zipfile.ZipFile(io.BytesIO(all_templates())) as packed:
        packed.extractall(folder)
    store = Store(tmp_path / "club")
    report = store.load(folder, load_day=None)
    assert report.refused == ()
    rejects = store.rejects()
    assert rejects.empty, rejects[["file", "column", "value", "message"]].to_string()
