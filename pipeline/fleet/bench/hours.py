"""The hours at the bench, by stringer and day.

In: a connection with the clean tables attached as `facts`, the plan's first day, how many days, the last day on file.
Out: BenchHours in minutes. A day with a row in bench.csv has those minutes; a day without has the stringer's usual
minutes for that weekday, the mean of the rows of that weekday over the twelve weeks before the origin (a week without a
row counts as none), except on days the whole club is closed; a stringer without such rows has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import duckdb
import numpy as np

USUAL_WEEKS = 12


@dataclass(frozen=True)
class BenchHours:
    """minutes: (stringers, days); is_written: (stringers, days) the day has a row of its own, else it is the usual."""

    stringers: tuple[str, ...]
    days: tuple[date, ...]
    minutes: np.ndarray
    is_written: np.ndarray

    @property
    def is_known(self) -> bool:
        """Anything at all is on file about the hours."""
        return bool(self.stringers)


def bench_hours(con: duckdb.DuckDBPyConnection, first_on: date, n_days: int, as_of: date) -> BenchHours:
    """Minutes by stringer and day from first_on. What was strung on first_on already is taken off that day."""
    days = tuple(first_on + timedelta(days=k) for k in range(n_days))
    rows = con.execute(
        """
        select stringer, bench_on, sum("minutes") as bench_minutes from facts.bench
        where bench_on > $from_on and bench_on < $to_on group by all order by all
        """,
        {"from_on": as_of - timedelta(days=7 * USUAL_WEEKS), "to_on": days[-1] + timedelta(days=1)},
    ).fetchall()
    stringers = tuple(sorted({stringer for stringer, _, _ in rows}))
    written = {(stringer, on): float(minutes) for stringer, on, minutes in rows}
    usual: dict[tuple[str, int], float] = {}
    for (stringer, on), minutes in written.items():
        if on <= as_of:
            key = stringer, on.weekday()
            usual[key] = usual.get(key, 0.0) + minutes / USUAL_WEEKS
    closed = _closed_days(con, days)
    minutes_of = np.zeros((len(stringers), n_days))
    is_written = np.zeros(minutes_of.shape, dtype=bool)
    for i, stringer in enumerate(stringers):
        for k, day in enumerate(days):
            is_written[i, k] = (stringer, day) in written
            usually = 0.0 if day in closed else usual.get((stringer, day.weekday()), 0.0)
            minutes_of[i, k] = written.get((stringer, day), round(usually))
    done = con.execute(
        "select stringer, sum(bench_minutes) from restrings_clean where strung_on = $day group by stringer",
        {"day": first_on},
    ).fetchall()
    for stringer, taken in done:
        if stringer in stringers and taken:
            at = stringers.index(stringer)
            minutes_of[at, 0] = max(minutes_of[at, 0] - float(taken), 0.0)
    return BenchHours(stringers, days, minutes_of, is_written)


def _closed_days(con: duckdb.DuckDBPyConnection, days: tuple[date, ...]) -> set[date]:
    """Days on which every squad, or the club as a whole, is closed."""
    squads = {name for (name,) in con.execute("select distinct squad from facts.players").fetchall()}
    closed: dict[date, set[str | None]] = {}
    for squad, first, last in con.execute(
        "select squad, planned_on, greatest(planned_on, coalesce(until_on, planned_on)) from facts.calendar "
        "where activity = 'closed' and player_id is null and not coalesce(cancelled, false) "
        "and planned_on <= $last and coalesce(until_on, planned_on) >= $first",
        {"first": days[0], "last": days[-1]},
    ).fetchall():
        for day in days:
            if first <= day <= last:
                closed.setdefault(day, set()).add(squad)
    return {day for day, who in closed.items() if None in who or squads <= who}
