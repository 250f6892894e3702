"""Numbers in words where they change: the last that is said one way and the first that is said another."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest

from pipeline.fleet import thumb_rules, words


@pytest.mark.parametrize(
    ("fraction", "said"),
    [
        (0.0, "0 %"), (0.0001, "under 1 %"), (0.0099, "under 1 %"), (0.01, "1 %"), (0.5, "50 %"), (0.99, "99 %"),
        (0.9901, "over 99 %"), (0.9999, "over 99 %"), (1.0, "100 %"), (1.6, "160 %"), (None, "not known"),
    ],
)  # fmt: skip
def test_no_false_certainty(fraction: float | None, said: str) -> None:
    assert words.percent(fraction) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.7, 0.95, "(70 to 95 %)"), (0.699, 0.701, "(70 %)"), (0.704, 0.706, "(70 to 71 %)"), (None, 0.5, ""),
     (0.5, float("nan"), "")],
)  # fmt: skip
def test_bands_of_a_part(low: float | None, high: float | None, said: str) -> None:
    assert words.percent_band(low, high) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(1, 6.4, "1 to 6"), (2.6, 3.4, "3"), (12, 364.6, "12 or more"), (12, 364.4, "12 to 364"),
     (365, 400, "over a year"), (-3, 0.4, "0"), (None, 3, ""), (3, None, "")],
)  # fmt: skip
def test_bands_of_days(low: float | None, high: float | None, said: str) -> None:
    assert words.days_band(low, high) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.5, "0.5 h"),
        (2.0, "2 h"),
        (2.04, "2.0 h"),
        (9.9, "9.9 h"),
        (9.96, "10 h"),
        (11.4, "11 h"),
        (None, "not known"),
    ],
)
def test_hours_have_one_decimal_below_ten(value: float | None, said: str) -> None:
    assert words.hours(value) == said


@pytest.mark.parametrize(
    ("minutes", "said"), [(0, "0 min"), (59.4, "59 min"), (60, "1 h"), (149, "2 h"), (151, "3 h"), (None, "not known")]
)
def test_minutes_are_hours_from_an_hour_on(minutes: float | None, said: str) -> None:
    assert words.hours_from_minutes(minutes) == said


@pytest.mark.parametrize(
    ("mains", "crosses", "said"),
    [(23.7, 23.7, "23.5 kg"), (23.8, 23.8, "24 kg"), (24.1, 23.9, "24 kg"), (24.2, 23.4, "24 / 23.5 kg"),
     (24.3, None, "24.5 kg")],
)  # fmt: skip
def test_pulls_are_told_to_half_a_kilogram(mains: float, crosses: float | None, said: str) -> None:
    assert words.tension(mains, crosses) == said


@pytest.mark.parametrize(
    ("name", "said"), [("Ada Mae Okafor", "Okafor"), ("Ada", "Ada"), ("", ""), (None, ""), (pd.NA, "")]
)
def test_a_name_on_a_narrow_screen_is_its_last_word(name: Any, said: str) -> None:
    assert words.short_name(name) == said


def test_few_words_and_many() -> None:
    assert [words.join_words(list(text)) for text in ("", "a", "ab", "abc")] == ["", "a", "a and b", "a, b and c"]
    assert [words.count(n, "entry", "entries") for n in (0, 1, 2)] == ["no entries", "1 entry", "2 entries"]
    assert [words.verb(n, "is", "are") for n in (0, 1, 2)] == ["are", "is", "are"]
    assert (words.sentence("it is due"), words.sentence(" it is due. "), words.sentence(" ")) == (
        "It is due.", "It is due.", "",
    )  # fmt: skip


def test_a_band_in_a_narrow_column_breaks_after_to_alone() -> None:
    held = words.breaking_at_to("+€400 to +€1,584 m")
    assert held.split(" ") == ["+\u2060€400\u00a0to", "+\u2060€1,584\u00a0m"]
    assert words.breaking_at_to("\u22121.3 to 0.0").split(" ") == ["\u2212\u20601.3\u00a0to", "0.0"]
    assert words.breaking_at_to("+2") == "+\u20602"


def test_weeks_before_the_first_stringing_are_not_weeks_without_one() -> None:
    """13 days back are fourteen days with the origin's: two whole weeks; 12 are one."""
    origin = date(2026, 3, 29)
    assert thumb_rules.recent_jobs([], origin).tolist() == []
    assert thumb_rules.recent_jobs([origin + timedelta(days=1)], origin).tolist() == []
    assert thumb_rules.recent_jobs([origin - timedelta(days=13), origin], origin).tolist() == [1.0, 1.0]
    assert thumb_rules.recent_jobs([origin - timedelta(days=12), origin], origin).tolist() == [1.0]
    assert thumb_rules.recent_jobs([origin - timedelta(days=7), origin - timedelta(days=6)], origin).tolist() == [1.0]
