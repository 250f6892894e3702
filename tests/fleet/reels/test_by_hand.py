"""String, money and orders worked out by hand: half-sets, one reel exactly used up, the day an order is due, a cent.

Sums are beside each check. Sources: whole jobs from a reel and the reorder point as in the project's evidence; a chord
of an ellipse (geometry); the rest is the house's own.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.reels import lead_time, ledger, metres, ordering, stock
from pipeline.fleet.reels.catalogue import Bought, Catalogue, Kind, Pack, catalogue, cheapest, price_per_metre
from pipeline.fleet.reels.demand import club_share, demand
from pipeline.fleet.reels.reel_jobs import jobs_in, reels_for, usable_part
from pipeline.store.schema import create_tables
from tests.sql.club_rows import Row, empty_club, put

DAY = date(2026, 3, 1)
REEL = Pack("S1", 200.0, Decimal(120))
HALF = Pack("S1H", 100.0, Decimal(70))


def on(days: int) -> str:
    return str(DAY + timedelta(days=days))


# --- whole jobs


def test_one_reel_exactly_used_up() -> None:
    assert (jobs_in(23.0, 11.5), jobs_in(22.99, 11.5), jobs_in(11.5, 11.5)) == (2, 1, 1)
    assert jobs_in(0.3, 0.1) == 3  # though 0.3 / 0.1 is a little less than 3 in binary
    assert (reels_for(2, 23.0, 11.5), reels_for(2.1, 23.0, 11.5), reels_for(0, 23.0, 11.5)) == (1, 2, 0)
    assert reels_for(-3, 23.0, 11.5) == 0
    assert reels_for(1, 11.0, 11.5) is None
    with pytest.raises(ValueError, match="a job of 0 m takes no string"):
        jobs_in(200, 0)
    with pytest.raises(ValueError, match="takes no string"):
        jobs_in(200, -1)


def test_the_part_of_a_reel_that_becomes_jobs() -> None:
    assert usable_part(200, 11.5) == pytest.approx(17 * 11.5 / 200)
    assert (usable_part(23.0, 11.5), usable_part(11.0, 11.5), usable_part(0, 11.5)) == (1.0, 0.0, 0.0)
    assert usable_part(0.3, 0.1) == 1.0  # never above
    assert usable_part(0.5, 0.25) == 1.0


def test_usable_metres_on_the_shelf() -> None:
    """One whole reel of 200 (17 jobs) and 34.5 m of an open one (3): 20 jobs; no length on file: none."""
    assert ordering.usable_metres(234.5, 200.0, 11.5) == pytest.approx(20 * 11.5)
    assert ordering.usable_metres(234.5, 0.0, 11.5) == 0.0
    assert ordering.usable_metres(0.6, 0.2, 0.1) == pytest.approx(0.6)
    assert ordering.usable_metres(3.0, 1.0, 0.5) == pytest.approx(3.0)


def test_cheapest_by_money_then_by_metres() -> None:
    same = (Pack("A", 200.0, Decimal(100)), Pack("B", 100.0, Decimal(100)))
    assert cheapest(same, 5, 11.5) == (Bought(same[1], 1),)  # the same money, fewer metres
    assert cheapest((REEL, HALF), 0, 11.5) == () and cheapest((REEL,), -1, 11.5) == ()
    two = cheapest((REEL, HALF), 18, 11.5)
    assert [(b.pack.string_id, b.count, b.metres, b.cost) for b in two] == [
        ("S1", 1, 200.0, Decimal(120)), ("S1H", 1, 100.0, Decimal(70)),
    ]  # fmt: skip
    assert cheapest((REEL, HALF), 34, 11.5) == (Bought(REEL, 2),)


def test_beyond_four_thousand_jobs_the_cheapest_length_by_the_job_is_bought() -> None:
    """120 / 17 = 7.06 a job from a reel, 70 / 8 = 8.75 from a half: 4001 / 17 rounded up."""
    assert cheapest((HALF, REEL), 4001, 11.5) == (Bought(REEL, 236),)
    assert cheapest((HALF, REEL), 4012, 11.5) == (Bought(REEL, 236),)
    assert cheapest((HALF, REEL), 4013, 11.5) == (Bought(REEL, 237),)
    # up to 4000 the search is exact: 235 reels hold 3995, and a half holds the five that are left
    assert cheapest((HALF, REEL), 4000, 11.5) == (Bought(HALF, 1), Bought(REEL, 235))


def test_the_price_of_a_metre_is_that_of_the_cheapest_length() -> None:
    assert price_per_metre((HALF, REEL), 11.5) == pytest.approx(120 / (17 * 11.5))
    assert price_per_metre((HALF, Pack("X", 11.0, Decimal(1))), 11.5) == pytest.approx(70 / (8 * 11.5))
    assert math.isnan(price_per_metre((), 11.5))


def strings(*rows: Row) -> duckdb.DuckDBPyConnection:
    con = empty_club()
    usual = {"string_name": "Lyra", "material": "polyester", "gauge_mm": 1.25, "profile": "round"}
    put(con, "strings", [usual | row for row in rows])
    return con


def test_one_string_in_two_lengths_is_one_kind_and_any_difference_makes_two() -> None:
    con = strings(
        {"string_id": "A", "reel_m": 200, "reel_price": "95.50"},
        {"string_id": "B", "reel_m": 100, "reel_price": 50, "string_name": " lyra ", "lead_days": 9},
        {"string_id": "C", "reel_m": 200, "reel_price": 1, "gauge_mm": 1.3},
        {"string_id": "D", "material": "nylon"},
        {"string_id": "E", "profile": "shaped", "reel_m": 200},
        {"string_id": "F", "profile": None, "reel_price": 3, "lead_days": 4},
    )  # fmt: skip
    known = catalogue(con)
    assert known.stands_for == {"A": "A", "B": "A", "C": "C", "D": "D", "E": "E", "F": "A"}
    assert known.kinds["A"].packs == (Pack("A", 200.0, Decimal("95.50")), Pack("B", 100.0, Decimal(50)))
    assert (known.kinds["A"].lead_days, known.kinds["C"].lead_days) == (9, None)
    assert known.kinds["E"].packs == known.kinds["D"].packs == ()


# --- when to order


def shelf(weekly: float = 70.0, stock_m: float = 460.0, lead: int = 7, **more: Any) -> ordering.Shelf:
    asked: dict[str, Any] = {"arrivals": [], "horizon": 182, "service": 0.95, "packs": (REEL,)} | more
    kind = Kind("S1", "Lyra", asked["packs"], 7)
    draws = np.full((20, 26), weekly)
    days = np.full(20, lead)
    return ordering.shelf(
        draws, asked["horizon"], stock_m, asked["arrivals"], days, kind, 11.5, asked["service"]
    )  # fmt: skip


def test_the_latest_day_is_the_day_on_which_the_shelf_is_just_enough() -> None:
    """10 m a day. 100 m last to the end of day 10: with 7 days to delivery, order on day 3."""
    found = shelf(stock_m=100.0)
    assert (found.orders[0].day, found.orders[0].is_late) == (3, False)
    assert shelf(stock_m=99.9).orders[0].day == 2
    assert (shelf(stock_m=70.0).orders[0].day, shelf(stock_m=70.0).orders[0].is_late) == (0, False)
    assert (shelf(stock_m=69.9).orders[0].day, shelf(stock_m=69.9).orders[0].is_late) == (0, True)
    assert set(found.run_out_days) == {11.0}  # day 11 finds it empty
    assert found.reorder_m == pytest.approx(70.0)
    assert set(found.needed) == {1820.0}


def test_an_order_covers_thirty_days_until_the_next_could_come() -> None:
    """Order on day 3: at 10 m a day to day 3 + 30 + 7 = 40, 400 m less the 100 there: 300 m, 27 jobs, two reels."""
    found = shelf(stock_m=100.0)
    assert [b.count for b in found.orders[0].bought] == [2]
    # two reels are 34 jobs, 391 m: the second order is due on day 49 - 7 = 42
    assert found.orders[1].day == 42
    assert len(shelf(stock_m=100.0, horizon=10).orders) == 0  # ten days need 100 m
    (one,) = shelf(stock_m=100.0, horizon=11).orders
    assert (one.day, [b.count for b in one.bought]) == (3, [1])


def test_what_is_on_order_is_part_of_what_there_is_but_comes_on_its_day() -> None:
    found = shelf(stock_m=100.0, arrivals=[ordering.Arrival(300.0, 10)])
    assert found.orders[0].day == 33  # 400 m
    assert set(found.run_out_days) == {41.0}
    gap = shelf(stock_m=100.0, arrivals=[ordering.Arrival(300.0, 12)])
    assert set(gap.run_out_days) == {11.0}
    past = shelf(stock_m=100.0, arrivals=[ordering.Arrival(300.0, -3)])
    assert set(past.run_out_days) == {41.0}
    never = shelf(stock_m=100.0, arrivals=[ordering.Arrival(300.0, 500)])
    assert set(never.run_out_days) == {11.0}
    edge = shelf(stock_m=1810.0, arrivals=[ordering.Arrival(300.0, 182)])
    assert np.isinf(edge.run_out_days).all()


def test_empty_beyond_the_horizon_is_not_said() -> None:
    assert set(shelf(stock_m=100.0, horizon=11).run_out_days) == {11.0}
    assert np.isinf(shelf(stock_m=100.0, horizon=10).run_out_days).all()
    assert set(shelf(stock_m=0.0).run_out_days) == {1.0}
    assert np.isinf(shelf(stock_m=1820.0).run_out_days).all()


def test_the_reorder_point_is_the_draw_that_covers_the_service() -> None:
    """Of twenty draws 1..20 a service of 95 % is the nineteenth, of 96 % the twentieth."""
    draws = np.arange(1.0, 21.0)
    assert ordering.reorder_quantile(draws, 0.95) == 19.0
    assert ordering.reorder_quantile(draws, 0.96) == 20.0
    weekly = np.repeat(draws[:, None] * 7.0, 26, axis=1)
    kind = Kind("S1", "Lyra", (REEL,), 7)
    found = ordering.shelf(weekly, 182, 1e6, [], np.full(20, 3), kind, 11.5, 0.95)
    assert found.reorder_m == pytest.approx(57.0)  # three days at 19
    assert ordering.shelf(weekly, 182, 1e6, [], np.full(20, 999), kind, 11.5, 0.95).reorder_m == pytest.approx(
        19 * 182.0
    )


# --- days to delivery


def orders(*rows: Row, **kind: Any) -> lead_time.LeadTimes:
    con = strings({"string_id": "A", "reel_m": 200, "reel_price": 9} | kind)
    usual = {"string_id": "A", "metres": 200, "price": 9}
    put(con, "orders", [usual | {"order_id": f"O{k}"} | row for k, row in enumerate(rows)])
    return lead_time.lead_times(con, DAY, catalogue(con))


def came(ordered: int, received: int, expected: int | None = None) -> Row:
    cells: Row = {"ordered_on": on(ordered), "received_on": on(received)}
    return cells if expected is None else cells | {"expected_on": on(expected)}


def test_days_said_else_the_median_of_three_else_the_usual() -> None:
    three = (came(-30, -27), came(-30, -20), came(-30, -26))  # 3, 10 and 4 days
    assert orders().said == {"A": 7.0}
    assert orders(*three[:2]).said == {"A": 7.0}
    assert orders(*three).said == {"A": 4.0}
    assert orders(*three, lead_days=12).said == {"A": 12.0}


def test_how_late_an_order_was_is_learned_where_something_was_promised() -> None:
    usual = [-1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 2.0, 4.0]
    assert orders(came(-30, -27)).errors.tolist() == usual  # nothing was said
    assert orders(came(-30, -20, -22)).errors.tolist() == [*usual, 2.0]
    assert orders(came(-30, -24, -22)).errors.tolist() == [*usual, -2.0]
    assert orders(came(-30, -20, -31), lead_days=7).errors.tolist() == [*usual, 3.0]  # promised before it was ordered
    assert orders(came(-30, -30, -30)).errors.tolist() == [*usual, 0.0]  # the same day
    assert orders(came(-30, 0, -28)).errors.tolist() == [*usual, 28.0]  # came today
    assert orders(came(-30, 1, -28)).errors.tolist() == usual  # still to come
    assert orders(came(-200, -10, -190)).errors.tolist() == [*usual, 180.0]
    assert orders(came(-200, -9, -190)).errors.tolist() == usual  # forgotten in the books
    assert orders(came(-30, -25, -28) | {"string_id": "Z"}).errors.tolist() == usual


def test_days_are_drawn_whole_from_one_to_half_a_year() -> None:
    made = lead_time.LeadTimes({"A": 3.0}, np.array([-9.0, 1.4, 500.0]))
    drawn = made.draws("A", 500, np.random.default_rng(1))
    assert set(drawn.tolist()) == {1, 4, 180}
    assert set(lead_time.LeadTimes({}, np.array([0.0])).draws("B", 5, np.random.default_rng(1)).tolist()) == {7}


# --- metres


def test_one_main_and_one_cross_are_the_axes() -> None:
    """A head of 500 cm2, 1.3 times as long as wide: width 2 sqrt(500 / (1.3 pi)) = 22.13 cm; with one turn and ends."""
    width = 2 * math.sqrt(500 / (math.pi * 1.3)) / 100
    found = metres.metres_per_job(500, 1, 1)
    assert found.mains_m == pytest.approx(1.3 * width + 0.035 + 0.70)
    assert found.crosses_m == pytest.approx(width + 0.035 + 0.70)
    assert found.total_m == pytest.approx(found.mains_m + found.crosses_m)
    assert metres.metres_per_job(500, 1, 1, pieces=1).crosses_m == pytest.approx(width + 0.035 + 0.30)


def test_three_crosses_are_a_full_chord_and_two_at_the_edge() -> None:
    """The outermost at 0.86 of the half-axis: each sqrt(1 - 0.86^2) of the axis."""
    width = 2 * math.sqrt(645 / (math.pi * 1.3)) / 100
    expected = width * (1 + 2 * math.sqrt(1 - 0.86**2)) + 3 * 0.035 + 0.70
    assert metres.metres_per_job(0, 1, 3).crosses_m == pytest.approx(expected)
    assert metres.metres_per_job(-5, 1, 3).crosses_m == pytest.approx(expected)
    for pattern in ((0, 1), (1, 0)):
        with pytest.raises(ValueError, match="cannot be strung"):
            metres.metres_per_job(645, *pattern)


def cut_club(*cuts: tuple[str, str, float | None, float | None]) -> pd.DataFrame:
    """Rackets A and B of one frame, C of another head; cuts: racket, day, mains, crosses."""
    con = duckdb.connect()
    create_tables(con, schema="facts")
    for racket, frame, head in (("A", "F", 645), ("B", "F", 645), ("C", "G", 580)):
        put(con, "rackets", [{"racket_id": racket, "frame": frame, "head_cm2": head, "mains": 16, "crosses": 19}])
    put(con, "restrings", [
        {"restring_id": f"J{k}", "racket_id": racket, "strung_on": day, "mains_m": mains, "crosses_m": crosses}
        for k, (racket, day, mains, crosses) in enumerate(cuts)
    ])  # fmt: skip
    return metres.racket_metres(con, DAY).set_index("racket_id")


def test_four_cuts_do_not_yet_correct_the_geometry_of_others_and_five_do() -> None:
    geometry = metres.metres_per_job(580, 16, 19)
    four = cut_club(*[("A", on(0), 7.0, 6.0)] * 4)
    assert four["metres_from"].tolist() == ["this racket", "this frame", "head and pattern"]
    assert four.loc["C", "mains_m"] == pytest.approx(geometry.mains_m)
    five = cut_club(*[("A", on(0), 7.0, 6.0)] * 5)
    assert five.loc["C", "metres_from"] == "this club"
    base = metres.metres_per_job(645, 16, 19)
    assert five.loc["C", "mains_m"] == pytest.approx(geometry.mains_m * 7.0 / base.mains_m)
    assert five.loc["C", "crosses_m"] == pytest.approx(geometry.crosses_m * 6.0 / base.crosses_m)
    assert five.loc["B", ["mains_m", "crosses_m"]].tolist() == [7.0, 6.0]


def test_means_of_cuts_and_parts_that_were_not_written() -> None:
    found = cut_club(("A", on(0), 7.0, None), ("A", on(-1), 8.0, 6.0), ("B", on(0), None, 5.0), ("B", on(1), 1.0, 1.0))
    assert found.loc["A", ["mains_m", "crosses_m"]].tolist() == [7.5, 6.0]
    assert found.loc["B", ["mains_m", "crosses_m"]].tolist() == [7.5, 5.0]  # mains as the frame's others
    assert found["metres_from"].tolist()[:2] == ["this racket", "this frame"]


def test_a_whole_bed_written_as_mains_is_split_above_eight_and_a_half_metres() -> None:
    base = metres.metres_per_job(645, 16, 19)
    part = base.mains_m / base.total_m
    whole = cut_club(("A", on(0), 11.0, None)).loc["A"]
    assert (whole["mains_m"], whole["crosses_m"]) == (pytest.approx(11 * part), pytest.approx(11 * (1 - part)))
    assert cut_club(("A", on(0), 8.5, None)).loc["A", "mains_m"] == 8.5
    assert cut_club(("A", on(0), 9.0, 5.0)).loc["A", "mains_m"] == 9.0


# --- stock


KNOWN = Catalogue(
    {"A": Kind("A", "Lyra", (REEL,), None), "B": Kind("B", "Soft", (), None)}, {"A": "A", "H": "A", "B": "B"}
)


def use(day: int, m: float, at: str | None = None, string: str = "A", takes: bool = True) -> dict[str, Any]:
    stamp = pd.NaT if at is None else pd.Timestamp(f"{on(day)}T{at}")
    return {"string_id": string, "strung_on": pd.Timestamp(on(day)), "strung_on_at": stamp, "metres": m,
            "takes_stock": takes}  # fmt: skip


def now(counts: list[Row], uses: list[dict[str, Any]], arrived: list[Row] | None = None) -> pd.DataFrame:
    con = strings({"string_id": "A", "reel_m": 200, "reel_price": 120}, {"string_id": "H", "reel_m": 100})
    put(con, "stock", counts)
    put(con, "orders", [
        {"order_id": f"O{k}", "string_id": "A", "ordered_on": on(-60), "price": 1} | row
        for k, row in enumerate(arrived or [])
    ])  # fmt: skip
    columns = ["string_id", "strung_on", "strung_on_at", "metres", "takes_stock"]
    frame = pd.DataFrame(uses, columns=columns).astype({"takes_stock": bool, "metres": float})
    frame["strung_on"] = pd.to_datetime(frame["strung_on"])
    frame["strung_on_at"] = pd.to_datetime(frame["strung_on_at"])
    return stock.stock_now(con, DAY, KNOWN, frame, {"A": 11.5, "B": 11.5}).set_index("string_id")


def counted(day: int, at: str | None = None, string: str = "A", **cells: object) -> Row:
    return {"counted_on": on(day) + (f"T{at}" if at else ""), "string_id": string} | cells


def test_the_last_count_rules_and_what_follows_it_moves_it() -> None:
    row = now(
        [counted(-20, metres=500), counted(-10, metres=100), counted(1, metres=7)],
        [use(-15, 50), use(-10, 9), use(-9, 11.5), use(0, 11.5), use(-5, 99, takes=False), use(-5, 99, string="B")],
        [{"received_on": on(-12), "metres": 1000}, {"received_on": on(-3), "metres": 200},
         {"received_on": on(1), "metres": 5}],
    ).loc["A"]  # fmt: skip
    assert (row["counted_m"], row["came_m"]) == (100.0, 200.0)
    assert row["went_m"] == pytest.approx(23.0 * row["loss"])
    assert row["stock_m"] == pytest.approx(300.0 - 23.0 * row["loss"])
    assert pd.Timestamp(row["counted_on"]) == pd.Timestamp(on(-10)) and not row["is_short"]


def test_lengths_of_one_day_add_up_and_reels_are_of_their_own_length() -> None:
    row = now([counted(-1, reels=2, jobs_left=3), counted(-1, string="H", reels=1)], []).loc["A"]
    assert row["stock_m"] == pytest.approx(2 * 200 + 3 * 11.5 + 100)
    metres_win = now([counted(-1, metres=50, reels=2, jobs_left=3)], []).loc["A"]
    assert metres_win["stock_m"] == 50.0


@pytest.mark.parametrize(
    ("count_at", "job_at", "goes"),
    [(None, None, False), ("09:00", None, False), (None, "17:00", False), ("09:00", "17:00", True),
     ("17:00", "09:00", False), ("09:00", "09:00", False)],
)  # fmt: skip
def test_a_job_of_the_counts_day_goes_only_where_both_times_say_it_came_after(
    count_at: str | None, job_at: str | None, goes: bool
) -> None:
    """A job on another day does so whatever the hour."""
    found = now([counted(-10, count_at, metres=100)], [use(-10, 11.5, job_at), use(-11, 3, "23:00")]).loc["A"]
    assert found["went_m"] == (11.5 if goes else 0.0)


def test_short_is_a_metre_more_than_there_was() -> None:
    def left(used: float) -> pd.Series:
        return now([counted(-10, metres=10)], [use(-5, used)]).loc["A"]

    assert (left(11.0)["stock_m"], left(11.0)["is_short"]) == (0.0, False)
    assert (left(11.1)["stock_m"], left(11.1)["is_short"]) == (0.0, True)
    assert left(10.0)["stock_m"] == 0.0 and left(9.0)["stock_m"] == 1.0


def test_loss_and_waste_between_the_first_and_the_last_count() -> None:
    """500 - 80 + 200 came = 620 m gone where jobs took 575; 17 jobs of 11.5 m are 195.5 of a reel's 200. Beside 300 m
    without loss: 920 / 875; with ends 575 / 0.9775."""
    found = now(
        [counted(-40, metres=500), counted(-30, metres=1), counted(-10, metres=80)],
        [use(-39 + k, 575 / 25) for k in range(25)],
        [{"received_on": on(-20), "metres": 200}],
    ).loc["A"]
    assert found["loss"] == pytest.approx((300 + 620) / (300 + 575))
    assert found["waste"] == pytest.approx((300 + 620) / (300 + 575 / (195.5 / 200)))
    assert now([counted(-10, metres=1)], []).loc["B", "loss"] == 1.0


def test_loss_is_never_a_gain_and_at_most_a_half() -> None:
    gain = now([counted(-40, metres=500), counted(-10, metres=400)], [use(-30, 300)]).loc["A"]
    assert (gain["loss"], gain["waste"]) == (1.0, 1.0)
    all_gone = now([counted(-40, metres=5000), counted(-10, metres=0)], [use(-30, 300)]).loc["A"]
    assert (all_gone["loss"], all_gone["waste"]) == (1.5, 1.5)
    more = now([counted(-40, metres=5), counted(-10, metres=400)], [use(-30, 300)]).loc["A"]
    assert more["loss"] == 1.0
    unused = now([counted(-40, metres=500), counted(-10, metres=100)], []).loc["A"]
    assert unused["loss"] == 1.0


def test_open_orders_are_those_placed_and_not_come() -> None:
    con = strings({"string_id": "A"})
    usual: Row = {"string_id": "H", "metres": 200, "price": "120.10"}
    put(con, "orders", [
        usual | {"order_id": "O1", "ordered_on": on(-5)},
        usual | {"order_id": "O2", "ordered_on": on(-6), "received_on": on(1)},
        usual | {"order_id": "O3", "ordered_on": on(-7), "received_on": on(0)},
        usual | {"order_id": "O4", "ordered_on": on(1)},
        usual | {"order_id": "O5", "ordered_on": on(0), "string_id": "Z"},
    ])  # fmt: skip
    found = stock.open_orders(con, DAY, KNOWN)
    assert found["order_id"].tolist() == ["O2", "O1", "O5"]
    assert found["string_id"].tolist() == ["A", "A", "Z"]


# --- money


def part(job: str, string: str, m: float, day: int = 0, **cells: Any) -> dict[str, Any]:
    return {"restring_id": job, "string_id": string, "metres": m, "takes_stock": True, "player_id": "P1",
            "squad": "U16", "strung_on": pd.Timestamp(on(day))} | cells  # fmt: skip


def test_a_bed_of_one_string_is_priced_as_one_job() -> None:
    """11.5 m: 17 jobs a reel, 120 / 17 a bed. As a hybrid 6 m of it alone are 33 jobs a reel."""
    parts = [part("J1", "A", 6.0), part("J1", "H", 5.5), part("J2", "A", 6.0), part("J2", "B", 5.5)]
    parts += [part("J3", "A", 11.5, takes_stock=False), part("J4", "Z", 11.5), part("J5", "A", np.nan)]
    uses = pd.DataFrame(parts)
    found = ledger.priced(uses, KNOWN, 1.1).groupby("restring_id")["cost"].sum()
    assert found["J1"] == pytest.approx(120 / 17 * 1.1)
    assert found["J2"] == pytest.approx(120 / 33 * 1.1)
    assert (found["J3"], found["J4"], found["J5"]) == (0.0, 0.0, 0.0)


def test_money_by_squad_and_month_from_the_seasons_first_day_on() -> None:
    costs = pd.DataFrame(
        [part("J1", "A", 1, -29), part("J2", "A", 1, -28), part("J3", "A", 1, 0, squad=None)]
    ).assign(cost=[1.0, 2.0, 4.0])  # fmt: skip
    first = DAY + timedelta(days=-28)  # 1 February
    assert ledger.spent_by_squad(costs, first) == {"U16": 2.0, "": 4.0}
    assert ledger.spent_by_month(costs, first) == {date(2026, 2, 1): 2.0, date(2026, 3, 1): 4.0}


def test_who_owes_what_in_order() -> None:
    rows = pd.DataFrame(
        [("Ana", 20, None, -9), ("Ana", 10, 0, -8), ("Bo", 20, None, -3), ("Bo", 5, None, -4), ("Cy", 7, 0, -1),
         ("Abe", 20, None, -2)],
        columns=["charge_to", "charge", "paid", "day"],
    )  # fmt: skip
    rows["charge"] = [Decimal(c) for c in rows["charge"]]
    rows["paid_on"] = pd.to_datetime([None if pd.isna(p) else on(int(p)) for p in rows["paid"]])
    rows["owed"] = [c if pd.isna(p) else Decimal(0) for c, p in zip(rows["charge"], rows["paid_on"], strict=True)]
    rows["strung_on"] = pd.to_datetime([on(int(d)) for d in rows["day"]])
    found = ledger.statement(rows)
    assert found["charge_to"].tolist() == ["Bo", "Abe", "Ana", "Cy"]  # most owed first, then by name
    assert found[["jobs", "charged", "paid", "owed"]].to_numpy().tolist() == [
        [2, 25, 0, 25], [1, 20, 0, 20], [2, 30, 10, 20], [1, 7, 7, 0],
    ]  # fmt: skip
    assert [None if pd.isna(d) else str(d)[:10] for d in found["oldest_open_on"]] == [on(-4), on(-2), on(-9), None]


@pytest.mark.parametrize(
    ("day", "start", "first"),
    [(date(2026, 8, 31), "09-01", 2025), (date(2026, 9, 1), "09-01", 2026), (date(2026, 1, 1), "01-01", 2026),
     (date(2026, 6, 14), "06-15", 2025), (date(2026, 7, 1), "06-15", 2026)],
)  # fmt: skip
def test_a_season_is_a_year_from_its_day(day: date, start: str, first: int) -> None:
    month, number = (int(p) for p in start.split("-"))
    assert ledger.season_of(day, start) == (date(first, month, number), date(first + 1, month, number))


# --- demand


def drawn(jobs: list[list[float]], beds: list[tuple[int, int, int]]) -> Any:
    """Simulated restrings: (racket, draw, week) each; jobs: (draws, weeks) of the whole bench."""
    racket, draw, week = (np.array([b[k] for b in beds], dtype=np.int64) for k in range(3))
    return SimpleNamespace(jobs=np.array(jobs), racket=racket, draw=draw, week=week)


RACKETS = pd.DataFrame({"racket_id": ["R1", "R2", "R3"], "player_id": ["P1", "P2", None]})
SETUP = pd.DataFrame({"racket_id": ["R1", "R2", "R3"], "mains_string_id": ["A", "A", None],
                      "crosses_string_id": ["H", "B", None]})  # fmt: skip
CUT = pd.DataFrame({"racket_id": ["R3", "R2", "R1"], "mains_m": [9.0, 7.0, 6.0], "crosses_m": [9.0, 5.0, 5.5]})


def wanted(made: Any, share: tuple[float, ...] = (1.0, 1.0, 1.0), loss: float = 1.0) -> Any:
    return demand(made, RACKETS, SETUP, CUT, KNOWN, np.array(share), loss, np.random.default_rng(1))


def test_metres_by_string_draw_and_week_by_hand() -> None:
    """R1 takes 11.5 m of A, R2 7 m of A and 5 m of B; the bench's jobs are those drawn."""
    made = drawn([[2.0, 1.0], [0.0, 1.0]], [(0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 1, 1)])
    found = wanted(made, loss=1.1)
    assert found.strings == ("A", "B") and found.players == ("P1", "P2", None)
    assert found.metres[0].tolist() == [pytest.approx([18.5 * 1.1, 7 * 1.1]), pytest.approx([0.0, 11.5 * 1.1])]
    assert found.metres[1].tolist() == [pytest.approx([5 * 1.1, 5 * 1.1]), [0.0, 0.0]]
    # means over the two draws, by player
    assert found.by_player[0].tolist() == [pytest.approx([11.5 * 1.1 / 2, 11.5 * 1.1 / 2]), [0.0, 0.0]]
    assert found.by_player[1].tolist() == [pytest.approx([7 * 1.1 / 2, 7 * 1.1 / 2]), pytest.approx([2.75, 2.75])]
    assert found.by_player[2].sum() == 0.0
    # R1 twice at 11.5 m, R2 twice at 7 m
    assert found.job_m == {"A": pytest.approx((2 * 11.5 + 2 * 7.0) / 4), "B": pytest.approx(5.0)}
    assert found.unknown == ()


def test_a_busier_week_takes_more_of_the_same_and_an_empty_one_the_usual_job() -> None:
    made = drawn([[4.0, 3.0]], [(0, 0, 0), (1, 0, 0)])
    found = wanted(made)
    assert found.metres[0, 0].tolist() == pytest.approx([2 * 18.5, 3 * 18.5 / 2])
    assert found.metres[1, 0].tolist() == pytest.approx([2 * 5.0, 3 * 5.0 / 2])
    assert found.by_player[0, 0].tolist() == pytest.approx([23.0, 0.0])
    none = wanted(drawn([[3.0, 0.0]], []))
    assert none.metres.sum() == 0.0


def test_players_string_of_their_own_and_rackets_of_unknown_string_take_none() -> None:
    made = drawn([[3.0]], [(0, 0, 0), (1, 0, 0), (2, 0, 0)])
    found = wanted(made, share=(0.0, 1.0, 1.0))
    assert found.metres[:, 0, 0].tolist() == pytest.approx([7.0, 5.0])
    assert found.unknown == ("R3",)
    usual = wanted(drawn([[1.0]], [(2, 0, 0)]))
    # no job drawn of A: the mean of the rackets that hold it
    assert usual.job_m["A"] == pytest.approx((11.5 + 7.0) / 2)


def test_a_string_that_nobody_plays_is_cut_as_the_usual_bed() -> None:
    known = Catalogue(KNOWN.kinds | {"C": Kind("C", "Third", (), None)}, KNOWN.stands_for | {"C": "C"})
    made = drawn([[1.0]], [(0, 0, 0)])
    found = demand(made, RACKETS, SETUP, CUT, known, np.ones(3), 1.0, np.random.default_rng(1))
    assert found.job_m["C"] == pytest.approx((11.5 + 12.0 + 18.0) / 3)


def test_the_clubs_share_leans_on_the_club_while_a_player_has_few_jobs() -> None:
    """Of the last year: P1 four of four, P2 none of four; the club (4 + 1) / (8 + 1); a new player as the club."""
    rows = [part(f"J{k}", "A", 6.0, -10, part="mains", player_id="P1" if k < 4 else "P2", takes_stock=k < 4)
            for k in range(8)]  # fmt: skip
    old = [part("O", "A", 6.0, -365, part="mains", takes_stock=False), part("C", "A", 6.0, -1, part="crosses",
                                                                            takes_stock=False)]  # fmt: skip
    uses = pd.DataFrame(rows + old)
    club = 5 / 9
    found = club_share(uses, RACKETS, pd.Timestamp(DAY))
    assert found.tolist() == pytest.approx([(4 + 4 * club) / 8, 4 * club / 8, club])
    inside = pd.DataFrame([*rows, part("O", "A", 6.0, -364, part="mains", takes_stock=False)])
    assert club_share(inside, RACKETS, pd.Timestamp(DAY))[2] == pytest.approx(5 / 10)
