"""The parts of the reel plan that put simulated demand into days, money and notes, each on numbers given by hand.

All by hand on the house's own rules: two draws, a string at a money a metre, a season from 1 February.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.reels import plan as reel_plan
from pipeline.fleet.reels.catalogue import Bought, Catalogue, Kind, Pack
from pipeline.fleet.reels.demand import Demand
from pipeline.fleet.reels.lead_time import LeadTimes
from pipeline.fleet.reels.money import money_text
from pipeline.fleet.reels.ordering import NextOrder, Shelf
from pipeline.fleet.reels.plan import ReelPlan
from pipeline.fleet.reels.told import order_sentence, pieces, season_sentence
from pipeline.fleet.reels.workbook import workbook_name
from pipeline.store.settings import ClubSettings

DAY = date(2026, 3, 1)
REEL = Pack("A", 200.0, Decimal("120.10"))
KNOWN = Catalogue({"A": Kind("A", "Lyra", (REEL,), 7), "B": Kind("B", "Soft", (), None)}, {"A": "A", "B": "B"})


def later(days: int) -> date:
    return DAY + timedelta(days=days)


def need(weekly: tuple[float, float] = (70.0, 140.0), weeks: int = 40, unknown: tuple[str, ...] = ()) -> Demand:
    """String A in two draws, the same every week; P1 takes 50 m a week of it, the club's rackets 20."""
    metres = np.zeros((2, 2, weeks))
    metres[0] = np.array(weekly)[:, None]
    by_player = np.zeros((2, 2, weeks))
    by_player[0, 0], by_player[1, 0] = 50.0, 20.0
    return Demand(("A", "B"), metres, ("P1", None), by_player, {"A": 11.5, "B": 11.5}, unknown)


def costs(*rows: tuple[int, float, str | None]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["day", "cost", "squad"])
    return frame.assign(strung_on=pd.to_datetime([later(d) for d in frame["day"]]))


SEASON = (date(2026, 2, 1), date(2026, 5, 1))
PRICES = {"A": 2.0, "B": float("nan")}


def test_months_of_a_season_by_hand() -> None:
    """10 and 20 m a day at 2: from tomorrow 30 days of March and 30 of April; the bands between two draws."""
    frame, total = reel_plan._months(
        DAY, SEASON, need(), PRICES, costs((-29, 9, "U"), (-10, 5, "U"), (0, 4.004, "U")), "EUR"
    )
    assert frame["month_on"].tolist() == [date(2026, 2, 1), date(2026, 3, 1), date(2026, 4, 1)]
    assert frame["spent"].tolist() == [Decimal("5.00"), Decimal("4.00"), Decimal("0.00")]
    assert frame["is_over"].tolist() == [True, False, False]
    assert frame["p50"].tolist() == [Decimal("5.00"), Decimal("904.00"), Decimal("900.00")]
    assert frame["p10"].tolist()[1:] == [Decimal("664.00"), Decimal("660.00")]
    assert frame["p90"].tolist()[1:] == [Decimal("1144.00"), Decimal("1140.00")]
    assert total == {
        "spent": Decimal("9.00"), "p10": Decimal("1329.00"), "p50": Decimal("1809.00"), "p90": Decimal("2289.00"),
    }  # fmt: skip


def test_each_day_has_the_string_of_its_own_week() -> None:
    """7, 14, 21, ... m a week from the second on: 0, 1, 2, ... m a day at 2. March has days 1 to 30 ahead: four weeks
    of seven and two days of the fifth, 2 x (7 x (0 + 1 + 2 + 3) + 2 x 4) = 100."""
    rising = need()
    rising.metres[0] = 7.0 * np.arange(40.0)[None, :]
    frame, _ = reel_plan._months(DAY, SEASON, rising, PRICES, costs(), "EUR")
    assert frame["p50"].tolist()[:2] == [Decimal("0.00"), Decimal("100.00")]


def test_squads_by_hand() -> None:
    """61 days are 8.71 weeks: 50 m a week at 2 is 871.43 for P1's squad, 348.57 for the club's own rackets."""
    settings = ClubSettings(budget={"U16": 900.0, "U18": 10.0})
    squad_of = pd.Series({"P1": "U16"})
    found = reel_plan._squads(DAY, SEASON, need(), PRICES, costs((-5, 40, "U16"), (-50, 9, "U16")), squad_of, settings)
    rows = {row["squad"]: row for row in found.to_dict("records")}
    assert list(rows) == ["", "U16", "U18"]
    assert (rows["U16"]["spent"], rows["U16"]["likely"]) == (Decimal("40.00"), Decimal("911.43"))
    assert (rows["U16"]["budget"], rows["U16"]["left"]) == (Decimal("900.00"), Decimal("-11.43"))
    assert rows[""]["likely"] == Decimal("348.57") and rows[""]["budget"] is None and rows[""]["left"] is None
    assert (rows["U18"]["likely"], rows["U18"]["left"]) == (Decimal("0.00"), Decimal("10.00"))
    short = reel_plan._squads(DAY, SEASON, need(weeks=3), PRICES, costs(), pd.Series(dtype=object), settings)
    assert dict(zip(short["squad"], short["likely"], strict=True))[""] == Decimal("420.00")  # three weeks of 70 m at 2


def waiting(*rows: tuple[str, int, int | None]) -> pd.DataFrame:
    """order id, ordered so many days ago, expected so many days from now."""
    frame = pd.DataFrame(
        [(name, "A", pd.Timestamp(later(-ago)), pd.NaT if due is None else pd.Timestamp(later(due)), 200.0)
         for name, ago, due in rows],
        columns=["order_id", "string_id", "ordered_on", "expected_on", "metres"],
    )  # fmt: skip
    leads = LeadTimes({"A": 9.0}, np.array([0.0]))
    frame["due_on"], frame["is_counted_on"] = reel_plan._due(frame, DAY, leads)
    return frame


def test_an_open_order_is_due_on_its_day_not_before_tomorrow_and_forgotten_after_sixty() -> None:
    found = waiting(("1", 3, 5), ("2", 3, None), ("3", 9, 0), ("4", 99, -60), ("5", 99, -61))
    assert found["due_on"].tolist() == [later(5), later(6), later(1), later(1), later(1)]
    assert found["is_counted_on"].tolist() == [True, True, True, True, False]


def shelf(stock: float, counted: date | None = DAY, short: bool = False) -> pd.DataFrame:
    return pd.DataFrame(
        {"stock_m": [stock, 0.0], "counted_on": [counted, None], "is_short": [short, False]}, index=["A", "B"]
    )


def test_strings_and_orders_by_hand() -> None:
    """70 m a week in both draws, 204.5 m on the shelf (one reel and an end of 4.5: 195.5 usable), seven days to come:
    empty on day 20; a service of 95 % asks for an order by day 19 - 7 = 12, for 30 days and 7: 420 - 195.5, 20 jobs."""
    leads = LeadTimes({"A": 7.0}, np.array([0.0]))
    strings, orders = reel_plan._orders(
        DAY,
        49,
        0.95,
        KNOWN,
        need((70.0, 70.0)),
        shelf(204.5),
        waiting().head(0),
        leads,
        "EUR",
        np.random.default_rng(1),
    )
    (row,) = strings.to_dict("records")
    assert (row["string_id"], row["stock_m"], row["need_p50_m"], row["need_p90_m"]) == ("A", 204.5, 490.0, 490.0)
    assert (row["run_out_p10"], row["run_out_p50"], row["run_out_p90"]) == (later(20), later(20), later(20))
    assert (row["order_by"], row["reels"], row["cost"]) == (later(12), 2, Decimal("240.20"))
    assert (row["lead_p50_days"], row["lead_p90_days"], row["reorder_m"], row["job_m"]) == (7, 7, 70.0, 11.5)
    assert (row["short_chance"], row["on_order_m"], row["counted_on"]) == (0.0, 0.0, DAY)
    (order,) = orders.to_dict("records")
    assert (order["order_by"], order["arrives_on"], order["reels"], order["metres"]) == (later(12), later(19), 2, 400.0)
    assert (order["cost"], order["is_late"], order["buy_id"]) == (Decimal("240.20"), False, "A")
    late, _ = reel_plan._orders(
        DAY, 49, 0.95, KNOWN, need((70.0, 70.0)), shelf(23.0), waiting(("1", 3, 2)), leads, "EUR",
        np.random.default_rng(1),
    )  # fmt: skip
    assert late["short_chance"].tolist() == [0.0] and late["on_order_m"].tolist() == [195.5]
    dry, _ = reel_plan._orders(
        DAY, 49, 0.95, KNOWN, need((70.0, 70.0)), shelf(23.0), waiting().head(0), leads, "EUR", np.random.default_rng(1)
    )
    assert dry["short_chance"].tolist() == [1.0] and dry["order_by"].tolist() == [DAY]


def test_a_string_that_only_lies_there_is_listed_and_one_out_of_use_is_not() -> None:
    leads = LeadTimes({}, np.array([0.0]))
    asked = (leads, "EUR", np.random.default_rng(1))
    idle, _ = reel_plan._orders(DAY, 49, 0.95, KNOWN, need((0.0, 0.0)), shelf(23.0), waiting().head(0), *asked)
    assert idle["string_id"].tolist() == ["A"] and idle["run_out_p50"].tolist() == [None]
    none, _ = reel_plan._orders(DAY, 49, 0.95, KNOWN, need((0.0, 0.0)), shelf(0.0), waiting().head(0), *asked)
    assert none.empty
    comes, _ = reel_plan._orders(DAY, 49, 0.95, KNOWN, need((0.0, 0.0)), shelf(0.0), waiting(("1", 3, 2)), *asked)
    assert comes["string_id"].tolist() == ["A"]
    lost, _ = reel_plan._orders(DAY, 49, 0.95, KNOWN, need((0.0, 0.0)), shelf(0.0), waiting(("1", 99, -99)), *asked)
    assert lost.empty


def test_order_rows_and_the_chance_of_an_empty_shelf() -> None:
    found = Shelf(np.array([3.0, 7.0, 9.0, np.inf]), 1.0, (NextOrder(4, (Bought(REEL, 3),), True),), np.zeros(4))
    lead = np.array([7, 7, 10, 7])
    assert reel_plan._short_chance(found, lead) == 0.5  # 3 < 7 and 9 < 10; on the day itself it comes in time
    third = Shelf(np.array([3.0, 7.0, np.inf]), 1.0, (), np.zeros(3))
    assert reel_plan._short_chance(third, np.array([7, 7, 7])) == 0.3333
    (row,) = reel_plan._order_rows(DAY, "Lyra", "A", found, lead, "EUR")
    assert row == (later(4), "A", "Lyra", "A", 3, 200.0, 600.0, Decimal("360.30"), later(11), True)


def notes(stock: pd.DataFrame, price: float = 2.0, unknown: tuple[str, ...] = (), **more: Any) -> list[str]:
    asked = more.get("need", need(unknown=unknown))
    nothing: Any = SimpleNamespace()
    return reel_plan._notes(
        nothing, KNOWN, asked, stock, more.get("waiting", waiting().head(0)), {"A": price, "B": 0.0}
    )


def test_notes_say_what_to_mend_of_strings_in_use_alone() -> None:
    assert notes(shelf(100.0)) == []
    assert notes(shelf(0.0, None))[0].startswith("Lyra (A) has never been counted")
    assert notes(shelf(0.0, DAY, True))[0].startswith("Lyra (A): the jobs since the count took more")
    assert len(notes(shelf(0.0, None, True))) == 1
    assert "no length on file is long enough for a job of 11.5 m" in notes(shelf(1.0), float("nan"))[0]
    assert "has a price of 0" in notes(shelf(1.0), 0.0)[0]
    assert notes(shelf(0.0, None), 0.0, need=need((0.0, 0.0))) == []
    five, six = (tuple(f"R{k}" for k in range(n)) for n in (5, 6))
    assert "strung in R0, R1, R2, R3, R4 is not" in notes(shelf(1.0), unknown=five)[0]
    assert "R3, R4 and others is not" in notes(shelf(1.0), unknown=six)[0]
    late = notes(shelf(1.0), waiting=waiting(("O1", 99, -60), ("O2", 99, -61)))
    assert len(late) == 1 and late[0].startswith("Order O2 is more than 60 days overdue")


# --- words


def told(orders: list[tuple[int, str, int, float]], count_strings: int = 1) -> str:
    """order_by in days, string, reels, metres of each."""
    frame = pd.DataFrame(
        [(later(d), s, s.title(), n, m) for d, s, n, m in orders],
        columns=["order_by", "string_id", "string_name", "reels", "reel_m"],
    )
    some: Any = SimpleNamespace(strings=pd.DataFrame({"x": range(count_strings)}), orders=frame, weeks=26, as_of=DAY)
    return order_sentence(some).replace("\u00a0", " ")


def test_what_to_order_first_in_a_sentence() -> None:
    assert told([], 0) == "No string is in use yet"
    assert told([]) == "Nothing to order: what is on the shelf and on order is enough for 26 weeks"
    assert told([(0, "lyra", 1, 200.0)]) == "Order 1 reel of Lyra today"
    assert (
        told([(1, "lyra", 2, 100.0), (1, "lyra", 3, 12.0)]) == "Order 2 reels of 100 m and 3 sets of Lyra by Mon 2 Mar"
    )
    two = [(1, "lyra", 2, 200.0), (8, "soft", 1, 200.0), (9, "third", 1, 200.0)]
    assert told(two) == "Order 2 reels of Lyra by Mon 2 Mar, and 1 other string within 7 days after"
    again = [(1, "lyra", 2, 200.0), (5, "lyra", 2, 200.0), (1, "soft", 1, 200.0), (3, "third", 1, 200.0)]
    assert told(again) == "Order 2 reels of Lyra by Mon 2 Mar, and 2 other strings within 7 days after"


@pytest.mark.parametrize(
    ("count", "metres", "said"),
    [(1, 24.9, "1 set"), (2, 25.0, "2 reels of 25 m"), (1, 189.9, "1 reel of 189.9 m"), (3, 190.0, "3 reels")],
)
def test_sets_half_reels_and_reels(count: int, metres: float, said: str) -> None:
    assert pieces(count, metres) == said


def test_the_season_in_a_sentence_and_the_files_name() -> None:
    plan: Any = SimpleNamespace(
        season_total={"p50": Decimal("9100.50"), "p90": Decimal("10150.49"), "spent": Decimal("0.5")},
        currency="EUR", as_of=DAY,
    )  # fmt: skip
    assert season_sentence(plan, "en-GB") == (
        "The season's string is likely to cost €9,101; allow for €10,150. So far €1 has gone into rackets."
    )
    named: ReelPlan = plan
    assert workbook_name(named) == "string-orders-2026-03-01.xlsx"
    assert money_text(2.5, "EUR", "en-GB", is_whole=True) == "€3"
