"""What the page Reels shows: what to order by when, how long the shelf lasts, the season's money, who owes what.

In: a view (for the club's name and dates), the reel plan of that view, locale, today. Out: one `ReelsPage`. Metres on
the shelf; money in the club's currency, as numbers in tables and as text in sentences.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Club, club
from pipeline.fleet.reels.money import money_text
from pipeline.fleet.reels.told import order_sentence, pieces, season_sentence
from pipeline.store import Store

if TYPE_CHECKING:  # what makes a plan is slow to import, and a page that shows a kept one does without
    from pipeline.fleet.reels.plan import ReelPlan


@dataclass(frozen=True)
class ReelsPage:
    """Everything on the page Reels. shelf: rows of the chart; first, last: its days. months: rows of the season's
    chart. string_names: id -> name for the forms. proposed: string id -> metres and price of its next order.
    """

    title: str
    club: Club
    sentence: str
    currency: str
    shelf: pd.DataFrame
    first: pd.Timestamp
    last: pd.Timestamp
    stock_table: pd.DataFrame
    order_table: pd.DataFrame
    waiting_table: pd.DataFrame
    months: pd.DataFrame
    season_title: str
    squad_table: pd.DataFrame
    squad_note: str
    player_table: pd.DataFrame
    statement_table: pd.DataFrame
    statement_note: str
    notes: tuple[str, ...]
    how: str
    string_names: dict[str, str]
    open_order_names: dict[str, str]
    proposed: dict[str, tuple[float, float]]
    sheet: bytes
    sheet_name: str


def reels(con: duckdb.DuckDBPyConnection, folder: str, today: date, _settings: str) -> ReelsPage:
    """The page, with the plan kept for this view or worked out now. _settings: only tells answers apart."""
    from pipeline.fleet.reels.document import work_out

    store = Store(folder)
    names = dict(con.sql("select string_id, string_name from strings order by string_name, string_id").fetchall())
    return reels_page(club(con, today), work_out(store), store.settings.locale, names)


def reels_page(the_club: Club, plan: ReelPlan, locale: str, string_names: dict[str, str]) -> ReelsPage:
    """A plan put into sentences, tables and the rows of charts."""
    from pipeline.fleet.reels.workbook import workbook, workbook_name

    shelf = _shelf(plan)
    ends = [d for c in ("run_out_p90", "order_by") for d in shelf[c].dropna()]
    horizon = pd.Timestamp(plan.as_of + timedelta(weeks=plan.weeks))
    return ReelsPage(
        title=order_sentence(plan),
        club=the_club,
        sentence=season_sentence(plan, locale),
        currency=plan.currency,
        shelf=shelf,
        first=pd.Timestamp(plan.as_of),
        last=min(max([pd.Timestamp(d) for d in ends], default=horizon) + pd.Timedelta(days=7), horizon),
        stock_table=_stock_table(plan),
        order_table=_order_table(plan),
        waiting_table=_waiting_table(plan),
        months=_months(plan, locale),
        season_title=_season_title(plan, locale),
        squad_table=_squad_table(plan),
        squad_note=_squad_note(plan, locale),
        player_table=_player_table(plan),
        statement_table=_statement_table(plan),
        statement_note=_statement_note(plan, locale),
        notes=plan.notes,
        how=_how(plan),
        string_names=string_names,
        open_order_names=_open_order_names(plan),
        proposed={
            str(row["buy_id"]): (float(row["metres"]), float(row["cost"]))
            for row in plan.orders.iloc[::-1].to_dict("records")
        },
        sheet=workbook(plan, the_club.name),
        sheet_name=workbook_name(plan),
    )


def _shelf(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.strings.copy()
    rows = rows[rows["need_p50_m"].astype(float) + rows["on_order_m"].astype(float) > 0].reset_index(drop=True)
    comes = plan.open_orders[plan.open_orders["is_counted_on"].astype(bool)].groupby("string_id")["due_on"].min()
    rows["comes_on"] = rows["string_id"].map(comes)
    for column in ("run_out_p10", "run_out_p50", "run_out_p90", "order_by", "comes_on"):
        rows[column] = pd.to_datetime(rows[column])
    rows["hover"] = [_shelf_words(row, plan) for row in rows.to_dict("records")]
    return rows


def _shelf_words(row: dict[Any, Any], plan: ReelPlan) -> str:
    if pd.isna(row["run_out_p50"]):
        empty = f"lasts more than {words.count(plan.weeks, 'week')}"
    else:
        band = f"{words.day(row['run_out_p10'])} to " + (
            words.day(row["run_out_p90"]) if pd.notna(row["run_out_p90"]) else "later"
        )
        empty = f"likely empty about {words.day(row['run_out_p50'])} ({band})"
    order = f"; order by {words.day(row['order_by'])}" if pd.notna(row["order_by"]) else ""
    comes = f"; an order should come {words.day(row['comes_on'])}" if pd.notna(row["comes_on"]) else ""
    return f"about {round(row['stock_m'])} m on the shelf, {empty}{order}{comes}"


def _days(values: pd.Series) -> list[date | None]:
    return [None if pd.isna(value) else pd.Timestamp(value).date() for value in values]


def _floats(values: pd.Series) -> list[float | None]:
    return [None if value is None or pd.isna(value) else float(value) for value in values]


def _stock_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.strings
    return pd.DataFrame(
        {
            "String": rows["string_name"],
            "On the shelf, m": rows["stock_m"].astype(float).round().astype(int),
            "Counted": _days(rows["counted_on"]),
            "On order, m": rows["on_order_m"].astype(float).round().astype(int),
            f"Likely use in {plan.weeks} weeks, m": rows["need_p50_m"].astype(float).round().astype(int),
            "Allow for, m": rows["need_p90_m"].astype(float).round().astype(int),
            "Likely empty": _days(rows["run_out_p50"]),
            "Order when down to, m": rows["reorder_m"].astype(float).round().astype(int),
            "Order by": _days(rows["order_by"]),
        }
    )


def _order_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.orders
    return pd.DataFrame(
        {
            "Order by": _days(rows["order_by"]),
            "String": rows["string_name"],
            "What": [pieces(int(r["reels"]), float(r["reel_m"])) for r in rows.to_dict("records")],
            "Metres": rows["metres"].astype(float).round().astype(int),
            f"Cost, {plan.currency}": _floats(rows["cost"]),
            "Should arrive": _days(rows["arrives_on"]),
            "In time?": ["▲ may come late" if late else "✓ in time" for late in rows["is_late"]],
        }
    )


def _waiting_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.open_orders
    names = dict(zip(plan.strings["string_id"], plan.strings["string_name"], strict=True))
    return pd.DataFrame(
        {
            "Order": rows["order_id"],
            "String": rows["string_id"].map(names).fillna(rows["string_id"]),
            "Metres": rows["metres"].astype(float).round().astype(int),
            "Ordered": _days(rows["ordered_on"]),
            "Should arrive": _days(rows["due_on"]),
        }
    )


def _open_order_names(plan: ReelPlan) -> dict[str, str]:
    table = _waiting_table(plan)
    return {
        str(row["Order"]): f"{row['Order']} · {row['String']}, {row['Metres']} m, ordered {words.day(row['Ordered'])}"
        for row in table.to_dict("records")
    }


def _months(plan: ReelPlan, locale: str) -> pd.DataFrame:
    rows = plan.months.copy()
    rows["month_on"] = pd.to_datetime(rows["month_on"])
    rows["label"] = [words.MONTHS[value.month - 1] for value in rows["month_on"]]
    texts = []
    for row in rows.to_dict("records"):
        likely = money_text(row["p50"], plan.currency, locale, is_whole=True)
        if row["is_over"]:
            texts.append(f"{row['label']}: {likely} of string went into rackets")
        else:
            allow = money_text(row["p90"], plan.currency, locale, is_whole=True)
            texts.append(f"{row['label']}: likely {likely}, allow for {allow}")
    rows["hover"] = texts
    for column in ("spent", "p10", "p50", "p90"):
        rows[column] = _floats(rows[column])
    rows["to_come"] = rows["p50"] - rows["spent"]
    return rows


def _season_title(plan: ReelPlan, locale: str) -> str:
    last = plan.season[1] - timedelta(days=1)
    return f"String by month, {words.day_with_year(plan.season[0])[4:]} to {words.day_with_year(last)[4:]}"


def _squad_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.squads
    c = plan.currency
    table = pd.DataFrame(
        {
            "Squad": rows["squad"].replace("", "the club's own rackets"),
            f"Used, {c}": _floats(rows["spent"]),
            f"Likely, {c}": _floats(rows["likely"]),
        }
    )
    if rows["budget"].notna().any():
        table[f"Budget, {c}"] = _floats(rows["budget"])
        table[f"Left, {c}"] = _floats(rows["left"])
    return table


def _squad_note(plan: ReelPlan, locale: str) -> str:
    rows = plan.squads[plan.squads["budget"].notna()]
    if rows.empty:
        return (
            "No budget is set. Write one line a squad under [budget] in club.toml, such as Rowan = 4500, and what is "
            "left of it shows here."
        )
    over = rows[[left < 0 for left in rows["left"]]]
    if over.empty:
        return "Every squad with a budget is likely to stay within it."
    worst = min(over.to_dict("records"), key=lambda row: row["left"])
    by = money_text(-worst["left"], plan.currency, locale, is_whole=True)
    others = len(over) - 1
    more = f", and {words.count(others, 'other squad')} over theirs" if others else ""
    return f"▲ {worst['squad']} is likely to end {by} over its budget{more}."


def _player_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.players
    return pd.DataFrame(
        {
            "Player": rows["player_name"],
            "Squad": rows["squad"],
            "Restrings": rows["jobs"].astype(int),
            "Metres": rows["metres"].astype(float).round().astype(int),
            f"String, {plan.currency}": _floats(rows["cost"]),
            "Hours of play": rows["hours"].astype(float).round().astype(int),
            f"An hour of play, {plan.currency}": _floats(rows["cost_hour"]),
        }
    )


def _statement_table(plan: ReelPlan) -> pd.DataFrame:
    rows = plan.statement
    c = plan.currency
    return pd.DataFrame(
        {
            "Charged to": rows["charge_to"],
            "Restrings": rows["jobs"].astype(int),
            f"Charged, {c}": _floats(rows["charged"]),
            f"Paid, {c}": _floats(rows["paid"]),
            f"Owed, {c}": _floats(rows["owed"]),
            "Oldest not paid": _days(rows["oldest_open_on"]),
        }
    )


def _statement_note(plan: ReelPlan, locale: str) -> str:
    if plan.statement.empty:
        return "No charge is on file. Write charge_to, charge and paid_on with a restring, and it shows here."
    owed = sum(plan.statement["owed"], Decimal(0))
    if owed == 0:
        return "Everything that was charged has been paid."
    owing = sum(1 for value in plan.statement["owed"] if value > 0)
    return (
        f"{money_text(owed, plan.currency, locale)} is owed by {words.count(owing, 'person', 'people')} "
        "for restrings that are not paid yet."
    )


def _how(plan: ReelPlan) -> str:
    more = words.percent(plan.waste - 1).replace(" ", "\u00a0")
    waste = f" About {more} more goes than the restrings take, by your counts." if plan.waste >= 1.005 else ""
    return (
        f"Ordered by these days, each string lasts until the next order comes with a chance of "
        f"{words.percent(plan.service)}. The use is the same forecast as on Workload; the end of every reel that is "
        f"too short for a restring counts as lost.{waste}"
    )
