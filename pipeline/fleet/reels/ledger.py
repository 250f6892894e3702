"""The ledger of string and charges: who owes what, what each squad's string has cost this season, cost an hour of play.

In: the parts of beds with metres (`stock.string_uses`), the catalogue, the club's restrings, budget and
season. Out: frames with money as Decimal. Cost is string as it went into rackets, the lost ends of reels paid for;
string that a player or sponsor brought costs nothing.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet.reels.catalogue import Catalogue, price_per_metre
from pipeline.fleet.reels.money import to_money

YEAR_DAYS = 365
NO_ONE = "not written down"


def season_of(day: date, season_start: str) -> tuple[date, date]:
    """First day of the season a day is in, and the first day of the next.

    >>> season_of(date(2026, 11, 15), "09-01")
    (datetime.date(2026, 9, 1), datetime.date(2027, 9, 1))
    """
    month, first = (int(part) for part in season_start.split("-"))
    year = day.year if (day.month, day.day) >= (month, first) else day.year - 1
    return date(year, month, first), date(year + 1, month, first)


def priced(uses: pd.DataFrame, known: Catalogue, waste: float) -> pd.DataFrame:
    """The parts with their cost in money (0 where the club's string was not taken or its price is not on file).

    A bed of one string is cut as one job: what it costs a metre depends on how many such jobs a reel gives.
    waste: metres gone per metre strung, beyond the ends that reels lose.
    """
    out = uses.copy()
    out["kind"] = out["string_id"].map(known.stands_for)
    out["metres"] = out["metres"].fillna(0.0)
    job_m = out.groupby(["restring_id", "kind"])["metres"].transform("sum").round(1)
    pairs = set(zip(out["kind"].dropna(), job_m[out["kind"].notna()], strict=True))
    metre = {(k, m): price_per_metre(known.kinds[k].packs, m) if m > 0 else 0.0 for k, m in pairs}
    prices = [metre.get(pair, 0.0) for pair in zip(out["kind"], job_m, strict=True)]
    out["cost"] = np.where(
        out["takes_stock"], out["metres"] * np.nan_to_num(np.array(prices, dtype=float)) * waste, 0.0
    )
    return out


def ledger(con: duckdb.DuckDBPyConnection, as_of: date, costs: pd.DataFrame, currency: str) -> pd.DataFrame:
    """One row a charged restring: restring_id, strung_on, racket_id, player_name, charge_to, charge, paid_on, owed,
    cost; newest first.
    """
    rows = con.execute(
        """
        select r.restring_id, r.strung_on, r.racket_id, coalesce(p.player_name, '') as player_name,
               coalesce(q.player_name, r.charge_to) as charge_to, r.charge::varchar as charge,
               case when r.paid_on <= $day then r.paid_on end as paid_on
        from facts.restrings as r
        left join bed_players as b on b.bed_id = r.restring_id
        left join player_spans as p on p.player_id = b.player_id and p.is_latest
        left join player_spans as q on q.player_id = r.charge_to and q.is_latest
        where r.strung_on <= $day and r.charge is not null
        order by r.strung_on desc, r.restring_id desc
        """,
        {"day": as_of},
    ).df()
    cost = costs.groupby("restring_id")["cost"].sum()
    rows["charge_to"] = rows["charge_to"].fillna(NO_ONE)
    charges = [to_money(charge, currency) for charge in rows["charge"]]
    owed = [c if pd.isna(paid) else Decimal(0) for c, paid in zip(charges, rows["paid_on"], strict=True)]
    string = [to_money(float(cost.get(key, 0.0)), currency) for key in rows["restring_id"]]
    return rows.assign(charge=_exact(charges), owed=_exact(owed), cost=_exact(string))


def _exact(amounts: list[Decimal] | list[Decimal | None]) -> pd.Series:
    """A column of exact money."""
    return pd.Series(amounts, dtype=object)


def statement(rows: pd.DataFrame) -> pd.DataFrame:
    """By payer: jobs, charged, paid, owed and the day of the oldest job not paid; most owed first."""
    out = []
    for payer, mine in rows.groupby("charge_to"):
        open_rows = mine[mine["paid_on"].isna()]
        charged, owed = sum(mine["charge"], Decimal(0)), sum(mine["owed"], Decimal(0))
        oldest = open_rows["strung_on"].min() if len(open_rows) else pd.NaT
        out.append((str(payer), len(mine), charged, charged - owed, owed, oldest))
    out.sort(key=lambda row: (-row[4], row[0]))
    return pd.DataFrame(out, columns=["charge_to", "jobs", "charged", "paid", "owed", "oldest_open_on"])


def by_player(con: duckdb.DuckDBPyConnection, as_of: date, costs: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Of the last year: player_id, player_name, squad, jobs, metres, cost, hours of play, cost_hour (None without
    play).
    """
    since = pd.Timestamp(as_of) - pd.Timedelta(days=YEAR_DAYS)
    recent = costs[(costs["strung_on"] > since) & costs["player_id"].notna()]
    people = con.execute(
        "select player_id, player_name, squad from player_spans where is_latest order by player_name"
    ).df()
    hours = con.execute(
        "select player_id, sum(hours) as hours from player_days where day > $since and day <= $day group by player_id",
        {"since": since.date(), "day": as_of},
    ).df()
    took = recent.groupby("player_id").agg(
        jobs=("restring_id", "nunique"), metres=("metres", "sum"), cost=("cost", "sum")
    )
    out = people.merge(took.reset_index(), on="player_id", how="left").merge(hours, on="player_id", how="left")
    out = out[out["jobs"].notna() | out["hours"].notna()]
    out[["jobs", "metres", "cost", "hours"]] = out[["jobs", "metres", "cost", "hours"]].astype(float).fillna(0.0)
    out["jobs"] = out["jobs"].astype(int)
    an_hour = [to_money(c / h, currency) if h > 0.5 else None for c, h in zip(out["cost"], out["hours"], strict=True)]
    out = out.reset_index(drop=True)
    out = out.assign(cost_hour=_exact(an_hour), cost=_exact([to_money(c, currency) for c in out["cost"]]))
    return out.sort_values(["cost", "player_name"], ascending=[False, True]).reset_index(drop=True)


def spent_by_squad(costs: pd.DataFrame, first_day: date) -> dict[str, float]:
    """Money of string by squad since a day; the club's own rackets under ''."""
    mine = costs[costs["strung_on"] >= pd.Timestamp(first_day)]
    return {
        str(k): float(v) for k, v in mine.assign(squad=mine["squad"].fillna("")).groupby("squad")["cost"].sum().items()
    }


def spent_by_month(costs: pd.DataFrame, first_day: date) -> dict[date, float]:
    """Money of string by first day of the month, since a day."""
    mine = costs[costs["strung_on"] >= pd.Timestamp(first_day)]
    months = mine.groupby(mine["strung_on"].dt.strftime("%Y-%m-01"))["cost"].sum()
    return {date.fromisoformat(str(month)): float(value) for month, value in months.items()}
