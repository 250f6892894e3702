"""Calendars out and in: what is written is read by a second parser; recurrences and zones become rows of calendar.csv.

The second parsers are vobject, a general-purpose library, and RFC 5545's unfolding and content lines, from the
standard's text (from memory), so that a fault of the library that writes is not hidden by the same library reading.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
import vobject

from pipeline.fleet.prints.calendar_in import calendar_rows
from pipeline.fleet.prints.calendar_out import bench_calendar, events_calendar
from pipeline.store import Store, StoreError
from tests.fleet.bench.hand_made_plan import made, tickets_due
from tests.small_club import write_club

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)


def entries(ics: bytes) -> list[dict[str, str]]:
    """VEVENTs as name -> value; lines end in CR LF, have at most 75 bytes and go on after a space (RFC 5545, 3.1)."""
    assert ics.count(b"\n") == ics.count(b"\r\n")
    assert all(len(line) <= 75 for line in ics.split(b"\r\n"))
    text = re.sub(r"\r\n[ \t]", "", ics.decode("utf-8"))
    assert text.startswith("BEGIN:VCALENDAR\r\n") and text.endswith("END:VCALENDAR\r\n")
    found = []
    for block in re.findall(r"BEGIN:VEVENT\r\n(.*?)END:VEVENT", text, re.DOTALL):
        pairs = [line.split(":", 1) for line in block.strip().split("\r\n")]
        found.append({name.split(";")[0]: value for name, value in pairs})
    return found


def test_the_plan_is_read_by_a_second_parser() -> None:
    plan = made(
        tickets_due(0, 0, 1, player_name="Łucja; Sample, " + "long name " * 12), {"Kim": [60.0, 60.0, 0, 0, 0, 0, 0]}
    )
    found = entries(bench_calendar(plan, "Holm Ridge", NOW))
    assert [(e["DTSTART"], e["DTEND"]) for e in found] == [("20260302", "20260303"), ("20260303", "20260304")]
    assert found[0]["SUMMARY"] == r"Bench: 2 jobs (Kim)\, about 60 min"
    assert found[0]["DTSTAMP"] == "20260301T090000Z"
    assert r"1. R1 Łucja\; Sample\, long name" in found[0]["DESCRIPTION"]
    assert len({e["UID"] for e in found}) == 2


def test_vobject_accepts_what_is_written() -> None:
    plan = made(
        tickets_due(0, 0, 1, player_name="Łucja; Sample, " + "long name " * 12), {"Kim": [60.0, 60.0, 0, 0, 0, 0, 0]}
    )
    calendar = vobject.readOne(bench_calendar(plan, "Holm Ridge", NOW).decode("utf-8"))
    assert calendar.validate(raiseException=True)
    first = calendar.vevent_list[0]
    assert first.summary.value == "Bench: 2 jobs (Kim), about 60 min"
    assert (first.dtstart.value, first.dtend.value) == (date(2026, 3, 2), date(2026, 3, 3))
    assert "1. R1 Łucja; Sample, long name" in first.description.value


def test_an_entry_keeps_its_uid() -> None:
    plan = made(tickets_due(0), {"Kim": [60.0] * 7})
    again = made(tickets_due(0, 0), {"Kim": [60.0] * 7})
    assert entries(bench_calendar(plan, "C", NOW))[0]["UID"] == entries(bench_calendar(again, "C", NOW))[0]["UID"]


def test_events_over_days_end_on_the_day_after() -> None:
    events = pd.DataFrame(
        {"event": ["Cup"], "planned_on": [date(2026, 3, 6)], "until_on": [date(2026, 3, 8)], "squad": ["U16"],
         "player_id": [None], "place": ["away"]}
    )  # fmt: skip
    (entry,) = entries(events_calendar(events, "Club", NOW))
    assert (entry["SUMMARY"], entry["DTSTART"], entry["DTEND"]) == ("Cup (U16)", "20260306", "20260309")


def test_what_goes_out_comes_back() -> None:
    events = pd.DataFrame(
        {"event": ["Cup", "League"], "planned_on": [date(2026, 3, 6), date(2026, 3, 14)],
         "until_on": [date(2026, 3, 8), None], "squad": ["U16", "U16"], "player_id": [None, None],
         "place": [None, None]}
    )  # fmt: skip
    ics = events_calendar(events, "Club", NOW)
    rows = calendar_rows(
        ics, date(2026, 3, 1), date(2026, 3, 31), "Europe/Paris", "singles", squad="U16", day_minutes=90
    ).rows
    assert [(r["planned_on"], r["until_on"]) for r in rows] == [
        (date(2026, 3, 6), date(2026, 3, 8)), (date(2026, 3, 14), None),
    ]  # fmt: skip


def ics(*bodies: str) -> bytes:
    blocks = "".join(
        f"BEGIN:VEVENT\r\nUID:{k}@x\r\nDTSTAMP:20260101T000000Z\r\n{body}\r\nEND:VEVENT\r\n"
        for k, body in enumerate(bodies)
    )
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\n{blocks}END:VCALENDAR\r\n".encode()


def taken(body: bytes, zone: str = "Europe/Paris", activity: str = "drills", last: date = date(2026, 4, 30)):  # type: ignore[no-untyped-def]
    return calendar_rows(body, date(2026, 3, 1), last, zone, activity, squad="U16", day_minutes=120)


WEEKLY = (
    "SUMMARY:Squad training\r\nDTSTART;TZID=Europe/Paris:20260303T173000\r\nDTEND;TZID=Europe/Paris:20260303T190000\r\n"
    "RRULE:FREQ=WEEKLY;UNTIL=20260421T220000Z\r\nEXDATE;TZID=Europe/Paris:20260317T173000"
)


def test_a_weekly_practice_becomes_a_row_a_week_without_the_one_that_falls_out() -> None:
    rows = taken(ics(WEEKLY)).rows
    days = [row["planned_on"].date() for row in rows]  # type: ignore[attr-defined]
    assert days == [date(2026, 3, 3), date(2026, 3, 10), date(2026, 3, 24), date(2026, 3, 31), date(2026, 4, 7),
                    date(2026, 4, 14), date(2026, 4, 21)]  # fmt: skip
    assert {row["planned_on"].strftime("%H:%M") for row in rows} == {"17:30"}  # type: ignore[attr-defined]
    assert {row["minutes"] for row in rows} == {90.0}


def test_summer_time_keeps_the_hour_on_the_clock_in_the_zone_of_the_entry() -> None:
    """Europe changes on 29 March 2026, New York on 8 March: in between Paris is five hours ahead instead of six."""
    hours = [row["planned_on"].strftime("%m-%d %H:%M") for row in taken(ics(WEEKLY), "America/New_York").rows]
    assert hours[:4] == ["03-03 11:30", "03-10 12:30", "03-24 12:30", "03-31 11:30"]


def test_utc_becomes_the_clubs_time_and_a_time_without_zone_is_said() -> None:
    found = taken(ics("SUMMARY:A\r\nDTSTART:20260305T170000Z\r\nDTEND:20260305T180000Z",
                      "SUMMARY:B\r\nDTSTART:20260306T170000\r\nDURATION:PT45M"))  # fmt: skip
    assert [row["planned_on"] for row in found.rows] == [datetime(2026, 3, 5, 18, 0), datetime(2026, 3, 6, 17, 0)]
    assert found.rows[1]["minutes"] == 45.0
    assert found.notes == ("1 entry had no time zone: taken as the club's own time.",)


def test_a_moved_and_a_cancelled_date_are_as_the_file_has_them() -> None:
    moved = ("SUMMARY:Squad training\r\nRECURRENCE-ID;TZID=Europe/Paris:20260310T173000\r\n"
             "DTSTART;TZID=Europe/Paris:20260311T180000\r\nDTEND;TZID=Europe/Paris:20260311T190000")  # fmt: skip
    body = ics(WEEKLY, moved).replace(b"UID:1@x", b"UID:0@x")
    days = [row["planned_on"] for row in taken(body).rows]
    assert datetime(2026, 3, 11, 18, 0) in days
    assert datetime(2026, 3, 10, 17, 30) not in days
    off = taken(ics("SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307\r\nSTATUS:CANCELLED"))
    assert off.rows[0]["cancelled"] == "yes"


def test_entries_that_stand_twice_are_taken_once_and_tasks_are_left_out() -> None:
    one = "SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307"
    body = ics(one, one).replace(
        b"END:VCALENDAR", b"BEGIN:VTODO\r\nUID:9@x\r\nSUMMARY:buy balls\r\nEND:VTODO\r\nEND:VCALENDAR"
    )
    found = taken(body)
    assert len(found.rows) == 1
    assert "taken once" in found.notes[0] and "1 task or note of the file is left out." in found.notes


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"hello", "no calendar that can be read|holds no entry"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n", "holds no entry"),
        (
            ics("SUMMARY:x\r\nDTSTART:20260301T000000Z\r\nRRULE:FREQ=SECONDLY"),
            "repeats x every second, which no practice does",
        ),
    ],
)
def test_what_is_no_calendar_is_refused_in_a_sentence(body: bytes, said: str) -> None:
    with pytest.raises(StoreError, match=said):
        taken(body, last=date(2026, 3, 2))


def test_entries_without_times_ask_for_their_minutes() -> None:
    body = ics("SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307")
    with pytest.raises(StoreError, match="1 entry of the file, such as Cup, has no times of day: say how many minutes"):
        calendar_rows(body, date(2026, 3, 1), date(2026, 3, 31), "Europe/Paris", "singles", "U16")
    with pytest.raises(StoreError, match="say for whom the calendar is"):
        calendar_rows(body, date(2026, 3, 1), date(2026, 3, 31), "Europe/Paris", "singles")
    (closed,) = calendar_rows(body, date(2026, 3, 1), date(2026, 3, 31), "Europe/Paris", "closed").rows
    assert closed["minutes"] is None


def test_the_rows_are_written_to_the_clubs_calendar(tmp_path: Path) -> None:
    store = Store(tmp_path / "club")
    store.load(write_club(tmp_path / "given"), now=NOW, load_day=date(2026, 6, 1))
    rows = taken(ics(WEEKLY, "SUMMARY:Cup\r\nDTSTART;VALUE=DATE:20260307\r\nDTEND;VALUE=DATE:20260309")).rows
    report = store.enter({"calendar": rows}, now=NOW)
    assert report.total("new") == 8
    again = store.enter({"calendar": rows}, now=NOW)
    assert again.total("unchanged") == 8
    cup = store.records("calendar").set_index("event").loc["Cup"]
    assert (cup["planned_on"], cup["until_on"]) == (pd.Timestamp("2026-03-07"), pd.Timestamp("2026-03-08"))


def test_seconds_are_left_out_of_a_time_and_none_are_left_in() -> None:
    found = taken(
        ics("SUMMARY:A\r\nDTSTART;TZID=Europe/Paris:20260305T173045\r\nDTEND;TZID=Europe/Paris:20260305T183045")
    )
    assert [row["planned_on"] for row in found.rows] == [datetime(2026, 3, 5, 17, 30)]
    assert found.rows[0]["minutes"] == 60.0


def test_the_span_asked_for_ends_with_its_last_day() -> None:
    """In the club's own time: 23:30 in UTC of the 9th is half past midnight of the 10th in Paris."""
    days = [f"SUMMARY:{n}\r\nDTSTART:202603{n:02}T120000Z\r\nDTEND:202603{n:02}T130000Z" for n in (8, 9, 10)]
    late = "SUMMARY:late\r\nDTSTART:20260309T233000Z\r\nDTEND:20260309T235000Z"
    found = taken(ics(*days, late), last=date(2026, 3, 9))
    assert [row["event"] for row in found.rows] == ["8", "9"]


def test_a_title_has_at_most_120_letters_on_one_line() -> None:
    found = taken(ics(f"SUMMARY:{'x' * 130}\r\nDTSTART;VALUE=DATE:20260307", "DTSTART;VALUE=DATE:20260308"))
    assert [row["event"] for row in found.rows] == ["x" * 120, "entry without a title"]


def test_until_midnight_is_until_the_day_before() -> None:
    """Three hours on one day; a minute more, and it takes two days, for which 120 minutes a day were asked for."""
    found = taken(
        ics(
            "SUMMARY:A\r\nDTSTART;TZID=Europe/Paris:20260305T210000\r\nDTEND;TZID=Europe/Paris:20260306T000000",
            "SUMMARY:B\r\nDTSTART;TZID=Europe/Paris:20260305T220000\r\nDTEND;TZID=Europe/Paris:20260306T000100",
        )
    )
    by_name = {row["event"]: (row["until_on"], row["minutes"]) for row in found.rows}
    assert by_name == {"A": (None, 180.0), "B": (date(2026, 3, 6), 120)}
