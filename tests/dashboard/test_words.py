"""Numbers and dates as people say them."""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd
import pytest

from pipeline.fleet import words

SUNDAY = date(2026, 11, 15)


def test_day_as_the_house_writes_it() -> None:
    assert words.day(date(2026, 11, 21)) == "Sat 21 Nov"
    assert words.day(pd.Timestamp("2026-11-21 17:30")) == "Sat 21 Nov"
    assert words.day("2026-11-21") == "Sat 21 Nov"
    assert words.day(pd.NaT) == "no date"


def test_year_is_said_when_it_is_far_off() -> None:
    assert words.day(date(2025, 9, 20), SUNDAY) == "Sat 20 Sep 2025"
    assert words.day(date(2027, 1, 5), SUNDAY) == "Tue 5 Jan"


@pytest.mark.parametrize(
    ("first", "last", "text"),
    [
        (date(2026, 11, 21), date(2026, 11, 21), "Sat 21 Nov"),
        (date(2026, 11, 21), None, "Sat 21 Nov"),
        (date(2026, 11, 21), date(2026, 11, 22), "Sat 21 to Sun 22 Nov"),
        (date(2026, 11, 28), date(2026, 12, 1), "Sat 28 Nov to Tue 1 Dec"),
    ],
)
def test_days_of_an_event(first: date, last: date | None, text: str) -> None:
    assert words.days_between(first, last) == text


@pytest.mark.parametrize(
    ("fraction", "text"),
    [
        (0.8, "80 %"),
        (1.09, "109 %"),
        (0.004, "under 1 %"),
        (0.998, "over 99 %"),
        (0.0, "0 %"),
        (1.0, "100 %"),
        (float("nan"), "not known"),
    ],
)
def test_percentages_have_no_decimals_and_no_false_certainty(fraction: float, text: str) -> None:
    assert words.percent(fraction) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(1.2, 5.6, "1 to 6"), (0.0, 0.3, "0"), (12, 400, "12 or more"), (365, 365, "over a year"), (None, 3, "")],
)
def test_band_of_days(low: float | None, high: float, text: str) -> None:
    assert words.days_band(low, high) == text


def test_pounds_are_exact() -> None:
    """28 kgf = 61.7 lbf (exact definitions); shown to the nearest half."""
    assert pytest.approx(61.729, abs=5e-4) == 28 * words.KG_TO_LB
    assert words.tension(28, 28, "lb") == "61.5 lb"
    assert words.tension(24, 23.5) == "24 / 23.5 kg"
    assert words.tension(24, None) == "24 kg"
    assert words.tension(None, None) == "tension not recorded"


def test_grades_are_words() -> None:
    assert [words.grade(value) for value in (0, 1, 2, 3, None)] == [
        "none",
        "slight",
        "clear",
        "severe",
        "not looked at",
    ]


def test_counting() -> None:
    assert words.count(0, "racket") == "no rackets"
    assert words.count(1, "racket") == "1 racket"
    assert words.count(4309, "row") == "4,309 rows"


def test_hours() -> None:
    assert words.hours(11.4) == "11 h"
    assert words.hours(1.5) == "1.5 h"
    assert words.hours_from_minutes(45) == "45 min"
    assert words.hours_from_minutes(190) == "3 h"


def test_sentences() -> None:
    assert words.sentence("about 11 h of play.") == "About 11 h of play."
    assert words.sentence(None) == ""
    assert words.join_words(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize(
    "name",
    ["A*b*", "[x](javascript:alert(1))", ":red[x]", "$E=mc^2$", "<script>", "`x`", "a_b_c", "~~x~~", "#1", "a|b"],
)
def test_no_mark_of_markdown_survives(name: str) -> None:
    shown = words.plain(name)
    assert shown.replace("\\", "") == name
    for mark in "*_[]$<>`~#|:":
        assert shown.count(mark) == shown.count("\\" + mark)


def test_chart_label_keeps_no_tag() -> None:
    assert words.chart_text("<a href='x'>R&D</a>") == "&lt;a href='x'&gt;R&amp;D&lt;/a&gt;"


def test_missing_in_every_form() -> None:
    assert all(words.is_missing(value) for value in (None, float("nan"), pd.NaT, pd.NA))
    assert not words.is_missing("")
    assert not words.is_missing(datetime(2026, 11, 15))


def test_numbers_and_days_follow_the_locale() -> None:
    """Unicode CLDR, as babel has it: German groups with a point and sets the sign after the amount."""
    assert words.number(1234.5, 1) == "1,234.5"
    with words.in_locale("de-DE"):
        assert words.number(1234.5, 1) == "1.234,5"
        assert words.tension(24, 23.5) == "24 / 23,5 kg"
        assert words.count(4309, "row") == "4.309 rows"
        assert words.hours(1.5) == "1,5 h"
    with words.in_locale("en-US"):
        assert words.day(date(2026, 11, 21)) == "Sat Nov 21"
        assert words.days_between(date(2026, 11, 21), date(2026, 11, 22)) == "Sat Nov 21 to Sun Nov 22"
    assert words.day(date(2026, 11, 21)) == "Sat 21 Nov"
