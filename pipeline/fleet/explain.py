"""The sentence that says why a racket stands where it stands.

In: one racket's row of the ranking. Out: a plain sentence without a full stop, first letter lower case.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

from pipeline.fleet.words import as_date, is_missing
from pipeline.fleet.words import day as short_day

SPIN_WORDS = {"flat": "flat hitting", "moderate": "moderate topspin", "heavy": "heavy topspin"}
MATERIAL_WORDS = {
    "polyester": "polyester",
    "multifilament": "multifilament",
    "synthetic_gut": "synthetic gut",
    "natural_gut": "natural gut",
    "aramid": "aramid",
    "other": "string",
    "unknown": "string of unknown make",
}


def string_words(mains_material: object, crosses_material: object, gauge_mm: object) -> str:
    """For example "1.25 mm polyester", or "1.25 mm polyester with multifilament crosses"."""
    mains = MATERIAL_WORDS.get(str(mains_material), "string")
    gauge = f"{float(str(gauge_mm)):.2f} mm " if not is_missing(gauge_mm) else ""
    if not is_missing(crosses_material) and crosses_material != mains_material:
        return f"{gauge}{mains} with {MATERIAL_WORDS.get(str(crosses_material), 'other')} crosses"
    return f"{gauge}{mains}"


def why(row: Mapping[Hashable, Any]) -> str:
    """The sentence for one row. Columns used: status, strung_on, hours_played, spin, materials, gauge, life used,
    due_on, days_left_p50, limit_first, handed_in_on, ended_on, reason, look."""
    if row["status"] == "no_bed":
        return "no restring on file: write down when and with what it was strung, and it joins the list"
    strings = string_words(row["mains_material"], row["crosses_material"], row["mains_gauge_mm"])
    strung = as_date(row["strung_on"])
    since = f"since {short_day(strung)}" if strung else ""
    hours = float(row["hours_played"])
    played = "not played yet" if hours < 0.05 else f"about {hours:.0f} h" if hours >= 1 else "under an hour"
    spin = SPIN_WORDS.get(str(row["spin"]), "play")
    base = (
        f"{played} of {spin} on {strings} {since}"
        if hours >= 0.05
        else f"{strings}, strung {short_day(strung)}, {played}"
    )
    ended = as_date(row["ended_on"])
    handed_in = as_date(row["handed_in_on"])
    if row["status"] == "broken":
        day = f" {short_day(ended)}" if ended else ""
        place = f", handed in {short_day(handed_in)}" if handed_in else ", not yet handed in"
        return f"broke{day}{place}; {base}"
    if row["status"] == "in_shop":
        day = short_day(handed_in) if handed_in else "already"
        return f"at the bench since {day}; {base}" if handed_in else f"handed in; {base}"
    dead, broken = float(row["dead_used"]), float(row["break_used"])
    state = f"{_percent(dead)} of the way to dead" if dead >= broken else f"{_percent(broken)} of the way to breaking"
    if dead >= 1.0:
        state = "past the life of such strings"
    due = as_date(row["due_on"])
    days = float(row["days_left_p50"])
    word = "to break" if row["limit_first"] == "breaks" else "to be handed in as dead"
    if days >= 90:
        ahead = "no end in sight at the planned play"
    elif days < 1.5:
        ahead = "due now"
    else:
        ahead = f"likely {word} about {short_day(due)}"
    note = ""
    if dead >= 1.15 and days >= 21:
        note = "; nobody has complained"
    shared = "" if float(row.get("shared_part", 0.0) or 0.0) < 0.5 else " (mostly shared out)"
    if float(row.get("assumed_part", 0.0) or 0.0) >= 0.5:
        shared = " (assumed: hardly any play is logged)"
    return f"{base}{shared}; {state}, {ahead}{note}"


def _percent(x: float) -> str:
    return f"{min(max(x, 0.0), 9.99) * 100:.0f} %"
