"""Numbers, dates and outcomes put into plain words.

In: plain values (dates, fractions, days, kilograms), the club's units and its locale (`in_locale`; en-GB unless told).
Out: short strings ready for a page, a chart or a terminal. Nothing here reads a table. House words: "about" before an
estimate, the 80 % band in brackets, "likely to" and "allow for" instead of percentile names, percentages without
decimals, dates as "Sat 21 Nov".
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from typing import Any

import pandas as pd

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
GRADE_WORDS = ("none", "slight", "clear", "severe")
KG_TO_LB = 1 / 0.45359237  # exact definition of the pound
DAYS_CAP = 365  # beyond this the model says only "a year or more"

LIMIT_WORDS = {"breaks": "likely to break", "goes_dead": "likely to go dead"}
FIRST_WORDS = {"breaks": "breaks first", "goes_dead": "goes dead first"}
LIMIT_SHAPES = {"breaks": "◆", "goes_dead": "●"}
CAUSE_WORDS = {
    "breaks": "broke",
    "goes_dead": "went dead",
    "mishit": "broke at the edge",
    "other": "taken out for another reason",
    "unknown": "reason not recorded",
    "none": "still in",
}
CAUSE_SHAPES = {"breaks": "◆", "goes_dead": "●", "mishit": "◇", "other": "■", "unknown": "?", "none": "○"}
REASON_WORDS = {
    "broke": "broke",
    "lost_feel": "lost feel",
    "inspection": "after an inspection",
    "scheduled": "scheduled",
    "string_change": "change of string",
    "frame_fault": "fault in the frame",
    "broke_on_machine": "broke on the machine",
    "first": "first bed",
    "unknown": "not recorded",
}

HOUSE_LOCALE = "en-GB"
_locale: ContextVar[str] = ContextVar("locale", default=HOUSE_LOCALE)


@contextmanager
def in_locale(locale: str) -> Iterator[None]:
    """Numbers and the order of a date as the club's locale writes them; the words stay English."""
    before = _locale.set(locale)
    try:
        yield
    finally:
        _locale.reset(before)


def number(value: float, decimals: int = 0) -> str:
    """'1,234' or '1.234,5': a number with so many decimals, as the locale groups and points it."""
    if _locale.get().startswith("en"):
        return f"{value:,.{decimals}f}"
    from babel.numbers import format_decimal  # only for a club that writes numbers another way

    pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
    return format_decimal(round(value, decimals), format=pattern, locale=_locale.get().replace("-", "_"))


def is_month_first() -> bool:
    """Whether the locale writes 'Nov 21' rather than '21 Nov'."""
    return _locale.get() in ("en-US", "en_US")


def is_missing(value: Any) -> bool:
    """True for None, NaN, NaT and NA: what a frame holds where nothing was recorded."""
    return bool(pd.isna(value))


def text_or_none(value: Any) -> str | None:
    """The value as text; None where nothing was recorded."""
    return None if is_missing(value) else str(value)


def as_date(value: Any) -> date | None:
    """The calendar day of a date, instant, ISO text or pandas stamp; None where missing."""
    if is_missing(value) or value == "":
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    return datetime.fromisoformat(str(value)).date()


def day(value: Any, relative_to: date | None = None) -> str:
    """'Sat 21 Nov'; the year is added when the day is more than ten months from `relative_to`."""
    the_day = as_date(value)
    if the_day is None:
        return "no date"
    text = f"{WEEKDAYS[the_day.weekday()]} {_day_of_month(the_day)}"
    if relative_to is not None and abs((the_day - relative_to).days) > 300:
        text += f" {the_day.year}"
    return text


def _day_of_month(the_day: date) -> str:
    month = MONTHS[the_day.month - 1]
    return f"{month} {the_day.day}" if is_month_first() else f"{the_day.day} {month}"


def day_unbroken(value: Any, relative_to: date | None = None) -> str:
    """The same as `day`, held together by no-break spaces, for titles."""
    return day(value, relative_to).replace(" ", "\u00a0")


def breaking_at_to(band: str) -> str:
    """'+€400 to +€584' for a narrow column: its line may break after 'to', neither before a unit nor after a sign."""
    held = re.sub("([+\u2212])", "\\1\u2060", band.replace(" ", "\u00a0"))
    return held.replace("\u00a0to\u00a0", "\u00a0to ")


def day_with_year(value: Any) -> str:
    """'Sat 21 Nov 2026'."""
    the_day = as_date(value)
    return "no date" if the_day is None else f"{day(the_day)} {the_day.year}"


def days_between(first: Any, last: Any, relative_to: date | None = None) -> str:
    """'Sat 21 Nov' for one day, 'Sat 21 to Sun 22 Nov' or 'Sat 28 Nov to Tue 1 Dec' for several."""
    start, end = as_date(first), as_date(last)
    if start is None:
        return "no date"
    if end is None or end <= start:
        return day(start, relative_to)
    if (start.year, start.month) == (end.year, end.month) and not is_month_first():
        return f"{WEEKDAYS[start.weekday()]} {start.day} to {day(end, relative_to)}"
    return f"{day(start)} to {day(end, relative_to)}"


def percent(fraction: Any) -> str:
    """'80 %', without decimals; 'under 1 %' and 'over 99 %' rather than a false certainty."""
    if is_missing(fraction):
        return "not known"
    value = float(fraction)
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return f"{round(100 * value)} %"


def percent_band(low: Any, high: Any) -> str:
    """'(70 to 95 %)': an 80 % band of a fraction."""
    if is_missing(low) or is_missing(high):
        return ""
    first, last = round(100 * float(low)), round(100 * float(high))
    return f"({first} %)" if first == last else f"({first} to {last} %)"


def days_band(low: Any, high: Any) -> str:
    """'1 to 6', '12 or more', 'over a year': the 80 % band of days left."""
    if is_missing(low) or is_missing(high):
        return ""
    first, last = whole_days(low), whole_days(high)
    if first >= DAYS_CAP:
        return "over a year"
    if last >= DAYS_CAP:
        return f"{first} or more"
    return f"{first}" if first == last else f"{first} to {last}"


def whole_days(days: Any) -> int:
    """Days left as a whole number, never negative, capped at a year."""
    return int(min(max(round(float(days)), 0), DAYS_CAP))


def count(amount: int, one: str, many: str | None = None) -> str:
    """'1 racket', '9 rackets', 'no rackets'."""
    noun = one if amount == 1 else (many or one + "s")
    return f"no {noun}" if amount == 0 else f"{number(amount)} {noun}"


def verb(number: int, one: str, many: str) -> str:
    """The verb that goes with a number: verb(1, 'is', 'are')."""
    return one if number == 1 else many


def hours(value: Any) -> str:
    """'11 h', '0.5 h': hours of play, one decimal below ten."""
    if is_missing(value):
        return "not known"
    amount = float(value)
    is_whole = amount >= 9.95 or math.isclose(amount, round(amount))
    return f"{number(amount, 0 if is_whole else 1)} h"


def hours_from_minutes(minutes: Any) -> str:
    """Bench or court minutes as whole hours, as minutes below one hour."""
    if is_missing(minutes):
        return "not known"
    amount = float(minutes)
    return f"{round(amount)} min" if amount < 60 else f"{number(amount / 60)} h"


def tension(mains_kg: Any, crosses_kg: Any, unit: str = "kg") -> str:
    """'24 / 23.5 kg' (mains / crosses); one number when both are the same."""
    if is_missing(mains_kg):
        return "tension not recorded"
    factor = KG_TO_LB if unit == "lb" else 1.0
    mains = float(mains_kg) * factor
    crosses = mains if is_missing(crosses_kg) else float(crosses_kg) * factor
    first, second = _half(mains), _half(crosses)
    return f"{first} {unit}" if first == second else f"{first} / {second} {unit}"


def _half(value: float) -> str:
    rounded = round(value * 2) / 2
    return number(rounded) if rounded == int(rounded) else number(rounded, 1)


def grade(value: Any) -> str:
    """An inspection grade 0 to 3 in words; 'not looked at' where it was left out."""
    if is_missing(value):
        return "not looked at"
    return GRADE_WORDS[min(max(int(value), 0), 3)]


def from_code(code: Any) -> str:
    """A contract value such as 'ball_machine' as words: 'ball machine'."""
    return "" if is_missing(code) else str(code).replace("_", " ")


def sentence(text: Any) -> str:
    """First letter in upper case and one full stop at the end."""
    if is_missing(text) or not str(text).strip():
        return ""
    body = str(text).strip().rstrip(".")
    return body[0].upper() + body[1:] + "."


def join_words(items: list[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    if len(items) <= 1:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]


def plain(text: Any) -> str:
    """Text that came from a CSV file, made safe for a place that reads Markdown: shown as it was written."""
    if is_missing(text):
        return ""
    return re.sub(r"([\\`*_\[\]<>#|~$:&])", r"\\\1", str(text).replace("\n", " "))


def chart_text(text: Any) -> str:
    """Text that came from a CSV file, made safe for a chart label, which reads a few HTML tags."""
    return "" if is_missing(text) else html.escape(str(text), quote=False)


def short_name(name: Any) -> str:
    """The last word of a name, for a narrow screen: 'Okafor'."""
    parts = [] if is_missing(name) else str(name).split()
    return parts[-1] if parts else ""


def idle_bench(chance: float) -> str:
    """A sentence where the bench is more likely idle than not, else ''. chance: that it is."""
    if chance < 0.5:
        return ""
    return (
        "Rackets wait, yet nothing has been strung lately: the forecast counts on a bench that stands idle for some "
        "days more, as it did before, and on a backlog after that."
    )
