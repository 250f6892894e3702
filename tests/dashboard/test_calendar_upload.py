"""A calendar of another program on the page Records: what must be said, the look at it, the rows, the way back.

Format: RFC 5545 (iCalendar); three weekly practices of ninety minutes are three rows.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from streamlit.testing.v1 import AppTest

from pipeline.fleet import frames
from pipeline.fleet.frames.calendar_file import CalendarChoice
from pipeline.store import Store, StoreError
from tests.dashboard.small_view import AS_OF
from tests.dashboard.test_pages import said

Opened = Callable[..., AppTest]
ICS = b"""BEGIN:VCALENDAR\r
VERSION:2.0\r
PRODID:-//a club//EN\r
BEGIN:VEVENT\r
UID:1@club\r
DTSTAMP:20261101T000000Z\r
DTSTART:20261117T170000Z\r
DTEND:20261117T183000Z\r
RRULE:FREQ=WEEKLY;COUNT=3\r
SUMMARY:Squad evening\r
END:VEVENT\r
END:VCALENDAR\r
"""


def test_the_look_has_a_row_for_each_time_it_takes_place() -> None:
    look = frames.calendar_look(ICS, CalendarChoice("drills", "squad:Falcon"), AS_OF, "UTC")
    assert look.sentence == "3 entries of the coming half year, Tue 17 Nov 2026 to Tue 1 Dec 2026."
    assert list(look.table["Minutes a day"]) == [90, 90, 90]
    assert {row["squad"] for row in look.rows} == {"Falcon"}
    later = frames.calendar_look(ICS, CalendarChoice("drills", "squad:Falcon"), AS_OF.replace(year=2028), "UTC")
    assert later.rows == [] and later.sentence.startswith("The file has no entry from today to")
    with pytest.raises(StoreError, match="holds no entry"):
        frames.calendar_look(ICS.replace(b"VEVENT", b"VTODO"), CalendarChoice("drills", "squad:Falcon"), AS_OF, "UTC")


def test_a_calendar_is_taken_in_and_taken_back(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "records", today="2026-11-15")
    box = next(box for box in app.file_uploader if box.label == "One .ics file")
    box.set_value([("club.ics", ICS, "text/calendar")]).run()
    assert "Say what its entries are and for whom" in said(app)
    next(box for box in app.selectbox if box.label == "What its entries are").set_value("drills")
    next(box for box in app.selectbox if box.label == "For whom").set_value("squad:Falcon").run()
    assert "3 entries of the coming half year" in said(app)
    next(button for button in app.button if button.label == "Write 3 entries down").click().run(timeout=60)
    assert not app.exception
    rows = small_store.records("calendar")
    assert list(rows["event"]) == ["Squad evening"] * 3 and set(rows["minutes"]) == {90}
    next(button for button in app.button if button.label == "Take it back").click().run(timeout=60)
    assert "Taken back" in said(app)
    assert small_store.records("calendar").empty


def test_a_file_that_is_no_calendar_is_one_sentence(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "records", today="2026-11-15")
    box = next(box for box in app.file_uploader if box.label == "One .ics file")
    box.set_value([("club.ics", b"nothing of the kind", "text/calendar")])
    next(box for box in app.selectbox if box.label == "What its entries are").set_value("closed").run()
    assert not app.exception
    assert any(error.value.endswith(".") for error in app.error)
