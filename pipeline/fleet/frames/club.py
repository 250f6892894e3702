"""The club, the filters and what there is to choose from: what every page of the dashboard starts with.

In: a connection to a published view (tables `meta`, `ranking`), today's date. Out: small frozen dataclasses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from pipeline.fleet import words

Row = dict[Any, Any]  # one row of a frame, column -> value
STALE_DAYS = 7  # a last log older than this is said at the top
WEEK, PAST, ALL = "To hand in", "Past their life", "All rackets"


@dataclass(frozen=True)
class Club:
    """Who this is, how far the logs reach, and whether they are stale."""

    name: str
    as_of: date
    last_log_on: date | None
    tension_unit: str
    count_rackets: int
    stale_note: str
    learned_note: str
    idle_note: str = ""

    @property
    def byline(self) -> str:
        """The line under a title: day, club, rackets, last log."""
        parts = [words.day_with_year(self.as_of), self.name, words.count(self.count_rackets, "racket")]
        if self.last_log_on is not None:
            parts.append(f"last log {words.day(self.last_log_on, self.as_of)}")
        return " · ".join(words.plain(part) for part in parts if part)


@dataclass(frozen=True)
class Filters:
    """What the reader chose; None means all."""

    squad: str | None = None
    player: str | None = None
    role: str | None = None
    show: str = WEEK


@dataclass(frozen=True)
class Choices:
    """What there is to choose from."""

    squads: list[str]
    players: list[str]
    roles: list[str]


def read(con: duckdb.DuckDBPyConnection, table: str, order: str = "all") -> pd.DataFrame:
    """One published table, whole, in a fixed order; the view holds small, aggregated tables only."""
    return con.sql(f"from {table} order by {order}").df()


def has_table(con: duckdb.DuckDBPyConnection, table: str) -> bool:
    """Whether the view holds a table: an older view may lack a newer one."""
    found = con.execute("select count(*) from duckdb_tables() where table_name = $name", {"name": table}).fetchall()
    return bool(found[0][0])


def club(con: duckdb.DuckDBPyConnection, today: date) -> Club:
    """The club's name, dates and units from `meta`, and the note when the last log is old."""
    meta = dict(con.sql("select key, value from meta").fetchall())
    last_log_on = words.as_date(meta.get("last_log_on"))
    return Club(
        name=meta.get("club_name") or "",
        as_of=words.as_date(meta["as_of"]) or today,
        last_log_on=last_log_on,
        tension_unit=meta.get("tension_unit") or "kg",
        count_rackets=int(meta.get("count_rackets") or 0),
        stale_note=stale_note(last_log_on, today),
        learned_note=meta.get("learning") or "",
        idle_note=meta.get("idle_bench") or "",
    )


def stale_note(last_log_on: date | None, today: date) -> str:
    """A sentence when the newest record is more than a week before today, else ''."""
    if last_log_on is None or (today - last_log_on).days <= STALE_DAYS:
        return ""
    age = words.count((today - last_log_on).days, "day")
    return (
        f"The last log is from {words.day_with_year(last_log_on)}, {age} ago. Everything below stands as of that day; "
        "load newer matches, practices and restrings on the page Records."
    )


def choices(con: duckdb.DuckDBPyConnection) -> Choices:
    """Squads, players and roles that appear in the ranking."""

    def values(column: str) -> list[str]:
        rows = con.sql(f"select distinct {column} from ranking where {column} is not null order by 1").fetchall()
        return [row[0] for row in rows]

    return Choices(squads=values("squad"), players=values("player_name"), roles=values("role"))


def racket_names(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """racket_id -> 'R75-3 · Leila Haddon', most urgent first."""
    rows = con.sql("select racket_id, player_name from ranking order by rank").fetchall()
    return {racket_id: f"{racket_id} · {name}" if name else racket_id for racket_id, name in rows}
