"""When to order how many reels: by hand, by direction, and stock-outs in simulation."""

from __future__ import annotations

from decimal import Decimal
from itertools import product

import numpy as np
import pytest

from pipeline.fleet.reels.catalogue import Kind, Pack, cheapest, price_per_metre
from pipeline.fleet.reels.ordering import Arrival, by_day, reorder_quantile, shelf, usable_metres
from pipeline.fleet.reels.reel_jobs import jobs_in, reels_for

REEL = Pack("S1", 200.0, Decimal("128.00"))
HALF = Pack("S1H", 100.0, Decimal("70.00"))
SET = Pack("S1S", 12.0, Decimal("9.90"))
KIND = Kind("S1", "String", (REEL,), 7)
STEADY = np.full((50, 26), 70.0)  # 10 m a day in every draw
WEEK = np.full(50, 7)


def test_a_steady_use_is_ordered_for_to_the_day() -> None:
    found = shelf(STEADY, 182, 460.0, [], WEEK, KIND, 11.5, 0.95)
    assert set(found.run_out_days) == {47}  # 460 m last 46 days
    assert found.reorder_m == pytest.approx(70.0)
    assert found.orders[0].day == 39 and not found.orders[0].is_late
    assert found.orders[0].bought[0].count == 2  # 30 days at 10 m, 195.5 m a reel


def test_too_late_is_said() -> None:
    found = shelf(STEADY, 182, 40.0, [], WEEK, KIND, 11.5, 0.95)
    assert found.orders[0].day == 0 and found.orders[0].is_late


def test_what_is_on_order_counts_when_it_comes() -> None:
    dry = shelf(STEADY, 182, 100.0, [Arrival(200.0, 20)], WEEK, KIND, 11.5, 0.95)
    wet = shelf(STEADY, 182, 100.0, [Arrival(200.0, 5)], WEEK, KIND, 11.5, 0.95)
    assert set(dry.run_out_days) == {11} and set(wet.run_out_days) == {31}


def test_enough_on_the_shelf_orders_nothing() -> None:
    found = shelf(STEADY, 182, 5000.0, [], WEEK, KIND, 11.5, 0.95)
    assert found.orders == () and np.isinf(found.run_out_days).all()


def test_orders_cover_the_horizon_and_no_more_than_a_reel_over() -> None:
    found = shelf(STEADY, 182, 0.0, [], WEEK, KIND, 11.5, 0.95)
    usable = sum(b.count * jobs_in(200, 11.5) * 11.5 for o in found.orders for b in o.bought)
    assert 1820 <= usable < 1820 + 200
    days = [o.day for o in found.orders]
    assert days == sorted(days)


@pytest.mark.parametrize(("more", "fewer"), [("stock", 0), ("lead", 1), ("use", 2), ("service", 3)])
def test_directions(more: str, fewer: int) -> None:
    rng = np.random.default_rng(1)
    weekly = rng.gamma(4.0, 20.0, (400, 26))
    usual = {"stock_m": 300.0, "lead": 7, "use": 1.0, "service": 0.9}
    changed = {"stock": ("stock_m", 500.0), "lead": ("lead", 21), "use": ("use", 1.5), "service": ("service", 0.99)}

    def first_day(name: str | None = None, value: float = 0.0) -> int:
        v = usual | ({name: value} if name else {})
        lead = np.full(400, int(v["lead"]))
        return shelf(weekly * v["use"], 182, v["stock_m"], [], lead, KIND, 11.5, v["service"]).orders[0].day

    later = first_day(*changed[more]) - first_day()
    assert later > 0 if more == "stock" else later < 0


def test_stock_outs_at_a_service_level_on_new_draws() -> None:
    """Lumpy demand that is no normal curve: the part of new draws above the reorder point is 1 - service, within 4
    standard errors of the two samples."""
    rng = np.random.default_rng(2)
    draws, new = (rng.poisson(rng.gamma(2.0, 3.0, (20_000, 1)), (20_000, 2)).sum(axis=1) * 11.6 for _ in range(2))
    jitter = rng.uniform(0, 0.1, 20_000)
    point = reorder_quantile(draws + jitter, 0.95)
    error = np.sqrt(2 * 0.05 * 0.95 / 20_000)
    assert (draws + jitter > point).mean() == pytest.approx(0.05, abs=1e-3)
    assert (new + jitter > point).mean() == pytest.approx(0.05, abs=4 * error)


def test_a_week_is_used_day_by_day() -> None:
    used = by_day(np.array([[70.0, 140.0]]))
    assert used.shape == (1, 15) and used[0, 0] == 0 and used[0, 7] == pytest.approx(70)
    assert used[0, 8] == pytest.approx(90) and used[0, 14] == pytest.approx(210)


@pytest.mark.parametrize(("stock_m", "jobs"), [(200, 17), (400, 34), (211, 17), (212, 18), (11.4, 0), (0, 0)])
def test_the_ends_on_the_shelf_are_lost(stock_m: float, jobs: int) -> None:
    assert usable_metres(stock_m, 200, 11.5) == pytest.approx(jobs * 11.5)


@pytest.mark.parametrize("jobs", [1, 2, 5, 8, 9, 16, 17, 18, 25, 26, 34, 40])
def test_the_cheapest_lengths_are_found(jobs: int) -> None:
    packs = (REEL, HALF, SET)
    best = min(
        sum(n * p.price for n, p in zip(counts, packs, strict=True))
        for counts in product(range(4), range(6), range(41))
        if sum(n * jobs_in(p.reel_m, 11.5) for n, p in zip(counts, packs, strict=True)) >= jobs
    )
    found = cheapest(packs, jobs, 11.5)
    assert sum((b.cost for b in found), Decimal(0)) == best
    assert sum(b.count * jobs_in(b.pack.reel_m, 11.5) for b in found) >= jobs


def test_a_reel_too_short_for_a_job_is_not_bought() -> None:
    assert cheapest((SET,), 3, 12.5) == () and reels_for(3, 12.0, 12.5) is None
    assert np.isnan(price_per_metre((SET,), 12.5))
    found = shelf(STEADY, 182, 0.0, [], WEEK, Kind("S1", "S", (SET,), 7), 12.5, 0.95)
    assert found.orders == ()


def test_a_metre_costs_more_than_on_the_reel() -> None:
    assert price_per_metre((REEL,), 11.5) == pytest.approx(128 / (17 * 11.5))
