"""One cell of a club's own sheet in, the cell of the contract out, under a way of reading that someone confirmed.

A cell that cannot be read so stays as it stood: the contract's checks then refuse it and say why.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from pipeline.contract.resources import Field
from pipeline.store.sheet_words import GAUGES_MM

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
ISO = re.compile(r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?)?$")
THREE_NUMBERS = re.compile(r"^(\d{1,2})[./ -](\d{1,2})[./ -](\d{4}|\d{2})(?:[ ,]+(\d{1,2}:\d{2}))?$")
NAMED_MONTH = re.compile(
    r"^(?:[A-Za-z]{2,9},? )?(\d{1,2})(?:st|nd|rd|th)?[ .-]+([A-Za-z]{3,9})[ .,-]+(\d{4}|\d{2})"
    r"(?:[ ,]+(\d{1,2}:\d{2}))?$"
)
GAUGE = re.compile(r"^(\d{2})\s*(l)?\s*(?:g|ga|gauge)?\.?$", re.IGNORECASE)
NUMBER = re.compile(r"^([+-]?\d+(?:[.,]\d+)?)\s*([a-zA-Zµ°%€$£.]*)$")
PATTERN = re.compile(r"^(\d{2})\s*[xX×*/]\s*(\d{2})$")
PAIR = re.compile(r"^(\d+(?:[.,]\d+)?)\s*[/|x-]\s*(\d+(?:[.,]\d+)?)\s*([a-zA-Z.]*)$")
DURATION = re.compile(r"^(\d{1,2})(?::|h ?)(\d{2})?\s*(?:h|min|m)?$")


def _year(text: str) -> int:
    year = int(text)
    return year if year > 99 else year + (2000 if year < 70 else 1900)


def _iso(day: int, month: int, year: str, clock: str | None, given: str) -> str:
    if not (1 <= month <= 12 and 1 <= day <= 31):
        return given
    at = f"T{clock.zfill(5)}" if clock else ""
    return f"{_year(year):04d}-{month:02d}-{day:02d}{at}"


def _date(given: str, is_day_first: bool) -> str:
    text = given.strip()
    if found := THREE_NUMBERS.match(text):
        first, second, year, clock = found.groups()
        day, month = (first, second) if is_day_first else (second, first)
        return _iso(int(day), int(month), year, clock, given)
    if found := NAMED_MONTH.match(text):
        day, name, year, clock = found.groups()
        if name[:3].lower() in MONTHS:
            return _iso(int(day), MONTHS.index(name[:3].lower()) + 1, year, clock, given)
    return given


def day_first(given: str) -> str:
    """`14.3.2026`, `14/03/26` or `14 Mar 2026` as an ISO date."""
    return _date(given, is_day_first=True)


def month_first(given: str) -> str:
    """`3/14/2026` as an ISO date."""
    return _date(given, is_day_first=False)


def number(given: str) -> str:
    """`1,25`, `24 kg` or `12.50 EUR` as a plain number: decimal comma, unit left out."""
    found = NUMBER.match(given.strip())
    return found.group(1).replace(",", ".") if found else given


def duration(given: str) -> str:
    """`1:30` or `1h30` as minutes; else as `number`."""
    found = DURATION.match(given.strip()) if ":" in given or "h" in given.lower() else None
    return str(int(found.group(1)) * 60 + int(found.group(2) or 0)) if found else number(given)


def gauge(given: str) -> str:
    """`17`, `17 g` or `16L` as millimetres; `1.25 mm` and `1,25` as the number."""
    found = GAUGE.match(given.strip())
    if found:
        millimetres = GAUGES_MM.get(found.group(1) + (found.group(2) or "").upper())
        return given if millimetres is None else f"{millimetres:.2f}"
    return number(given)


def pair(given: str) -> tuple[str, str]:
    """`52/50` (mains / crosses) as two numbers, `16x19` likewise; one number stands for both, the second empty."""
    text = given.strip()
    if found := PATTERN.match(text) or PAIR.match(text):
        return found.group(1).replace(",", "."), found.group(2).replace(",", ".")
    return number(given), ""


def as_it_is(given: str) -> str:
    """The cell's text unchanged."""
    return given


READINGS: dict[str, Callable[[str], str]] = {
    "as it is": as_it_is,
    "day first": day_first,
    "month first": month_first,
    "number": number,
    "hours and minutes": duration,
    "gauge": gauge,
    "pair": number,  # one column that fills two: `pair`
}
"""Ways of reading by the name under which a person confirms them."""


def readings_for(field: Field) -> tuple[str, ...]:
    """The ways in which a column of this field may be read."""
    if field.kind == "date":
        return ("as it is", "day first", "month first")
    if field.name == "gauge_mm":
        return ("as it is", "number", "gauge")
    if field.name in ("mains_kg", "mains_lb", "mains"):
        return ("as it is", "number", "pair")
    if field.name == "minutes":
        return ("as it is", "number", "hours and minutes")
    if field.kind in ("number", "integer", "money"):
        return ("as it is", "number")
    return ("as it is",)


def is_day_first(cells: Iterable[str]) -> bool | None:
    """Whether dates of three numbers put the day first; None where they do not say, False where the month is first."""
    pairs = [found.groups()[:2] for cell in cells if (found := THREE_NUMBERS.match(cell.strip()))]
    if any(int(first) > 12 for first, _ in pairs):
        return None if any(int(second) > 12 for _, second in pairs) else True
    return False if any(int(second) > 12 for _, second in pairs) else None
