"""Days from order to delivery, with their spread, from the club's own orders.

In: orders received by the origin, the days each string is said to take. Out: LeadTimes, from which days are drawn: the
days said (else the string's own median, else the usual) and an error drawn from this club's orders.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np

from pipeline.fleet.reels.catalogue import DEFAULT_LEAD_DAYS, Catalogue

# where fewer orders are on file, these stand in beside them: from a day early to a few days late; assumption
USUAL_ERRORS = (-1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 2.0, 4.0)
MOST_DAYS = 180


@dataclass(frozen=True)
class LeadTimes:
    """said: string_id -> days. errors: (n,) days late of orders received, earliest negative."""

    said: dict[str, float]
    errors: np.ndarray

    def draws(self, string_id: str, count: int, rng: np.random.Generator) -> np.ndarray:
        """(count,) whole days, at least one."""
        days = self.said.get(string_id, DEFAULT_LEAD_DAYS) + rng.choice(self.errors, count)
        return np.clip(np.rint(days), 1, MOST_DAYS).astype(np.int64)


def lead_times(con: duckdb.DuckDBPyConnection, as_of: date, known: Catalogue) -> LeadTimes:
    """What the orders on file teach; USUAL_ERRORS count beside them."""
    rows = con.execute(
        "select string_id, received_on - ordered_on, expected_on - ordered_on from facts.orders "
        "where received_on <= $day and received_on >= ordered_on",
        {"day": as_of},
    ).fetchall()
    taken: dict[str, list[float]] = {}
    late: list[float] = []
    for string_id, days, promised in rows:
        kind = known.stands_for.get(string_id)
        if kind is None:
            continue
        taken.setdefault(kind, []).append(float(days))
        said = promised if promised is not None and promised >= 0 else known.kinds[kind].lead_days
        if said is not None:
            late.append(float(days) - float(said))
    said_days = {}
    for string_id, string in known.kinds.items():
        own = taken.get(string_id, [])
        if string.lead_days is not None:
            said_days[string_id] = float(string.lead_days)
        else:
            said_days[string_id] = float(np.median(own)) if len(own) >= 3 else float(DEFAULT_LEAD_DAYS)
    # an order months late was forgotten in the books rather than late
    late = [days for days in late if abs(days) <= MOST_DAYS]
    return LeadTimes(said_days, np.array([*USUAL_ERRORS, *late]))
