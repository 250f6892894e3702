"""Rows in (dicts, by contract file name), a folder of contract CSV files out; knows columns and nothing of tennis.

Columns stand in the order of the contract's tables. A column that no row fills is left out, as a club would.
Dates and date-times are written in ISO 8601, empty values as nothing at all.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

Row = Mapping[str, Any]

REQUIRED_FILES = ("players", "rackets", "strings", "restrings")

COLUMNS: dict[str, str] = {
    "players": "player_id since player_name squad level spin left_on hours_week",
    "rackets": "racket_id player_id frame marking head_cm2 mains crosses tension_min_kg tension_max_kg role "
    "in_service_on retired_on",
    "holders": "racket_id from_on player_id",
    "strings": "string_id string_name material gauge_mm profile reel_m reel_price lead_days",
    "setups": "racket_id player_id from_on mains_string_id crosses_string_id mains_kg mains_lb crosses_kg crosses_lb",
    "restrings": "restring_id racket_id strung_on mains_string_id crosses_string_id mains_kg mains_lb crosses_kg "
    "crosses_lb stringer minutes reason ended_on broke_where strung_at",
    "jobs": "job_id racket_id handed_in_on reason due_on state state_on stringer restring_id",
    "matches": "match_id player_id racket_id played_on format score minutes surface event",
    "practices": "practice_id player_id squad played_on racket_id activity minutes intensity surface absent "
    "players_on_court",
    "inspections": "inspection_id inspected_on racket_id fraying notching misalignment lost_feel broken frame note",
    "calendar": "planned_on squad player_id activity event until_on minutes place fresh_rackets cancelled",
    "bench": "bench_on stringer minutes",
    "stock": "counted_on string_id metres",
    "endings": "racket_id player_id strung_on ended_on restrung_on true_cause",
}


def cell(value: Any) -> str:
    """One value as the text of a cell."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1000 else f"{value:.1f}"
    return str(value)


def write_file(folder: Path, name: str, rows: Iterable[Row], keep_all: bool = False) -> None:
    """Write `<name>.csv`; `keep_all` keeps columns that are empty throughout."""
    rows = list(rows)
    columns = COLUMNS[name].split()
    for row in rows:
        if unknown := set(row) - set(columns):
            raise ValueError(f"{name}.csv: no such column: {', '.join(sorted(unknown))}")
    used = [c for c in columns if keep_all or any(row.get(c) not in (None, "") for row in rows)]
    with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle)
        writer.writerow(used or columns)
        writer.writerows([cell(row.get(c)) for c in used] for row in rows)


def write_club(folder: Path, files: Mapping[str, Iterable[Row]], endings: Iterable[Row], only_required: bool) -> None:
    """Write the club's folder and, beside it, `<name>-truth/endings.csv`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in files.items():
        if (name in REQUIRED_FILES or not only_required) and (rows := list(rows)):
            write_file(folder, name, rows)
    truth = folder.with_name(folder.name + "-truth")
    truth.mkdir(parents=True, exist_ok=True)
    write_file(truth, "endings", endings, keep_all=True)
