"""Inspect: the page of a racket's label, what a saved look writes down, and what it says the look changed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb
import pytest
from streamlit.testing.v1 import AppTest

from dashboard import sign_pictures
from dashboard.palette import palette
from pipeline.contract import load_contract
from pipeline.fleet import frames
from pipeline.fleet.frames.inspect import SIGN_LABELS, Standing, signs_of
from pipeline.store import Store
from tests.dashboard.small_view import AS_OF

Opened = Callable[..., AppTest]
MATERIALS = load_contract().resources["strings"].field("material").choices


def test_the_label_opens_the_racket_and_says_why_to_look(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "inspect", racket="B-2")
    assert not app.exception
    assert app.title[0].value.replace("\\", "").endswith(" What does it show?")
    assert "A look changes the call in 4 of 10 cases" in app.markdown[0].value.replace("\\", "")
    assert app.selectbox[0].value == "B-2"


def test_a_number_that_is_not_on_file_is_said(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "inspect", racket="Z-9")
    assert app.title[0].value.replace("\\", "") == "There is no racket Z-9 on file"
    assert app.selectbox[0].value is None, "nothing is graded before a racket is chosen"
    assert not any("show?" in title.value for title in app.title)
    app.selectbox[0].set_value("B-2").run()
    assert "B-2 is" in app.title[0].value.replace("\\", "")
    assert app.query_params["racket"] in ("B-2", ["B-2"])


def test_a_racket_without_strings_is_not_graded(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "inspect", racket="D-1")
    assert app.title[0].value == "D-1 has no restring on file"
    assert "last restring" in app.info[0].value


def test_rackets_worth_a_look_come_first(view: duckdb.DuckDBPyConnection) -> None:
    assert frames.inspect_order(view)[:3] == ["B-2", "C-1", "A-1"]
    assert len(frames.inspect_order(view)) == 7


def test_a_saved_look_is_written_down_and_its_change_is_said(
    academy: Store, open_page: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = open_page(academy, "inspect")
    racket = str(app.selectbox[0].value)
    look = Look(academy.folder, racket, {"notching": "3", "lost_feel": "2", "pitch_hz": "560", "note": "cross 7"})
    app = AppTest.from_function(look.save, kwargs={"racket": racket, "values": look.values}, default_timeout=60).run()
    assert not app.exception, app.exception
    (row,) = academy.records("inspections").query("note == 'cross 7'").to_dict("records")
    assert (row["racket_id"], row["notching"], row["lost_feel"], row["pitch_hz"]) == (racket, 3, 2, 560)
    assert row["inspected_on"].date() == AS_OF
    change = app.session_state["what the look changed"]
    assert change["change"].title.replace("\u00a0", " ").startswith(f"Saved: {racket} is ")
    view = Store(academy.folder).view()
    after = frames.inspect(view, racket, AS_OF)
    view.close()
    assert after is not None
    assert list(change["change"].table["After it"])[1] == (after.standing.when or "no date")


def test_a_look_against_the_contract_changes_nothing_and_says_what_to_mend(academy: Store, open_page: Opened) -> None:
    open_page(academy, "inspect")
    count = len(academy.records("inspections"))
    look = Look(academy.folder, "R034", {"pitch_hz": "not a number"})
    app = AppTest.from_function(look.save, kwargs={"racket": "R034", "values": look.values}, default_timeout=60).run()
    assert not app.exception, app.exception
    racket, refused = app.session_state["look refused"]
    assert racket == "R034"
    assert "pitch" in refused.at_field["pitch_hz"].lower()
    assert app.session_state["look kept open"] == {"R034": {"pitch_hz": "not a number"}}
    assert len(academy.records("inspections")) == count


class Look:
    """What the sheet sends when its button is pressed."""

    def __init__(self, folder: Path, racket: str, values: dict[str, str]) -> None:
        self.values = values

    @staticmethod
    def save(racket: str, values: dict[str, str]) -> None:
        from dashboard.looking import write_down

        write_down(racket, values)


@pytest.mark.parametrize("material", MATERIALS)
def test_every_grade_of_every_sign_has_a_picture_of_its_own(material: str) -> None:
    for theme in ("light", "dark"):
        drawn = {
            sign_pictures.sign_svg(sign, grade, material, palette(theme)) for sign in SIGN_LABELS for grade in range(4)
        }
        # a bed without a sign looks the same whichever sign is graded "none"; the ball has a picture of its own
        assert len(drawn) == 4 * 3 + 2


def test_soft_and_solid_strings_are_drawn_apart() -> None:
    colours = palette("light")
    for sign in ("notching", "fraying"):
        soft, solid = (sign_pictures.sign_svg(sign, 2, kind, colours) for kind in ("natural_gut", "polyester"))
        assert soft != solid


def test_worse_grades_show_on_more_crossings() -> None:
    """Wear is strongest in the middle and spreads outwards (common practice)."""
    colours = palette("light")
    for sign, material in (("notching", "polyester"), ("fraying", "multifilament"), ("notching", "natural_gut")):
        marks = [sign_pictures.sign_svg(sign, grade, material, colours).count("<path") for grade in range(4)]
        assert marks == sorted(marks) and len(set(marks)) == 4, (sign, material)


def test_the_sign_a_material_shows_first_stands_first() -> None:
    assert signs_of("polyester")[0].name == "notching"
    assert signs_of("natural_gut")[0].name == "fraying"
    assert {sign.name for sign in signs_of("")} == set(SIGN_LABELS)


def standing(call: str, due: date | None, when: str) -> Standing:
    return Standing("A-2", call, due, when, "1 to 6 days", 80, 40)


def test_what_the_look_changed_is_said_in_days() -> None:
    before = standing("likely to break", date(2026, 11, 20), "Fri 20 Nov")
    after = standing("likely to break", date(2026, 11, 17), "Tue 17 Nov")
    change = frames.look_changed(before, after)
    assert change.title.replace("\u00a0", " ") == (
        "Saved: A-2 is likely to break about Tue 17 Nov, 3 days earlier than before the look"
    )
    assert list(change.table["Before the look"])[1] == "Fri 20 Nov"
    assert "the same day" in frames.look_changed(before, before).title


def test_a_broken_string_ends_the_bed_in_words() -> None:
    before = standing("likely to break", date(2026, 11, 20), "Fri 20 Nov")
    after = standing("broken: hand it in", None, "")
    assert frames.look_changed(before, after).title == "Saved: A-2 is broken: hand it in"
