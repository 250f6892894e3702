"""How much memory a database of this process may take; what does not fit waits on the disk.

In: a connection and a size in words, such as '1 GiB'. Out: its limit set; a large club fits into a small machine. What
cannot wait grows with the club, so beyond LARGE_SESSIONS the size does.
"""

from __future__ import annotations

import functools

import duckdb

LARGE_SESSIONS = 10_000_000
# for the working relations while they are built and read as a whole, and while arrays are worked on beside them
BUILDING_MIB, WAITING_MIB = 768, 128
BYTES = {"bytes": 1.0, "KiB": 2.0**10, "MiB": 2.0**20, "GiB": 2.0**30, "TiB": 2.0**40}


def bound_memory(con: duckdb.DuckDBPyConnection, most: str) -> None:
    """Let the database take so much memory at most, or less where the machine has less; the rest waits on the disk,
    what is in memory now included. A limit set before may be raised by it."""
    limit = most if _in_bytes(_machines_limit()) > _in_bytes(most) else _machines_limit()
    con.execute(f"set memory_limit = '{limit}'")


def of_so_many(sessions: int, mebibytes: int) -> str:
    """The size for a club of so many sessions, given that of any club up to LARGE_SESSIONS."""
    return f"{round(mebibytes * max(1.0, sessions / LARGE_SESSIONS))} MiB"


def bound_relations(con: duckdb.DuckDBPyConnection, is_building: bool) -> None:
    """Bound what the working relations may hold, by the sessions on file. con: has the clean tables as `facts`."""
    count = "select (select count(*) from facts.matches) + (select count(*) from facts.practices)"
    (sessions,) = con.execute(count).fetchall()[0]
    bound_memory(con, of_so_many(int(sessions), BUILDING_MIB if is_building else WAITING_MIB))


@functools.cache
def _machines_limit() -> str:
    """What DuckDB would take of this machine by itself."""
    with duckdb.connect() as con:
        (limit,) = con.execute("select current_setting('memory_limit')").fetchall()[0]
    return str(limit)


def _in_bytes(size: str) -> float:
    number, unit = size.split()
    return float(number) * BYTES[unit]
