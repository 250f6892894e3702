"""The reel plan as a spreadsheet for the manager: order list, stock, budget, cost and what is owed.

In: a ReelPlan, the club's name. Out: the bytes of an XLSX file (Office Open XML, ISO/IEC 29500). Numbers are numbers,
days are days, money carries the currency in the heading. Text that came from a club's files is never a formula: cells
are written as text, and one that begins like a formula carries the mark that keeps it text when it is edited.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pandas as pd
import xlsxwriter
from babel.numbers import get_currency_precision

from pipeline.fleet.reels.plan import ReelPlan

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class _Column:
    """One column of a sheet: the frame's column, its heading (money names its currency besides), how it is shown, its
    width in letters."""

    source: str
    heading: str
    kind: str = "text"
    width: int = 14


@dataclass(frozen=True)
class _Sheet:
    name: str
    title: str
    frame: pd.DataFrame
    columns: Sequence[_Column]


def workbook(plan: ReelPlan, club_name: str) -> bytes:
    """The spreadsheet, first the order list."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    formats = _formats(book, plan.currency)
    for sheet in (*_to_buy(plan), *_spent(plan), *_charged(plan)):
        _write(book, sheet, club_name, plan.currency, formats)
    book.close()
    return out.getvalue()


def _to_buy(plan: ReelPlan) -> list[_Sheet]:
    days = f"until {(plan.as_of + timedelta(weeks=plan.weeks)):%d %b %Y}"
    orders = [
        _Column("order_by", "Order by", "day", 18),
        _Column("string_name", "String", "text", 26),
        _Column("buy_id", "Id"),
        _Column("reels", "Reels or sets", "whole"),
        _Column("reel_m", "Metres each", "metres"),
        _Column("metres", "Metres", "metres"),
        _Column("cost", "Cost", "money"),
        _Column("arrives_on", "Should arrive", "day", 18),
    ]
    stock = [
        _Column("string_name", "String", "text", 26),
        _Column("string_id", "Id"),
        _Column("counted_on", "Counted", "day", 18),
        _Column("stock_m", "On the shelf (m)", "metres"),
        _Column("on_order_m", "On order, usable (m)", "metres"),
        _Column("need_p50_m", f"Likely use in {plan.weeks} weeks (m)", "metres"),
        _Column("need_p90_m", "Allow for (m)", "metres"),
        _Column("reorder_m", "Order when down to (m)", "metres"),
        _Column("run_out_p50", "Likely empty", "day", 18),
        _Column("run_out_p10", "Could be empty", "day", 18),
        _Column("order_by", "Order by", "day", 18),
        _Column("reels", "Reels to order", "whole"),
        _Column("cost", "Cost", "money"),
    ]
    return [
        _Sheet("Orders", f"string to order, as of {plan.as_of:%d %b %Y}, {days}", plan.orders, orders),
        _Sheet("Stock", "string on the shelf", plan.strings, stock),
    ]


def _spent(plan: ReelPlan) -> list[_Sheet]:
    last_day = plan.season[1] - timedelta(days=1)
    months = [
        _Column("month_on", "From", "day", 18),
        _Column("spent", "Used so far", "money"),
        _Column("p50", "Likely", "money"),
        _Column("p90", "Allow for", "money"),
    ]
    squads = [
        _Column("squad", "Squad", "text", 20),
        _Column("spent", "Used so far", "money"),
        _Column("likely", "Likely by the end", "money"),
        _Column("budget", "Budget", "money"),
        _Column("left", "Left", "money"),
    ]
    players = [
        _Column("player_name", "Player", "text", 26),
        _Column("squad", "Squad", "text", 16),
        _Column("jobs", "Jobs", "whole"),
        _Column("metres", "Metres", "metres"),
        _Column("cost", "String", "money"),
        _Column("hours", "Hours of play", "metres"),
        _Column("cost_hour", "An hour of play", "money"),
    ]
    season = f"{plan.season[0]:%d %b %Y} to {last_day:%d %b %Y}"
    return [
        _Sheet("Budget", f"string used, season {season}", plan.months, months),
        _Sheet("Squads", "this season against the budget", plan.squads, squads),
        _Sheet("Players", "the last year, by player", plan.players, players),
    ]


def _charged(plan: ReelPlan) -> list[_Sheet]:
    statement = [
        _Column("charge_to", "Charged to", "text", 26),
        _Column("jobs", "Jobs", "whole"),
        _Column("charged", "Charged", "money"),
        _Column("paid", "Paid", "money"),
        _Column("owed", "Owed", "money"),
        _Column("oldest_open_on", "Oldest not paid", "day", 18),
    ]
    ledger = [
        _Column("strung_on", "Strung", "day", 18),
        _Column("restring_id", "Job"),
        _Column("racket_id", "Racket"),
        _Column("player_name", "Player", "text", 26),
        _Column("charge_to", "Charged to", "text", 26),
        _Column("charge", "Charge", "money"),
        _Column("cost", "String", "money"),
        _Column("paid_on", "Paid", "day", 18),
        _Column("owed", "Owed", "money"),
    ]
    return [
        _Sheet("Statement", "charged and owed", plan.statement, statement),
        _Sheet("Ledger", "every charged job", plan.ledger, ledger),
    ]


def _formats(book: xlsxwriter.Workbook, currency: str) -> dict[str, Any]:
    try:
        decimals = get_currency_precision(currency)
    except ValueError:
        decimals = 2
    money = "#,##0" + ("." + "0" * decimals if decimals else "")
    return {
        "text": book.add_format({"valign": "top"}),
        "quoted": book.add_format({"valign": "top", "quote_prefix": True}),
        "day": book.add_format({"num_format": "ddd d mmm yyyy", "align": "left", "valign": "top"}),
        "money": book.add_format({"num_format": money, "valign": "top"}),
        "metres": book.add_format({"num_format": "0.0", "valign": "top"}),
        "whole": book.add_format({"num_format": "0", "valign": "top"}),
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "title": book.add_format({"bold": True, "font_size": 14}),
    }


def _write(book: xlsxwriter.Workbook, of: _Sheet, club_name: str, currency: str, formats: dict[str, Any]) -> None:
    sheet = book.add_worksheet(of.name)
    sheet.write_string(0, 0, f"{club_name}: {of.title}", formats["title"])
    for place, column in enumerate(of.columns):
        heading = f"{column.heading} ({currency})" if column.kind == "money" else column.heading
        sheet.set_column(place, place, column.width)
        sheet.write_string(2, place, heading, formats["head"])
    for row, cells in enumerate(of.frame[[c.source for c in of.columns]].astype(object).to_dict("records"), start=3):
        for place, column in enumerate(of.columns):
            _cell(sheet, row, place, cells[column.source], column.kind, formats)
    sheet.freeze_panes(3, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(2)
    if len(of.frame):
        sheet.autofilter(2, 0, 2 + len(of.frame), len(of.columns) - 1)


def _cell(sheet: Any, row: int, place: int, value: Any, kind: str, formats: dict[str, Any]) -> None:
    if value is None or pd.isna(value):
        sheet.write_blank(row, place, None, formats["text"])
    elif kind == "day":
        day = value if isinstance(value, datetime) else datetime.combine(value, datetime.min.time())
        sheet.write_datetime(row, place, day.replace(tzinfo=None), formats["day"])
    elif kind == "text" or not isinstance(value, int | float | Decimal):
        text = str(value)
        sheet.write_string(row, place, text, formats["quoted" if text.startswith(FORMULA_STARTS) else "text"])
    else:
        sheet.write_number(row, place, float(value), formats[kind])


def workbook_name(plan: ReelPlan) -> str:
    """A name for the file."""
    return f"string-orders-{plan.as_of:%Y-%m-%d}.xlsx"
