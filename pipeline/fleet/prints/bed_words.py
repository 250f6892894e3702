"""A ticket's string bed in words for paper: strings with gauge, pulls, metres.

In: one row of `pipeline.fleet.tickets.tickets`. Out: short lines, mains before crosses.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.fleet.tickets.cautions import kilos
from pipeline.fleet.words import is_missing


def string_of(ticket: Mapping[Any, Any], part: str) -> str:
    """'Lyra 1.25 mm': the string of mains or crosses, its gauge where the name does not say it."""
    name = ticket.get(f"{part}_string")
    if is_missing(name):
        name = ticket.get(f"{part}_string_id")
    if is_missing(name):
        return "string not on file"
    gauge: Any = ticket.get(f"{part}_gauge_mm")
    if is_missing(gauge):
        return str(name)
    digits = f"{float(gauge):.2f}"
    said = digits in str(name) or digits.replace(".", "")[:3] in str(name)
    return str(name) if said else f"{name} {digits} mm"


def strings_of(ticket: Mapping[Any, Any]) -> list[str]:
    """['Lyra 1.25 mm'] for a full bed, ['Lyra 1.25 mm', 'Corda 1.30 mm'] (mains, crosses) for a hybrid."""
    mains, crosses = string_of(ticket, "mains"), string_of(ticket, "crosses")
    return [mains] if mains == crosses or is_missing(ticket.get("crosses_string_id")) else [mains, crosses]


def pulls_of(ticket: Mapping[Any, Any], unit: str) -> str:
    """'24 / 23.5 kg' (mains / crosses), to a tenth as the machine is set."""
    if is_missing(ticket.get("mains_kg")):
        return "pull not on file"
    mains = kilos(ticket["mains_kg"], unit)
    crosses = mains if is_missing(ticket.get("crosses_kg")) else kilos(ticket["crosses_kg"], unit)
    return f"{mains} {unit}" if mains == crosses else f"{mains} / {crosses} {unit}"


def metres_of(ticket: Mapping[Any, Any]) -> str:
    """'cut 6.2 m mains, 5.6 m crosses'."""
    if is_missing(ticket.get("mains_m")):
        return ""
    return f"cut {float(ticket['mains_m']):.1f} m mains, {float(ticket['crosses_m']):.1f} m crosses"


def frame_of(ticket: Mapping[Any, Any]) -> str:
    """'Kestrel 98, 16 x 19, marking 2'."""
    parts = [str(ticket["frame"])] if not is_missing(ticket.get("frame")) else []
    if not is_missing(ticket.get("mains")):
        parts.append(f"{int(ticket['mains'])} × {int(ticket['crosses'])}")
    if not is_missing(ticket.get("marking")):
        parts.append(f"marking {ticket['marking']}")
    return ", ".join(parts)
