"""Money as people write it, and the spreadsheet read back by another program."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pandas as pd
import pytest

from pipeline.fleet.reels.money import money_text, to_money
from pipeline.fleet.reels.plan import ReelPlan
from pipeline.fleet.reels.workbook import workbook

NASTY = '=HYPERLINK("http://x","y")'


@pytest.fixture
def plan() -> ReelPlan:
    day = date(2026, 11, 20)
    return ReelPlan(
        as_of=date(2026, 11, 15),
        weeks=26,
        service=0.95,
        currency="EUR",
        season=(date(2026, 9, 1), date(2027, 9, 1)),
        strings=pd.DataFrame(
            [("S1", 68.6, 400.0, 500.0, day, day, 2, Decimal("256.00"), NASTY, day, None, 0.0, None, 40.0)],
            columns=["string_id", "stock_m", "need_p50_m", "need_p90_m", "run_out_p50", "order_by", "reels", "cost",
                     "string_name", "run_out_p10", "run_out_p90", "on_order_m", "counted_on", "reorder_m"],
        ),
        orders=pd.DataFrame(
            [(day, "S1", NASTY, "S1", 2, 200.0, 400.0, Decimal("256.10"), day, False)],
            columns=["order_by", "string_id", "string_name", "buy_id", "reels", "reel_m", "metres", "cost",
                     "arrives_on", "is_late"],
        ),
        open_orders=pd.DataFrame(columns=["order_id"]),
        months=pd.DataFrame(
            [(date(2026, 9, 1), Decimal("1.10"), Decimal("1"), Decimal("2.20"), Decimal("3"), False)],
            columns=["month_on", "spent", "p10", "p50", "p90", "is_over"],
        ),
        squads=pd.DataFrame(
            [("+A", Decimal("1"), Decimal("2"), None, None)], columns=["squad", "spent", "likely", "budget", "left"]
        ),
        players=pd.DataFrame(
            [("P1", "Łukasz 😀 @b", "U16", 3, 34.5, Decimal("20"), 10.0, Decimal("2.00"))],
            columns=["player_id", "player_name", "squad", "jobs", "metres", "cost", "hours", "cost_hour"],
        ),
        ledger=pd.DataFrame(
            [("T1", datetime(2026, 10, 1), "R1", "-1+1", "@SUM(A1)", Decimal(20), pd.NaT, Decimal(20), Decimal(7))],
            columns=["restring_id", "strung_on", "racket_id", "player_name", "charge_to", "charge", "paid_on", "owed",
                     "cost"],
        ),
        statement=pd.DataFrame(
            [("@SUM(A1)", 1, Decimal("20"), Decimal("0"), Decimal("20"), datetime(2026, 10, 1))],
            columns=["charge_to", "jobs", "charged", "paid", "owed", "oldest_open_on"],
        ),
        season_total={"spent": Decimal("1"), "p10": Decimal("1"), "p50": Decimal("2"), "p90": Decimal("3")},
        waste=1.0,
        notes=(),
    )  # fmt: skip


def test_numbers_are_numbers_and_days_are_days(plan: ReelPlan) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(plan, "Club")))
    assert book.sheetnames == ["Orders", "Stock", "Budget", "Squads", "Players", "Statement", "Ledger"]
    cells = {c.value: book["Orders"].cell(4, c.column) for c in book["Orders"][3]}
    assert cells["Reels or sets"].value == 2 and cells["Reels or sets"].data_type == "n"
    assert cells["Cost (EUR)"].value == 256.10 and cells["Cost (EUR)"].number_format == "#,##0.00"
    assert cells["Order by"].value == datetime(2026, 11, 20) and cells["Order by"].is_date
    assert book["Squads"]["D4"].value is None


def test_no_cell_is_a_formula(plan: ReelPlan) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(plan, "=Club")))
    every = [cell for sheet in book for row in sheet for cell in row]
    assert not [cell for cell in every if cell.data_type == "f"]
    nasty = [cell for cell in every if isinstance(cell.value, str) and cell.value[:1] in "=+-@" and cell.row > 3]
    assert len(nasty) >= 6 and all(cell.quotePrefix for cell in nasty)
    assert book["Orders"]["B4"].value == NASTY
    assert book["Players"]["A4"].value == "Łukasz 😀 @b"


def test_columns_are_as_wide_as_what_stands_in_them(plan: ReelPlan) -> None:
    """Widths in letters: a day 18, a name 26, a squad 16 or 20, all else 14 (a spreadsheet adds its rim of 5/7)."""
    book = openpyxl.load_workbook(io.BytesIO(workbook(plan, "Club")))
    own = {"String": 26, "Player": 26, "Charged to": 26, "Counted": 18, "Order by": 18, "Should arrive": 18, "From": 18,
           "Likely empty": 18, "Could be empty": 18, "Oldest not paid": 18, "Strung": 18, "Paid": 18}  # fmt: skip
    for sheet in book:
        seen = {}
        for dimension in sheet.column_dimensions.values():  # neighbours of one width stand together
            for place in range(dimension.min, dimension.max + 1):
                seen[place] = dimension.width
        for cell in sheet[3]:
            letters = own.get(str(cell.value), 14)
            if cell.value == "Squad":
                letters = 20 if sheet.title == "Squads" else 16
            if (sheet.title, cell.value) == ("Statement", "Paid (EUR)"):
                letters = 14
            assert seen[cell.column] == pytest.approx(letters, abs=0.75), (sheet.title, cell.value)


def test_headings_stay_in_sight_and_stand_on_every_printed_page(plan: ReelPlan) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(plan, "Club")))
    for sheet in book:
        assert sheet.freeze_panes == "A4" and sheet.print_title_rows == "$3:$3", sheet.title
        assert sheet.page_setup.orientation == "landscape" and sheet.page_setup.fitToHeight == 0
    assert book["Orders"].auto_filter.ref == "A3:H4" and book["Ledger"].auto_filter.ref == "A3:I4"


def test_a_currency_without_coins_has_no_decimals(plan: ReelPlan) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(replace(plan, currency="JPY"), "Club")))
    assert book["Orders"]["G3"].value == "Cost (JPY)" and book["Orders"]["G4"].number_format == "#,##0"


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "text"),
    [
        ("1234.5", "EUR", "en-GB", "€1,234.50"),
        ("1234.5", "EUR", "de-DE", "1.234,50\u00a0€"),
        ("1234.5", "JPY", "en-GB", "JP¥1,235"),
        ("0.105", "KWD", "en-GB", "KWD\u00a00.105"),
        ("12", "points", "en-GB", "12.00 points"),
        ("12", "EUR", "xx-nowhere", "€12.00"),
    ],
)
def test_money_is_written_as_the_locale_writes_it(amount: str, currency: str, locale: str, text: str) -> None:
    assert money_text(Decimal(amount), currency, locale) == text


def test_halves_are_rounded_away_from_zero() -> None:
    assert [to_money(x, "EUR") for x in ("0.005", "-0.005", "1.004")] == [
        Decimal("0.01"), Decimal("-0.01"), Decimal("1.00"),
    ]  # fmt: skip
    assert sum([to_money("0.10", "EUR")] * 3, Decimal(0)) == Decimal("0.30")
