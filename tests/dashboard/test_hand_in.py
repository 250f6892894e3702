"""From This week to the bench: ticking, booking, the printed list, a message to each player."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import duckdb
import pypdfium2
from streamlit.testing.v1 import AppTest

from pipeline.fleet import frames
from pipeline.fleet.prints import hand_in_list_pdf
from pipeline.store import Store
from tests.dashboard.small_view import AS_OF

Opened = Callable[..., AppTest]


def narrow(app: AppTest) -> AppTest:
    app.session_state["is_narrow"] = True
    return app.run()


def press(app: AppTest, start: str) -> AppTest:
    next(button for button in app.button if button.label.startswith(start)).click().run()
    assert not app.exception, app.exception
    return app


def test_ticked_rackets_are_booked_and_the_booking_can_be_taken_back(academy: Store, open_page: Opened) -> None:
    app = narrow(open_page(academy))
    count = len(academy.records("jobs"))
    boxes = [box for box in app.checkbox if str(box.key).startswith("tick ")][:3]
    rackets = [str(box.key).split()[1] for box in boxes]
    for box in boxes:
        box.check()
    press(app.run(), "Book 3 rackets on the bench")
    assert "3 rackets are booked on the bench." in app.success[0].value
    booked = academy.records("jobs").sort_values("loaded_at").tail(3)
    assert set(booked["racket_id"]) == set(rackets)
    assert set(booked["state"]) == {"booked"}
    listed = [str(box.key).split()[1] for box in app.checkbox if str(box.key).startswith("tick ")]
    assert not set(rackets) & set(listed)
    press(app, "Take it back")
    assert len(academy.records("jobs")) == count


def test_nothing_ticked_nothing_booked_but_the_list_prints(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    booking = next(button for button in app.button if button.label == "Book on the bench")
    assert booking.disabled
    assert any("The list holds all 3 to hand in" in text.value for text in app.markdown)


def test_a_message_names_racket_day_and_event(view: duckdb.DuckDBPyConnection) -> None:
    view.execute("update ranking set marking = '2' where racket_id = 'B-1'")
    ana, ben = frames.messages(view, ["A-2", "B-1"], AS_OF, 1)
    assert ana.player == "Ana Reed"
    assert ana.text == (
        "Ana, please hand in racket A-2 by Wed 18 Nov. For County match on Sat 21 Nov you need 1 more racket that is "
        "likely to last: see me about it."
    )
    assert ben.text.startswith("Ben, please hand in racket no. 2 (B-1) by Mon 16 Nov and you are ready for County")


def test_a_broken_racket_is_wanted_at_once(view: duckdb.DuckDBPyConnection) -> None:
    (ana,) = frames.messages(view, ["A-1", "A-2"], AS_OF, 1)
    assert "racket A-1 (red dot) and racket A-2 as soon as you can and you are ready for County match" in ana.text


def test_the_day_leaves_time_at_the_bench_before_the_event(view: duckdb.DuckDBPyConnection) -> None:
    view.execute("update ranking set due_on = date '2026-12-10' where racket_id = 'A-2'")
    days = {ready: frames.hand_in_rows(view, ["A-2"], AS_OF, ready)["by_on"].iloc[0] for ready in (0, 1, 3)}
    assert days == {0: date(2026, 11, 20), 1: date(2026, 11, 19), 3: date(2026, 11, 17)}


def test_the_clubs_own_racket_has_nobody_to_write_to(view: duckdb.DuckDBPyConnection) -> None:
    assert frames.messages(view, ["D-1"], AS_OF, 1) == ()


def test_the_printed_list_holds_the_rackets_of_the_page(view: duckdb.DuckDBPyConnection) -> None:
    rows = frames.hand_in_rows(view, ["B-1", "A-2"], AS_OF, 1)
    assert list(rows["racket_id"]) == ["A-2", "B-1"]
    paper = pypdfium2.PdfDocument(hand_in_list_pdf(rows, "Holm Ridge Academy", AS_OF))
    text = paper[0].get_textpage().get_text_bounded()
    paper.close()
    for said in ("A-2", "B-1", "Ana Reed", "Ben Cole", "Holm Ridge Academy"):
        assert said in text
