"""When to order how many reels: the reorder point of a service level, on demand drawn from the fleet's simulation.

In: metres used by draw and week, what is on the shelf and on order, days to delivery drawn, the service level. Out:
the day the shelf runs out, the latest day to order and the whole reels, order by order until the horizon. Service is
the chance not to run out before the next order arrives. Days count from the origin.
Formula: order on the last day t on which quantile(service) of D(t + L) is still covered, D the metres used by then and
L the days to delivery. Source: reorder point of textbooks, with simulated instead of normal demand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from pipeline.fleet.reels.catalogue import Bought, Kind, cheapest
from pipeline.fleet.reels.reel_jobs import jobs_in

COVER_DAYS = 30  # an order lasts at least so long: the manager orders once a month; assumption


@dataclass(frozen=True)
class Arrival:
    """An open order: usable metres and the day it should come."""

    metres: float
    day: int


@dataclass(frozen=True)
class NextOrder:
    """Order by this day: what, and what it is for. is_late: even ordered on day 0 it may come too late."""

    day: int
    bought: tuple[Bought, ...]
    is_late: bool


@dataclass(frozen=True)
class Shelf:
    """One string's outlook. run_out_days: (draws,) day the shelf is empty if nothing more is ordered, inf beyond the
    horizon. reorder_m: the metres at which to order, today. orders: until the horizon. needed: (draws,) metres used
    within it.
    """

    run_out_days: np.ndarray
    reorder_m: float
    orders: tuple[NextOrder, ...]
    needed: np.ndarray


def reorder_point(mean: float, sd: float, service: float) -> float:
    """Reorder point where the demand until delivery is normal: mean + z sd.

    >>> round(reorder_point(50, 5, 0.97), 2)
    59.4
    """
    return float(mean + stats.norm.ppf(service) * sd)


def newsvendor(mean: float, sd: float, underage: float, overage: float) -> float:
    """Best single order for normal demand: the quantile underage / (underage + overage).

    >>> round(newsvendor(1000, 200, 40, 10), 2)
    1168.32
    """
    return reorder_point(mean, sd, underage / (underage + overage))


def reorder_quantile(used: np.ndarray, service: float) -> float:
    """Reorder point on simulated demand: the smallest of the draws that covers at least that part of them."""
    return float(np.quantile(used, service, method="inverted_cdf"))


def by_day(weekly: np.ndarray) -> np.ndarray:
    """(draws, weeks) metres a week to (draws, 7 weeks + 1) metres used by the end of each day, from 0."""
    daily = np.repeat(weekly / 7.0, 7, axis=1)
    return np.concatenate([np.zeros((len(weekly), 1)), np.cumsum(daily, axis=1)], axis=1)


def usable_metres(stock_m: float, reel_m: float, job_m: float) -> float:
    """Metres on the shelf that become jobs: the open reel and the whole ones, each floored to jobs."""
    if reel_m <= 0:
        return 0.0
    reels = math.floor(stock_m / reel_m + 1e-9)
    return (reels * jobs_in(reel_m, job_m) + jobs_in(stock_m - reels * reel_m, job_m)) * job_m


def shelf(
    weekly: np.ndarray,
    horizon_days: int,
    stock_m: float,
    arrivals: list[Arrival],
    lead_days: np.ndarray,
    kind: Kind,
    job_m: float,
    service: float,
) -> Shelf:
    """Everything about one string. weekly: (draws, weeks) metres, at least over the horizon. stock_m: usable."""
    used = by_day(weekly)
    draws, last = len(used), used.shape[1] - 1
    supply = np.full(last + 1, stock_m)
    for arrival in arrivals:
        supply[min(max(arrival.day, 0), last) :] += arrival.metres if arrival.day <= last else 0.0
    empty = used > supply[None, :] + 1e-9
    run_out = np.where(empty.any(axis=1), np.argmax(empty, axis=1), np.inf)
    run_out[run_out > horizon_days] = np.inf
    row = np.arange(draws)

    def needed_until(day: int) -> float:
        """Metres that cover what is used until an order of that day arrives, at the service level."""
        return reorder_quantile(used[row, np.minimum(day + lead_days, last)], service)

    def latest_day(position: float) -> int:
        """Last day on which an order is in time; -1 where today is too late. Needs only grow with the day."""
        low, high = -1, horizon_days
        while low < high:
            middle = (low + high + 1) // 2
            if needed_until(middle) <= position + 1e-9:
                low = middle
            else:
                high = middle - 1
        return low

    position = stock_m + sum(a.metres for a in arrivals)
    whole = reorder_quantile(used[:, min(horizon_days, last)], service)
    orders: list[NextOrder] = []
    while position + 1e-9 < whole:
        day = latest_day(position)
        target = min(needed_until(max(day, 0) + COVER_DAYS), whole)
        bought = cheapest(kind.packs, math.ceil((target - position) / job_m - 1e-9), job_m)
        if not bought:
            break
        orders.append(NextOrder(max(day, 0), bought, day < 0))
        position += sum(b.count * jobs_in(b.pack.reel_m, job_m) * job_m for b in bought)
    return Shelf(run_out, needed_until(0), tuple(orders), used[:, min(horizon_days, last)])
