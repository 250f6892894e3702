"""String on the shelf now: counts, what came and what went since, and what is lost between counts."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import pandas as pd
import pytest

from pipeline.fleet.reels.catalogue import catalogue
from pipeline.fleet.reels.stock import open_orders, stock_now, string_uses
from tests.sql.club_rows import STRINGS, Row, one_player_club, put, relations

DAY = date(2026, 3, 1)
METRES = pd.DataFrame({"racket_id": ["R1"], "mains_m": [6.0], "crosses_m": [5.5]})


def made(**tables: list[Row]) -> duckdb.DuckDBPyConnection:
    con = one_player_club()
    con.execute("update facts.strings set reel_m = 200, reel_price = 120")
    for name, rows in tables.items():
        put(con, name, rows)
    relations(con, str(DAY))
    return con


def job(on: str, **cells: object) -> Row:
    return {"restring_id": f"J{on}{cells.get('string_from', '')}", "racket_id": "R1", "strung_on": on,
            "mains_string_id": "poly", "mains_kg": 23.0, "reason": "broke"} | cells  # fmt: skip


def shelf(con: duckdb.DuckDBPyConnection) -> pd.Series:
    known = catalogue(con)
    uses = string_uses(con, METRES)
    return stock_now(con, DAY, known, uses, dict.fromkeys(known.kinds, 11.5)).set_index("string_id").loc["poly"]


def test_metres_go_with_jobs_and_come_with_orders() -> None:
    con = made(
        stock=[{"counted_on": "2026-02-01", "string_id": "poly", "metres": 100}],
        restrings=[job("2026-01-20"), job("2026-02-10"), job("2026-02-20", mains_m=7.0, crosses_m=5.0)],
        orders=[
            {"order_id": "O1", "string_id": "poly", "ordered_on": "2026-01-20", "received_on": "2026-02-05",
             "metres": 200, "price": 120},
            {"order_id": "O2", "string_id": "poly", "ordered_on": "2026-02-20", "metres": 200, "price": 120},
        ],
    )  # fmt: skip
    row = shelf(con)
    assert row["came_m"] == 200 and row["went_m"] == pytest.approx(11.5 + 12.0)
    assert row["stock_m"] == pytest.approx(300 - 23.5)
    assert open_orders(con, DAY, catalogue(con))["order_id"].tolist() == ["O2"]


def test_reels_and_jobs_left_are_counted_as_people_count() -> None:
    con = made(stock=[{"counted_on": "2026-03-01", "string_id": "poly", "reels": 2, "jobs_left": 4}])
    assert shelf(con)["stock_m"] == pytest.approx(2 * 200 + 4 * 11.5)


@pytest.mark.parametrize("cells", [{"string_from": "player"}, {"string_from": "sponsor"}, {"strung_at": "elsewhere"}])
def test_string_that_is_not_the_clubs_takes_none(cells: Row) -> None:
    con = made(
        stock=[{"counted_on": "2026-02-01", "string_id": "poly", "metres": 100}], restrings=[job("2026-02-10", **cells)]
    )
    assert shelf(con)["stock_m"] == pytest.approx(100)


def test_jobs_of_the_day_are_in_the_count_unless_timed() -> None:
    count = {"counted_on": "2026-02-10", "string_id": "poly", "metres": 100}
    assert shelf(made(stock=[count], restrings=[job("2026-02-10")]))["stock_m"] == pytest.approx(100)
    timed = count | {"counted_on": "2026-02-10T09:00"}
    assert shelf(made(stock=[timed], restrings=[job("2026-02-10T17:00")]))["stock_m"] == pytest.approx(88.5)


def test_more_used_than_there_was_is_none_and_said() -> None:
    con = made(stock=[{"counted_on": "2026-02-01", "string_id": "poly", "metres": 5}], restrings=[job("2026-02-10")])
    row = shelf(con)
    assert row["stock_m"] == 0 and row["is_short"]


def test_never_counted_is_taken_as_empty() -> None:
    row = shelf(made(restrings=[job("2026-02-10")]))
    assert pd.isna(row["counted_on"]) and row["stock_m"] == 0 and not row["is_short"]


def test_what_goes_missing_between_counts_is_learned() -> None:
    """400 m gone where 30 jobs took 345 m: loss between 1 and 400 / 345, leaning on no loss."""
    days = [str(date(2026, 1, 2) + timedelta(days=i)) for i in range(30)]
    con = made(
        stock=[
            {"counted_on": "2026-01-01", "string_id": "poly", "metres": 500},
            {"counted_on": "2026-02-15", "string_id": "poly", "metres": 100},
        ],
        restrings=[job(on) for on in days],
    )
    row = shelf(con)
    assert row["loss"] == pytest.approx((300 + 400) / (300 + 345))
    assert 1.0 < row["waste"] < row["loss"]


def test_two_lengths_of_one_string_are_one_string() -> None:
    con = made()
    put(con, "strings", [{**STRINGS[0], "string_id": "poly_half", "reel_m": 100, "reel_price": 70}])
    known = catalogue(con)
    assert known.stands_for["poly_half"] == "poly" and len(known.kinds["poly"].packs) == 2
