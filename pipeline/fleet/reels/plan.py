"""The reel plan: stock, run-out, orders, budget and ledger of one club, from one simulation of its fleet.

In: a Snapshot and the club's settings. Out: ReelPlan, a set of small frames that can be kept as one JSON document.
Metres, days and money (Decimal; currency from club.toml). Bands are the 10, 50 and 90 % points of the draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pandas as pd

from pipeline.fleet.reels import ledger as books
from pipeline.fleet.reels.catalogue import Catalogue, catalogue, price_per_metre
from pipeline.fleet.reels.demand import Demand, club_share, demand
from pipeline.fleet.reels.lead_time import LeadTimes, lead_times
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.reels.money import to_money
from pipeline.fleet.reels.ordering import Arrival, Shelf, shelf, usable_metres
from pipeline.fleet.reels.stock import open_orders, stock_now, string_uses
from pipeline.fleet.snapshot import Snapshot
from pipeline.sql import relation_text
from pipeline.store.settings import ClubSettings

CSV_COLUMNS = ("string_id", "stock_m", "need_p50_m", "need_p90_m", "run_out_p50", "order_by", "reels", "cost")
WEEKS, DRAWS = 26, 1000
MOST_CELLS = 30e6  # rackets x draws x weeks of one simulation: larger fleets are drawn less often
FORGOTTEN_DAYS = 60  # an order so long overdue is not counted on


@dataclass(frozen=True)
class ReelPlan:
    """strings: CSV_COLUMNS and more, one row a string in use. orders: every order until the horizon. open_orders:
    placed, not received. months and squads: this season's money, spent, likely and to allow for. players: cost by
    player of the last year. ledger, statement: what is charged and owed. waste: metres gone per metre strung beyond the
    ends that reels lose. notes: what to mend, in sentences.
    """

    as_of: date
    weeks: int
    service: float
    currency: str
    season: tuple[date, date]
    strings: pd.DataFrame
    orders: pd.DataFrame
    open_orders: pd.DataFrame
    months: pd.DataFrame
    squads: pd.DataFrame
    players: pd.DataFrame
    ledger: pd.DataFrame
    statement: pd.DataFrame
    season_total: dict[str, Decimal]
    waste: float
    notes: tuple[str, ...]


def reel_plan(
    s: Snapshot,
    settings: ClubSettings,
    weeks: int = WEEKS,
    service: float | None = None,
    draws: int = DRAWS,
    seed: int = 0,
) -> ReelPlan:
    """Work the plan out. service: chance not to run out before the next order arrives, the club's where None."""
    level = settings.service_level if service is None else service
    season = books.season_of(s.as_of, settings.season_start)
    sim_weeks = max(weeks, -(-(season[1] - s.as_of).days // 7))
    draws = int(max(100, min(draws, MOST_CELLS / max(len(s.rackets) * sim_weeks, 1))))
    rng = np.random.default_rng(seed + 1)
    known = catalogue(s.con)
    metres = racket_metres(s.con, s.as_of)
    strung_with = s.con.execute(relation_text("racket_strings")).df()
    uses = string_uses(s.con, metres)
    from_club = club_share(uses, s.rackets, pd.Timestamp(s.as_of))
    made = s.simulate(sim_weeks, draws, seed)
    first = demand(made, s.rackets, strung_with, metres, known, from_club, 1.0, np.random.default_rng(seed + 2))
    stock = stock_now(s.con, s.as_of, known, uses, first.job_m).set_index("string_id")
    waste = float(stock["waste"].max()) if len(stock) else 1.0
    need = Demand(
        first.strings, first.metres * waste, first.players, first.by_player * waste, first.job_m, first.unknown
    )
    leads = lead_times(s.con, s.as_of, known)
    waiting = open_orders(s.con, s.as_of, known)
    waiting["due_on"], waiting["is_counted_on"] = _due(waiting, s.as_of, leads)
    price_m = {k: price_per_metre(kind.packs, need.job_m[k]) for k, kind in known.kinds.items()}
    notes = _notes(s, known, need, stock, waiting, price_m)
    strings, orders = _orders(s.as_of, weeks * 7, level, known, need, stock, waiting, leads, settings.currency, rng)
    costs = books.priced(uses, known, waste)
    squad_of = s.rackets.dropna(subset=["player_id"]).drop_duplicates("player_id").set_index("player_id")["squad"]
    months, total = _months(s.as_of, season, need, price_m, costs, settings.currency)
    rows = books.ledger(s.con, s.as_of, costs, settings.currency)
    return ReelPlan(
        s.as_of,
        weeks,
        level,
        settings.currency,
        season,
        strings,
        orders,
        waiting,
        months,
        _squads(s.as_of, season, need, price_m, costs, squad_of, settings),
        books.by_player(s.con, s.as_of, costs, settings.currency),
        rows,
        books.statement(rows),
        total,
        waste,
        tuple(notes),
    )


def _due(waiting: pd.DataFrame, as_of: date, leads: LeadTimes) -> tuple[list[date], list[bool]]:
    """The day each open order should come (not before tomorrow), and whether it is counted on at all."""
    due, counted = [], []
    for row in waiting.to_dict("records"):
        if pd.notna(row["expected_on"]):
            day = pd.Timestamp(row["expected_on"]).date()
        else:
            day = pd.Timestamp(row["ordered_on"]).date() + timedelta(days=int(leads.said.get(row["string_id"], 7)))
        counted.append((as_of - day).days <= FORGOTTEN_DAYS)
        due.append(max(day, as_of + timedelta(days=1)))
    return due, counted


def _orders(
    as_of: date,
    horizon: int,
    level: float,
    known: Catalogue,
    need: Demand,
    stock: pd.DataFrame,
    waiting: pd.DataFrame,
    leads: LeadTimes,
    currency: str,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The frames `strings` and `orders`."""
    strings, orders = [], []
    shelf_m = dict(zip(stock.index, stock["stock_m"], strict=True))
    counted = {k: None if pd.isna(day) else pd.Timestamp(day).date() for k, day in stock["counted_on"].items()}
    for i, string_id in enumerate(need.strings):
        kind, job_m = known.kinds[string_id], need.job_m[string_id]
        mine = waiting[(waiting["string_id"] == string_id) & waiting["is_counted_on"]]
        longest = max((p.reel_m for p in kind.packs), default=0.0)
        arrivals = [
            Arrival(usable_metres(row["metres"], longest, job_m), (row["due_on"] - as_of).days)
            for row in mine.to_dict("records")
        ]
        stock_m, counted_on = float(shelf_m[string_id]), counted[string_id]
        lead = leads.draws(string_id, need.metres.shape[1], rng)
        weekly = need.metres[i]
        if not weekly.any() and stock_m == 0 and not arrivals:
            continue  # not in use
        found = shelf(weekly, horizon, usable_metres(stock_m, longest, job_m), arrivals, lead, kind, job_m, level)
        run_out = [_day(as_of, value) for value in np.quantile(found.run_out_days, [0.1, 0.5, 0.9], method="lower")]
        reels = sum(b.count for o in found.orders for b in o.bought)
        cost = sum((b.cost for o in found.orders for b in o.bought), Decimal(0))
        p50, p90 = np.quantile(found.needed, [0.5, 0.9])
        strings.append(
            (
                string_id, round(stock_m, 1), round(float(p50), 1), round(float(p90), 1), run_out[1],
                as_of + timedelta(days=found.orders[0].day) if found.orders else None, reels, to_money(cost, currency),
                kind.name, run_out[0], run_out[2], round(sum(a.metres for a in arrivals), 1),
                counted_on, round(found.reorder_m, 1), round(job_m, 2),
                int(np.quantile(lead, 0.5)), int(np.quantile(lead, 0.9)), _short_chance(found, lead),
            )
        )  # fmt: skip
        orders += _order_rows(as_of, kind.name, string_id, found, lead, currency)
    frame = pd.DataFrame(
        strings,
        columns=[
            *CSV_COLUMNS, "string_name", "run_out_p10", "run_out_p90", "on_order_m", "counted_on", "reorder_m", "job_m",
            "lead_p50_days", "lead_p90_days", "short_chance",
        ],
    )  # fmt: skip
    columns = [
        "order_by", "string_id", "string_name", "buy_id", "reels", "reel_m", "metres", "cost", "arrives_on", "is_late",
    ]  # fmt: skip
    placed = pd.DataFrame(orders, columns=columns).sort_values(["order_by", "string_id", "buy_id"], ignore_index=True)
    frame = frame.sort_values(["order_by", "string_id"], na_position="last", ignore_index=True)
    return frame, placed


def _order_rows(
    as_of: date, name: str, string_id: str, found: Shelf, lead: np.ndarray, currency: str
) -> list[tuple[object, ...]]:
    usual = int(np.quantile(lead, 0.5))
    return [
        (
            as_of + timedelta(days=o.day), string_id, name, b.pack.string_id, b.count, b.pack.reel_m, b.metres,
            to_money(b.cost, currency), as_of + timedelta(days=o.day + usual), o.is_late,
        )
        for o in found.orders
        for b in o.bought
    ]  # fmt: skip


def _short_chance(found: Shelf, lead: np.ndarray) -> float:
    """Chance that the shelf is empty before an order placed today could come."""
    return round(float((found.run_out_days < lead).mean()), 4)


def _day(as_of: date, days: float) -> date | None:
    return as_of + timedelta(days=int(days)) if np.isfinite(days) else None


def _money_paths(need: Demand, price_m: dict[str, float]) -> np.ndarray:
    """(draws, weeks) money of string used."""
    prices = np.array([np.nan_to_num(price_m[k]) for k in need.strings])
    return np.tensordot(prices, need.metres, axes=1)


def _months(
    as_of: date,
    season: tuple[date, date],
    need: Demand,
    price_m: dict[str, float],
    costs: pd.DataFrame,
    currency: str,
) -> tuple[pd.DataFrame, dict[str, Decimal]]:
    """Money by month of the season: spent so far, and the month's total likely and to allow for."""
    paths = _money_paths(need, price_m) / 7.0
    spent = books.spent_by_month(costs, season[0])
    days = pd.date_range(season[0], season[1] - timedelta(days=1), freq="D")
    ahead = np.array([(day.date() - as_of).days for day in days])
    rows, total = [], np.zeros(len(paths))
    for month in sorted({(day.year, day.month) for day in days}):
        first = date(*month, 1)
        mine = np.array([(day.year, day.month) == month for day in days])
        weeks = (ahead[mine & (ahead >= 1)] - 1) // 7
        weeks = weeks[weeks < paths.shape[1]]
        coming = paths[:, weeks].sum(axis=1) if len(weeks) else np.zeros(len(paths))
        done = spent.get(first, 0.0)
        p10, p50, p90 = (to_money(float(q) + done, currency) for q in np.quantile(coming, [0.1, 0.5, 0.9]))
        rows.append((max(first, season[0]), to_money(done, currency), p10, p50, p90, not len(weeks)))
        total += coming
    done = sum(spent.values())
    low, likely, allow = (to_money(float(q) + done, currency) for q in np.quantile(total, [0.1, 0.5, 0.9]))
    frame = pd.DataFrame(rows, columns=["month_on", "spent", "p10", "p50", "p90", "is_over"])
    return frame, {"spent": to_money(done, currency), "p10": low, "p50": likely, "p90": allow}


def _squads(
    as_of: date,
    season: tuple[date, date],
    need: Demand,
    price_m: dict[str, float],
    costs: pd.DataFrame,
    squad_of: pd.Series,
    settings: ClubSettings,
) -> pd.DataFrame:
    """By squad, this season: spent, likely by its end, budget (None where club.toml has none) and what is left."""
    spent = books.spent_by_squad(costs, season[0])
    weeks_left = min((season[1] - as_of).days / 7.0, need.by_player.shape[2])
    part = np.clip(weeks_left - np.arange(need.by_player.shape[2]), 0.0, 1.0)
    prices = np.array([np.nan_to_num(price_m[k]) for k in need.strings])
    coming: dict[str, float] = {}
    for player, metres in zip(need.players, need.by_player, strict=True):
        squad = squad_of.get(player) if player is not None else None
        name = squad if isinstance(squad, str) else ""
        coming[name] = coming.get(name, 0.0) + float(prices @ metres @ part)
    rows = []
    for squad in sorted({*spent, *coming, *settings.budget}):
        done, likely = spent.get(squad, 0.0), spent.get(squad, 0.0) + coming.get(squad, 0.0)
        given = settings.budget.get(squad)
        budget = None if given is None else to_money(float(given), settings.currency)
        left = None if budget is None else budget - to_money(likely, settings.currency)
        rows.append((squad, to_money(done, settings.currency), to_money(likely, settings.currency), budget, left))
    return pd.DataFrame(rows, columns=["squad", "spent", "likely", "budget", "left"])


def _notes(
    s: Snapshot,
    known: Catalogue,
    need: Demand,
    stock: pd.DataFrame,
    waiting: pd.DataFrame,
    price_m: dict[str, float],
) -> list[str]:
    """What to mend, a sentence each."""
    notes = []
    used = [k for i, k in enumerate(need.strings) if need.metres[i].any()]
    short, uncounted = set(stock.index[stock["is_short"]]), set(stock.index[stock["counted_on"].isna()])
    for k in used:
        name = f"{known.kinds[k].name} ({k})"
        if k in short:
            notes.append(
                f"{name}: the jobs since the count took more than there was, so the shelf is taken as empty: count it "
                "again."
            )
        elif k in uncounted:
            notes.append(f"{name} has never been counted, so the shelf is taken as empty: write down a count.")
        if np.isnan(price_m[k]):
            notes.append(
                f"{name}: no length on file is long enough for a job of {need.job_m[k]:.1f} m, so no order is "
                "proposed: mend reel_m in strings.csv."
            )
        elif price_m[k] == 0:
            notes.append(f"{name} has a price of 0, so it costs nothing here: mend reel_price in strings.csv.")
    if need.unknown:
        shown = ", ".join(need.unknown[:5]) + (" and others" if len(need.unknown) > 5 else "")
        notes.append(
            f"What is strung in {shown} is not on file, so the string it will take is not counted: write a set-up or "
            "the strings of its last restring."
        )
    for row in waiting.to_dict("records"):
        if not row["is_counted_on"]:
            notes.append(
                f"Order {row['order_id']} is more than {FORGOTTEN_DAYS} days overdue and is not counted on: write down "
                "the day it came, or strike it."
            )
    return notes
