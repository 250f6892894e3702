"""What the stringer must be told before a racket goes on the machine.

In: one ticket's facts (its set-up, the frame's window, the last inspection, why it was handed in). Out: Caution, each
with a sentence and how much it weighs: STOP (not to be strung), ASK (refused until confirmed), TELL (a word). All are
common practice; local rules and the machine maker's instructions come first. None is a medical claim.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.fleet import words

STOP, ASK, TELL = "stop", "ask", "tell"
JUNIOR_SQUAD = re.compile(r"\b(u\s?-?(?:[6-9]|1[0-6])|under[ -]?1?\d|minis?|juniors?)\b", re.IGNORECASE)
GENERAL = (
    "Local rules and the machine maker's instructions come first. Wear eye protection when you cut strings, and stay "
    "inside the tension window printed on the frame."
)
CUT_OUT = (
    "A string has broken: cut the whole bed out at once, from the centre outwards, evenly on all sides; a half-strung "
    "frame is pulled out of shape."
)


@dataclass(frozen=True)
class Caution:
    """weight: STOP, ASK or TELL."""

    weight: str
    text: str


def cautions(ticket: Mapping[Any, Any], unit: str = "kg") -> tuple[Caution, ...]:
    """The cautions of one ticket, the weightiest first.

    ticket: racket_id, frame_state, frame_seen_on, tension_min_kg, tension_max_kg, mains_kg, crosses_kg, reason, squad,
    level, mains_material, crosses_material; missing values where nothing is on file.
    """
    found: list[Caution] = []
    if _is(ticket, "frame_state", "do_not_string"):
        found.append(
            Caution(
                STOP,
                f"Do not string {ticket['racket_id']}: the inspection of {words.day(ticket['frame_seen_on'])} says so. "
                "Write down a new inspection once the frame is sound.",
            )
        )
    found += _window(ticket, unit)
    if _is(ticket, "reason", "broke"):
        found.append(Caution(TELL, CUT_OUT))
    if _is(ticket, "frame_state", "watch"):
        found.append(Caution(TELL, f"Watch the frame, says the inspection of {words.day(ticket['frame_seen_on'])}."))
    if (
        is_junior(ticket)
        and _is(ticket, "mains_material", "polyester")
        and _is(ticket, "crosses_material", "polyester")
    ):
        found.append(
            Caution(
                TELL,
                "A full bed of polyester for a young player: stiff beds are not for young juniors, so have a word "
                "with the coach.",
            )
        )
    if words.is_missing(ticket.get("mains_kg")):
        found.append(Caution(TELL, "No tension is on file for this racket: ask the player, and write it down."))
    return tuple(found)


def _window(ticket: Mapping[Any, Any], unit: str) -> list[Caution]:
    """Above the frame's window: to be confirmed. Below it: a note."""
    low: Any = ticket.get("tension_min_kg")
    high: Any = ticket.get("tension_max_kg")
    given: list[Any] = [ticket.get("mains_kg"), ticket.get("crosses_kg")]
    pulls = [float(v) for v in given if not words.is_missing(v)]
    if not pulls:
        return []
    window = (
        ""
        if words.is_missing(low) or words.is_missing(high)
        else f" ({kilos(low, unit)} to {kilos(high, unit)} {unit})"
    )
    if not words.is_missing(high) and max(pulls) > float(high) + 1e-6:
        said = f"{kilos(max(pulls), unit)} {unit} is above the window printed on the frame{window}"
        return [Caution(ASK, f"{said}: it can crack the frame, so confirm it with the player before you string.")]
    if not words.is_missing(low) and min(pulls) < float(low) - 1e-6:
        said = f"{kilos(min(pulls), unit)} {unit} is below the window printed on the frame{window}"
        return [Caution(TELL, f"{said}: the player's choice, and no harm to the frame.")]
    return []


def kilos(value: Any, unit: str = "kg") -> str:
    """A pull as the machine is set: to a tenth, in the club's unit."""
    number = float(value) * (words.KG_TO_LB if unit == "lb" else 1.0)
    return f"{number:.1f}".removesuffix(".0")


def is_junior(ticket: Mapping[Any, Any]) -> bool:
    """A young or new player as far as the files tell: the squad's name says so, or the level is beginner."""
    squad = ticket.get("squad")
    named = squad is not None and not pd.isna(squad) and JUNIOR_SQUAD.search(str(squad)) is not None
    return named or _is(ticket, "level", "beginner")


def _is(ticket: Mapping[Any, Any], name: str, value: str) -> bool:
    given = ticket.get(name)
    return not words.is_missing(given) and given == value
