"""The page Reels through the router and in a browser: what it says, its forms, its spreadsheet."""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import sync_playwright
from streamlit.testing.v1 import AppTest

from dashboard.palette import palette
from dashboard.reel_charts import season_months, shelf_calendar
from pipeline.fleet import frames
from pipeline.fleet.reels.document import kept_plan
from pipeline.fleet.reels.told import order_sentence
from pipeline.refresh import refresh
from pipeline.store import Store
from tests.dashboard.browser import CHROMIUM, launch_chromium, settle
from tests.dashboard.server import running_dashboard
from tests.dashboard.test_pages import said, title
from tests.fleet.club_files import write_files
from tests.small_club import NOW

Opened = Callable[..., AppTest]
DAY = "2026-03-28"
STOCK = "counted_on,string_id,metres\n2026-03-28,poly,60\n2026-03-28,multi,90\n"
ORDERS = (
    "order_id,string_id,ordered_on,expected_on,received_on,metres,price\n"
    "O1,multi,2026-03-20,2026-04-02,,200,90\nO2,poly,2026-02-20,2026-02-27,2026-02-28,200,90\n"
)


@pytest.fixture(scope="module")
def club_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A club of sixteen weeks with counts and orders."""
    folder = tmp_path_factory.mktemp("reels")
    files = write_files(folder / "files")
    (files / "stock.csv").write_text(STOCK, encoding="utf-8")
    (files / "orders.csv").write_text(ORDERS, encoding="utf-8")
    store = Store(folder / "store")
    store.load(files, now=NOW)
    refresh(store, now=NOW)
    return store.folder


@pytest.fixture
def club(club_folder: Path, tmp_path: Path) -> Store:
    """A copy of it, free to be written to."""
    return Store(shutil.copytree(club_folder, tmp_path / "copy"))


def test_the_page_opens_with_what_to_order(club: Store, open_page: Opened) -> None:
    app = open_page(club, "reels", today=DAY)
    plan = kept_plan(club)
    assert plan is not None
    assert title(app) == order_sentence(plan).replace("\u00a0", " ")
    assert title(app).startswith("Order 1 reel of Poly ")
    assert "The season's string is likely to cost €" in said(app)
    assert "No budget is set. Write one line a squad under [budget] in club.toml" in said(app)
    assert "No charge is on file." in said(app)


def test_tables_are_those_of_the_plan_and_hold_numbers(club: Store, open_page: Opened) -> None:
    app = open_page(club, "reels", today=DAY)
    plan = kept_plan(club)
    assert plan is not None
    orders = app.dataframe[0].value
    assert list(orders["String"]) == list(plan.orders["string_name"])
    assert orders["Cost, EUR"].sum() == float(plan.orders["cost"].sum())
    assert orders["Metres"].dtype.kind == "i"
    waiting = app.dataframe[1].value
    assert list(waiting["Order"]) == ["O1"] and list(waiting["String"]) == ["Multi"]


def test_the_plan_is_worked_out_once_a_version(club: Store, open_page: Opened) -> None:
    open_page(club, "reels", today=DAY)
    file = club.folder / "plan-reels.json"
    made_at = file.stat().st_mtime_ns
    open_page(club, "reels", today=DAY)
    assert file.stat().st_mtime_ns == made_at
    file.write_text("{", encoding="utf-8")
    assert kept_plan(club) is None


def test_a_count_is_written_down_and_undone(club: Store, open_page: Opened) -> None:
    app = open_page(club, "reels", today=DAY)
    before = title(app)
    app.selectbox(key="count string").set_value("poly")
    app.number_input(key="count reels").set_value(20)
    app.button[[b.label for b in app.button].index("Save the count")].click().run(timeout=60)
    assert "Written down: a count of Poly." in said(app)
    with club.facts() as con:
        rows = con.execute(
            "select reels, metres from facts.stock where string_id = 'poly' order by counted_on"
        ).fetchall()
    assert rows[-1][0] == 20
    plan = kept_plan(club)
    assert plan is not None and plan.strings.set_index("string_id").loc["poly", "stock_m"] >= 4000
    assert "Poly" not in title(app)
    app.button[[b.label for b in app.button].index("Take it back")].click().run(timeout=60)
    assert title(app) == before


def test_an_order_and_its_arrival_are_written_down(club: Store, open_page: Opened) -> None:
    app = open_page(club, "reels", today=DAY)
    app.selectbox(key="order string").set_value("poly").run(timeout=60)
    metres = app.number_input(key="order metres poly")
    assert metres.value == 200 and app.number_input(key="order price poly").value == 90
    app.button[[b.label for b in app.button].index("Save the order")].click().run(timeout=60)
    assert "Written down: an order of Poly." in said(app)
    app.selectbox(key="received").set_value("O1")
    app.button[[b.label for b in app.button].index("Put it on the shelf")].click().run(timeout=60)
    assert "Written down: O1 has come." in said(app)
    with club.facts() as con:
        rows = con.execute("select order_id, received_on is not null, metres from facts.orders order by 1").fetchall()
    assert ("O1", True, 200.0) in rows and len(rows) == 3
    assert next(row[1] for row in rows if row[0] not in ("O1", "O2")) is False


def test_a_count_without_a_number_is_refused_in_words(club: Store, open_page: Opened) -> None:
    app = open_page(club, "reels", today=DAY)
    app.button[[b.label for b in app.button].index("Save the count")].click().run(timeout=60)
    assert "Nothing was written down" in said(app)


def test_a_budget_in_the_settings_shows_at_once(club: Store, open_page: Opened) -> None:
    open_page(club, "reels", today=DAY)
    text = (club.folder / "club.toml").read_text(encoding="utf-8")
    (club.folder / "club.toml").write_text(text.replace("[budget]", "[budget]\nU16 = 1"), encoding="utf-8")
    app = open_page(club, "reels", today=DAY)
    assert "▲ U16 is likely to end €" in said(app) and "over its budget" in said(app)


def test_a_club_whose_string_is_not_on_file_still_has_a_page(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "reels")
    assert not app.exception and title(app)


def test_the_charts_hold_every_string_and_month(club: Store) -> None:
    view = club.view()
    page = frames.reels(view, str(club.folder), date.fromisoformat(DAY), "")
    view.close()
    for narrow in (False, True):
        figure = shelf_calendar(page.shelf, page.first, page.last, palette("light"), narrow)
        assert list(figure.layout.yaxis.ticktext) == list(page.shelf["string_name"])
        months = season_months(page.months, "EUR", palette("dark"), narrow)
        assert len(months.data[1].x) == int((~page.months["is_over"]).sum())
    book = openpyxl.load_workbook(io.BytesIO(page.sheet))
    assert book["Orders"].max_row == 3 + len(page.order_table)


@pytest.mark.browser
@pytest.mark.skipif(
    not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"), reason=f"{CHROMIUM} is not installed"
)
def test_the_manager_has_the_order_list_in_two_actions(club: Store, tmp_path: Path) -> None:
    """Open, then: the page Reels, the order list. Four actions are allowed."""
    with sync_playwright() as playwright, running_dashboard(club.folder, DAY) as address:
        browser = launch_chromium(playwright)
        page = browser.new_context(viewport={"width": 1440, "height": 900}, accept_downloads=True).new_page()
        page.set_default_timeout(30_000)
        page.goto(address)
        settle(page)
        page.get_by_role("link", name="Reels").click()  # 1
        settle(page)
        with page.expect_download() as caught:
            page.get_by_role("button", name="Order list and budget").click()  # 2
        caught.value.save_as(tmp_path / "orders.xlsx")
        name, said_order = caught.value.suggested_filename, page.locator("h1").first.inner_text()
        browser.close()
    sheet = openpyxl.load_workbook(tmp_path / "orders.xlsx")["Orders"]
    assert name == "string-orders-2026-03-28.xlsx"
    assert sheet["D4"].data_type == "n" and str(sheet["B4"].value) in said_order
