"""The same club up to an origin with another future: a folder and a date in, a folder of altered CSV files out.

Everything dated after the origin is dropped or changed, so that a forecast made at the origin must not notice. What was
known by then stays to the letter, and so do plans: calendar and bench rows ahead. A job handed in before the origin and
finished after it keeps what was known on the day, which is that it was handed in and why; how it went on is changed.
"""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

Row = dict[str, str]
PLANS = {"calendar", "bench"}
# the day of the event, by file; rows dated after the origin become other rows
EVENT_DAY = {
    "restrings": "strung_on",
    "matches": "played_on",
    "practices": "played_on",
    "inspections": "inspected_on",
    "holders": "from_on",
    "setups": "from_on",
    "stock": "counted_on",
    "orders": "ordered_on",
    "jobs": "handed_in_on",
    "players": "since",
    "rackets": "in_service_on",
}


def _is_after(row: Row, column: str, origin: date) -> bool:
    return bool(row.get(column)) and date.fromisoformat(row[column][:10]) > origin


def _later(text: str, days: int) -> str:
    moved = date.fromisoformat(text[:10]) + timedelta(days=days)
    return moved.isoformat() + text[10:]


def _alter(name: str, row: Row, origin: date, number: int) -> Row | None:
    """The row as it is in the other future; None if it never comes to be there."""
    if name in PLANS or name == "strings":
        return row
    row = dict(row)
    if _is_after(row, EVENT_DAY[name], origin):
        if number % 3 == 0 or name in ("jobs", "players", "rackets"):
            return None
        row[EVENT_DAY[name]] = _later(row[EVENT_DAY[name]], 1 + number % 4)
        changed = {"minutes": str(15 + number % 100), "reason": "scheduled", "notching": "3", "metres": "7"}
        changed |= {"ended_on": "", "broke_where": "", "score": "6-0 6-0"}
        return row | {column: value for column, value in changed.items() if row.get(column)}
    for column in ("left_on", "retired_on", "received_on", "paid_on"):
        if _is_after(row, column, origin):
            row[column] = ""
    if name == "jobs" and _is_after(row, "state_on", origin):
        row |= {"state_on": _later(row["state_on"], 5), "restring_id": "", "state": "handed_back"}
    return row


def write_other_future(folder: Path, other: Path, origin: date) -> int:
    """Write the altered folder; gives how many rows differ or are gone."""
    other.mkdir(parents=True)
    count_changed = 0
    for path in sorted(folder.glob("*.csv")):
        with path.open(newline="", encoding="utf-8-sig") as handle:
            reader = csv.DictReader(handle)
            rows, columns = list(reader), list(reader.fieldnames or [])
        altered = [_alter(path.stem, row, origin, number) for number, row in enumerate(rows)]
        count_changed += sum(a != b for a, b in zip(rows, altered, strict=True))
        with (other / path.name).open("w", newline="", encoding="utf-8") as handle:
            writer = csv.DictWriter(handle, columns)
            writer.writeheader()
            writer.writerows(row for row in altered if row is not None)
    return count_changed
