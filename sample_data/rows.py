"""How values stand in the club's CSV files, and how carefully the club keeps them.

In: ordinals, numbers, setups. Out: text as the files hold it: ISO dates, plain numbers, kg or lb.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sample_data.catalogue import Setup

KG_PER_LB = 0.45359237
Row = dict[str, object]


@dataclass(frozen=True)
class Habits:
    """How this club keeps its log. Shares between 0 and 1."""

    share_without_racket: float = 0.85
    is_share_of_all_sessions: bool = False
    share_unlogged: float = 0.02
    share_unknown_reason: float = 0.07
    share_score_only: float = 0.25
    share_ended_on_known: float = 0.7
    share_without_job: float = 0.08
    share_absence_forgotten: float = 0.06
    share_elsewhere_unknown: float = 0.4
    is_squad_rows: bool = True
    units: str = "kg"


def iso(day: int | None, clock: str = "") -> str:
    if day is None:
        return ""
    return date.fromordinal(day).isoformat() + (f"T{clock}" if clock else "")


def number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def tensions(setup: Setup, units: str) -> Row:
    """The four strings-and-tension columns, in the club's unit, lb to the half."""
    row: Row = {"mains_string_id": setup.mains_string_id, "crosses_string_id": setup.crosses_string_id}
    for side, kg in (("mains", setup.mains_kg), ("crosses", setup.crosses_kg)):
        row[f"{side}_{units}"] = number(kg if units == "kg" else round(2 * kg / KG_PER_LB) / 2)
    return row
