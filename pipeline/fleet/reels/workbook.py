"""The reel plan as a spreadsheet for the manager: order list, stock, budget, cost and what is owed.

In: a ReelPlan, the club's name. Out: the bytes of an XLSX file (Office Open XML, ISO/IEC 29500). Numbers are numbers,
days are days, money carries the currency in the heading. Text that came from a club's files is never a formula: cells
are written as text, and one that begins like a formula carries the mark that keeps it text when it is edited.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
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
    """One column of a sheet: the frame's column, its heading, how it is shown, its width in letters."""

    source: str
    heading: str
    kind: str = "text"
    width: int = 14


def workbook(plan: ReelPlan, club_name: str) -> bytes:
    """The spreadsheet, first the order list."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    try:
        decimals = get_currency_precision(plan.currency)
    except ValueError:
        decimals = 2
    money = "#,##0" + ("." + "0" * decimals if decimals else "")
    formats = {
        "text": book.add_format({"valign": "top"}),
        "quoted": book.add_format({"valign": "top", "quote_prefix": True}),
        "day": book.add_format({"num_format": "ddd d mmm yyyy", "align": "left", "valign": "top"}),
        "money": book.add_format({"num_format": money, "valign": "top"}),
        "metres": book.add_format({"num_format": "0.0", "valign": "top"}),
        "whole": book.add_format({"num_format": "0", "valign": "top"}),
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "title": book.add_format({"bold": True, "font_size": 14}),
    }
    m = f"({plan.currency})"
    write = _writer(book, formats)
    days = f"until {(plan.as_of + timedelta(weeks=plan.weeks)):%d %b %Y}"
    write(
        "Orders",
        f"{club_name}: string to order, as of {plan.as_of:%d %b %Y}, {days}",
        plan.orders,
        [
            _Column("order_by", "Order by", "day", 18),
            _Column("string_name", "String", "text", 26),
            _Column("buy_id", "Id"),
            _Column("reels", "Reels or sets", "whole"),
            _Column("reel_m", "Metres each", "metres"),
            _Column("metres", "Metres", "metres"),
            _Column("cost", f"Cost {m}", "money"),
            _Column("arrives_on", "Should arrive", "day", 18),
        ],
    )
    write(
        "Stock",
        f"{club_name}: string on the shelf",
        plan.strings,
        [
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
            _Column("cost", f"Cost {m}", "money"),
        ],
    )
    last_day = plan.season[1] - timedelta(days=1)
    write(
        "Budget",
        f"{club_name}: string used, season {plan.season[0]:%d %b %Y} to {last_day:%d %b %Y}",
        plan.months,
        [
            _Column("month_on", "From", "day", 18),
            _Column("spent", f"Used so far {m}", "money"),
            _Column("p50", f"Likely {m}", "money"),
            _Column("p90", f"Allow for {m}", "money"),
        ],
    )
    write(
        "Squads",
        f"{club_name}: this season against the budget",
        plan.squads,
        [
            _Column("squad", "Squad", "text", 20),
            _Column("spent", f"Used so far {m}", "money"),
            _Column("likely", f"Likely by the end {m}", "money"),
            _Column("budget", f"Budget {m}", "money"),
            _Column("left", f"Left {m}", "money"),
        ],
    )
    write(
        "Players",
        f"{club_name}: the last year, by player",
        plan.players,
        [
            _Column("player_name", "Player", "text", 26),
            _Column("squad", "Squad", "text", 16),
            _Column("jobs", "Jobs", "whole"),
            _Column("metres", "Metres", "metres"),
            _Column("cost", f"String {m}", "money"),
            _Column("hours", "Hours of play", "metres"),
            _Column("cost_hour", f"An hour of play {m}", "money"),
        ],
    )
    write(
        "Statement",
        f"{club_name}: charged and owed",
        plan.statement,
        [
            _Column("charge_to", "Charged to", "text", 26),
            _Column("jobs", "Jobs", "whole"),
            _Column("charged", f"Charged {m}", "money"),
            _Column("paid", f"Paid {m}", "money"),
            _Column("owed", f"Owed {m}", "money"),
            _Column("oldest_open_on", "Oldest not paid", "day", 18),
        ],
    )
    write(
        "Ledger",
        f"{club_name}: every charged job",
        plan.ledger,
        [
            _Column("strung_on", "Strung", "day", 18),
            _Column("restring_id", "Job"),
            _Column("racket_id", "Racket"),
            _Column("player_name", "Player", "text", 26),
            _Column("charge_to", "Charged to", "text", 26),
            _Column("charge", f"Charge {m}", "money"),
            _Column("cost", f"String {m}", "money"),
            _Column("paid_on", "Paid", "day", 18),
            _Column("owed", f"Owed {m}", "money"),
        ],
    )
    book.close()
    return out.getvalue()


def _writer(
    book: xlsxwriter.Workbook, formats: dict[str, Any]
) -> Callable[[str, str, pd.DataFrame, Sequence[_Column]], None]:
    def write(name: str, title: str, frame: pd.DataFrame, columns: Sequence[_Column]) -> None:
        sheet = book.add_worksheet(name)
        sheet.write_string(0, 0, title, formats["title"])
        for place, column in enumerate(columns):
            sheet.set_column(place, place, column.width)
            sheet.write_string(2, place, column.heading, formats["head"])
        for row, cells in enumerate(frame[[c.source for c in columns]].astype(object).to_dict("records"), start=3):
            for place, column in enumerate(columns):
                _cell(sheet, row, place, cells[column.source], column.kind, formats)
        sheet.freeze_panes(3, 0)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(2)
        if len(frame):
            sheet.autofilter(2, 0, 2 + len(frame), len(columns) - 1)

    return write


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
