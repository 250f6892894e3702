"""Short words for paper and for calendars, each by hand: none, one, the edge of a column, the last day, midnight.

Exclusive ends of days are RFC 5545, 3.6.1; a pound is 0.45359237 kg (its definition). The rest is the house's own.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest

from pipeline.fleet.prints import bed_words
from pipeline.fleet.prints.calendar_in import CalendarRows, calendar_rows
from pipeline.fleet.prints.calendar_out import events_calendar
from pipeline.fleet.prints.paper import Paper
from pipeline.store import StoreError
from tests.fleet.prints.ruler import texts
from tests.fleet.prints.test_calendars import entries, ics
from tests.fleet.prints.test_paper import pages

FULL = {
    "mains_string": "Lyra", "crosses_string": "Lyra", "mains_string_id": "S1", "crosses_string_id": "S1",
    "mains_gauge_mm": 1.25, "crosses_gauge_mm": 1.25, "mains_kg": 24.0, "crosses_kg": 24.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, "Lyra 1.25 mm"),
        ({"mains_string": "Lyra 1.25"}, "Lyra 1.25"),  # the name says the gauge already
        ({"mains_string": "Lyra 125"}, "Lyra 125"),
        ({"mains_string": None}, "S1 1.25 mm"),
        ({"mains_string": None, "mains_string_id": None}, "string not on file"),
        ({"mains_gauge_mm": None}, "Lyra"),
    ],
)
def test_a_string_is_named_with_its_gauge_once(change: dict[str, object], said: str) -> None:
    assert bed_words.string_of(FULL | change, "mains") == said


def test_a_full_bed_has_one_string_and_a_hybrid_two() -> None:
    assert bed_words.strings_of(FULL) == ["Lyra 1.25 mm"]
    assert bed_words.strings_of(FULL | {"crosses_string": "Corda"}) == ["Lyra 1.25 mm", "Corda 1.25 mm"]
    assert bed_words.strings_of(FULL | {"crosses_string": "Corda", "crosses_string_id": None}) == ["Lyra 1.25 mm"]


def test_pulls_are_said_once_where_they_are_the_same() -> None:
    assert bed_words.pulls_of(FULL, "kg") == "24 kg"
    assert bed_words.pulls_of(FULL | {"crosses_kg": None}, "kg") == "24 kg"
    assert bed_words.pulls_of(FULL | {"crosses_kg": 23.55}, "kg") == "24 / 23.6 kg"
    assert bed_words.pulls_of(FULL | {"mains_kg": None}, "kg") == "pull not on file"
    assert bed_words.pulls_of(FULL, "lb") == "52.9 lb"  # 24 / 0.45359237 = 52.91


def test_what_is_not_on_file_takes_no_room() -> None:
    assert bed_words.metres_of({"mains_m": None}) == ""
    assert bed_words.frame_of({"frame": None, "mains": None, "marking": None}) == ""
    assert bed_words.frame_of({"frame": "Kestrel", "mains": 18.0, "crosses": 20.0}) == "Kestrel, 18 × 20"
    assert bed_words.frame_of({"frame": "Kestrel", "marking": "red"}) == "Kestrel, marking red"


# --- paper


def said_at(width: float, text: str = "Rackets to hand in", size: float = 12.0, smallest: float | None = None):  # type: ignore[no-untyped-def]
    paper = Paper()
    paper.add_page()
    paper.say(10, 10, text, size, width, smallest=smallest)
    return texts(paper.to_bytes())[0]


def test_a_line_is_as_large_as_it_can_be_then_cut_off() -> None:
    paper = Paper()
    paper.set_font("fleet sans", "", 12.0)
    width = paper.get_string_width("Rackets to hand in")
    assert said_at(width + 0.1).size == 12.0
    assert said_at(width - 0.1).size == 11.5  # half a point smaller is enough
    assert said_at(width * 0.705).size == pytest.approx(8.4)  # seven tenths and no smaller, unless told
    assert said_at(width * 0.705).text.strip() == "Rackets to hand in"
    cut = said_at(width * 0.6)
    assert cut.size == pytest.approx(8.4) and cut.text.strip().endswith("…")
    assert width * 0.5 < cut.right - cut.x <= width * 0.6  # as many letters as there is room for
    assert said_at(width * 0.6, smallest=6.0).size == pytest.approx(7.0, abs=0.3)
    assert said_at(0.1).text.strip() == "…"


def test_a_paragraph_is_as_high_as_was_said() -> None:
    paper = Paper()
    paper.add_page()
    text = "likely to be dead by Friday " * 12
    high = paper.height_of(text, 9, 60)
    below = paper.paragraph(10, 20, text, 9, 60)
    assert below == pytest.approx(20 + high)
    line = 9 * 0.3528 * 1.25  # a point is 25.4 / 72 = 0.3528 mm
    assert high == pytest.approx(line * len(texts(paper.to_bytes())))
    assert paper.height_of("one", 9, 60) == pytest.approx(line)


def test_a_name_without_letters_to_print_it_is_its_number_and_nobody_is_nobody() -> None:
    paper = Paper()
    assert paper.name(" Ana  Reed ", "P1") == "Ana Reed"
    assert (paper.name(None, "P1"), paper.name(None, None), paper.has_numbers_for_names) == ("P1", "", False)
    assert (paper.name("王", "P1"), paper.name("王", None), paper.has_numbers_for_names) == ("P1", "?", True)


def test_small_print_is_there_only_where_there_is_something_to_say() -> None:
    paper = Paper()
    paper.add_page()
    paper.small_print(200.0)
    paper.small_print(100.0, "A word.")
    paper.name("王", "P1")
    paper.small_print(200.0)
    (said,) = pages(paper.to_bytes())
    assert said.split("\n")[0].strip() == "A word."
    assert said.count("Names in letters") == 1
    assert [(round(t.x, 1), round(t.y, 1)) for t in texts(paper.to_bytes())] == [(14.0, 102.6), (14.0, 202.6)]


# --- calendars


def given(*bodies: str, first: date = date(2026, 3, 1), last: date = date(2026, 3, 31), **more: object) -> CalendarRows:
    asked: dict[str, object] = {"squad": "U16", "day_minutes": 90.0, "activity": "singles"} | more
    return calendar_rows(ics(*bodies), first, last, "Europe/Paris", **asked)  # type: ignore[arg-type]


def at(start: str, end: str | None = None, title: str = "Cup") -> str:
    return f"SUMMARY:{title}\r\nDTSTART:{start}" + (f"\r\nDTEND:{end}" if end else "")


def test_the_last_day_asked_for_is_in_and_the_next_is_not() -> None:
    days = [f"SUMMARY:D{n}\r\nDTSTART;VALUE=DATE:202603{n}" for n in (9, 10, 11, 12)]
    days[0] = days[0].replace("2026039", "20260309")
    found = given(*days, first=date(2026, 3, 10), last=date(2026, 3, 11))
    assert [row["event"] for row in found.rows] == ["D10", "D11"]
    assert found.notes == ()


def test_until_midnight_is_until_the_day_before() -> None:
    (night,) = given(at("20260305T200000", "20260306T000000")).rows
    assert (night["until_on"], night["minutes"]) == (None, 240.0)
    (over,) = given(at("20260305T200000", "20260306T001500")).rows
    assert (over["until_on"], over["minutes"]) == (date(2026, 3, 6), 90.0)  # over two days: those said
    (point,) = given(at("20260305T000000", "20260305T000000")).rows
    assert (point["until_on"], point["minutes"]) == (None, 90.0)  # no time at all


def test_a_day_with_an_end_is_shorter_by_one() -> None:
    """DTEND of days is exclusive; an entry whose end is its start is that day."""
    one = "SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307\r\nDTEND;VALUE=DATE:202603{}"
    assert [given(one.format(end)).rows[0]["until_on"] for end in ("07", "08", "09", "10")] == [
        None, None, date(2026, 3, 8), date(2026, 3, 9),
    ]  # fmt: skip
    lasts = "SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307\r\nDURATION:P3D"
    assert given(lasts).rows[0]["until_on"] == date(2026, 3, 9)


def test_fresh_rackets_belong_to_matches_alone_and_rows_keep_whose_they_are() -> None:
    body = at("20260305T100000", "20260305T110000")
    (match,) = given(body, fresh_rackets=2).rows
    assert (match["fresh_rackets"], match["cancelled"], match["squad"], match["player_id"]) == (2, "no", "U16", None)
    assert given(body, fresh_rackets=2, activity="drills").rows[0]["fresh_rackets"] is None
    assert given(body, fresh_rackets=2, activity="doubles").rows[0]["fresh_rackets"] == 2
    (own,) = given(body, squad=None, player_id="P1").rows
    assert (own["squad"], own["player_id"]) == (None, "P1")


def test_titles_are_one_line_of_at_most_120_letters() -> None:
    assert given(at("20260305T100000", title="a" * 200)).rows[0]["event"] == "a" * 120
    assert given("DTSTART:20260305T100000").rows[0]["event"] == "entry without a title"


def test_rows_come_by_day_then_by_name_and_notes_count() -> None:
    found = given(
        at("20260306T100000", title="B"), at("20260305T100000", title="Z"), at("20260306T100000", title="A"),
        at("20260306T100000", title="A"), at("20260306T100000", title="A"),
    )  # fmt: skip
    assert [row["event"] for row in found.rows] == ["Z", "A", "B"]
    assert found.notes[0] == "2 entries stood twice at the same time and are taken once."
    assert found.notes[1] == "5 entries had no time zone: taken as the club's own time."


@pytest.mark.parametrize(("days", "is_taken"), [(800, True), (801, False), (-1, False), (0, True)])
def test_a_calendar_is_taken_for_eight_hundred_days(days: int, is_taken: bool) -> None:
    first = date(2026, 3, 5)
    last = date.fromordinal(first.toordinal() + days)
    if is_taken:
        assert len(given(at("20260305T100000"), first=first, last=last).rows) == 1
    else:
        with pytest.raises(StoreError, match="at most 800 days ahead"):
            given(at("20260305T100000"), first=first, last=last)


@pytest.mark.parametrize(("often", "word"), [("MINUTELY", "minute"), ("HOURLY", "hour")])
def test_what_repeats_too_often_is_refused(often: str, word: str) -> None:
    with pytest.raises(StoreError, match=f"every {word}, which no practice does"):
        given(at("20260305T100000") + f"\r\nRRULE:FREQ={often};COUNT=2")


def test_a_file_that_is_too_large_or_too_full_is_refused() -> None:
    padded = at("20260305T100000") + "\r\nDESCRIPTION:" + "x" * 5_000_000
    with pytest.raises(StoreError, match="larger than 5 MB"):
        given(padded)
    daily = [f"SUMMARY:E{k}\r\nDTSTART:20260301T{k:02}0000\r\nRRULE:FREQ=DAILY;COUNT=600" for k in range(6)]
    with pytest.raises(StoreError, match="has 3006 entries in that time, and 3000 is the most"):
        given(*daily[:5], "SUMMARY:F\r\nDTSTART:20260302T120000\r\nRRULE:FREQ=DAILY;COUNT=6", last=date(2028, 1, 1))


def test_events_of_one_day_of_nobody_and_turned_round() -> None:
    events = pd.DataFrame(
        {
            "event": ["Open day", "Back", "Nowhere"], "planned_on": [date(2026, 3, 6), date(2026, 3, 9), None],
            "until_on": [None, date(2026, 3, 8), None], "squad": [None, "U16", None],
            "player_id": [None, "P1", None], "place": ["home", None, None],
        }
    )  # fmt: skip
    now = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    found = entries(events_calendar(events, "Club", now))
    assert [(e["SUMMARY"], e["DTSTART"], e["DTEND"], e.get("DESCRIPTION")) for e in found] == [
        ("Open day", "20260306", "20260307", "home"),
        ("Back (U16\\, P1)", "20260309", "20260310", None),
    ]
    assert {e["TRANSP"] for e in found} == {"TRANSPARENT"}
