"""A small invented club with reels, counts and orders, for the tests of reels and what-ifs.

Out: a connection with `facts` filled, as `tests.fleet.clubs.academy` makes it, and string that can be bought.
"""

from __future__ import annotations

from datetime import date, timedelta

import duckdb

from tests.fleet.clubs import ORIGIN, academy
from tests.sql.club_rows import put

PRICES = "update facts.strings set reel_m = 200, reel_price = 120, lead_days = 7"


def club(players: int = 6, weeks: int = 26, seed: int = 1) -> duckdb.DuckDBPyConnection:
    """Every string in reels of 200 m at 120."""
    con = academy(players=players, weeks=weeks, seed=seed)
    con.execute(PRICES)
    return con


def count(con: duckdb.DuckDBPyConnection, string_id: str, on: date = ORIGIN, **cells: object) -> None:
    put(con, "stock", [{"counted_on": str(on), "string_id": string_id} | cells])


def order(
    con: duckdb.DuckDBPyConnection, order_id: str, string_id: str, days_ago: int, metres: float, **cells: object
) -> None:
    """An order placed so many days before the origin."""
    on = ORIGIN - timedelta(days=days_ago)
    row = {"order_id": order_id, "string_id": string_id, "ordered_on": str(on), "metres": metres, "price": 120}
    put(con, "orders", [row | cells])
