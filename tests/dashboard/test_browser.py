"""The dashboard in a real browser: open, filter a squad, open a racket, upload a bad file, read its reject.

Uses the system's Chromium. Where there is none the tests are skipped, unless RACKET_FLEET_NO_SKIP is set: then they
fail.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from pipeline.fleet import frames
from pipeline.store import Store
from tests.dashboard.browser import CHROMIUM, launch_chromium, settle
from tests.dashboard.server import running_dashboard
from tests.dashboard.small_view import AS_OF

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"),
        reason=f"{CHROMIUM} is not installed: install the package chromium to run the browser tests",
    ),
]
DESKTOP, PHONE = {"width": 1440, "height": 900}, {"width": 390, "height": 844}
PAGES = ("", "racket", "workload", "records", "track-record")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = launch_chromium(playwright)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def address(academy_folder: Path) -> Iterator[str]:
    """A dashboard on the sample academy that these tests only read."""
    with running_dashboard(academy_folder, AS_OF.isoformat()) as where:
        yield where


def opened(browser: Browser, address: str, size: dict[str, int], theme: str = "light") -> Page:
    page = browser.new_context(viewport=size, color_scheme=theme).new_page()
    page.set_default_timeout(20_000)
    page.goto(address)
    settle(page)
    return page


def answer(folder: Path, squad: str | None) -> frames.ThisWeek:
    """What the pipeline says of this week, for comparison with the screen."""
    view = Store(folder).view()
    try:
        return frames.this_week(view, frames.Filters(squad=squad), AS_OF)
    finally:
        view.close()


def heading(page: Page) -> str:
    return page.locator("h1").first.inner_text().replace("\u00a0", " ")


def cells(page: Page, table: int = 0) -> list[str]:
    """The texts of a table's cells, as a screen reader finds them."""
    grid = page.locator("[data-testid=stDataFrame]").nth(table)
    grid.scroll_into_view_if_needed()
    grid.locator("canvas [role=gridcell]").first.wait_for(state="attached")
    return [text or "" for text in grid.locator("canvas [role=gridcell]").all_text_contents()]


def click_first_line(page: Page) -> None:
    """Click into the first line of the ranked list, right of the racket's number."""
    grid = page.locator("[data-testid=stDataFrame] .dvn-scroller").first
    grid.scroll_into_view_if_needed()
    grid.click(position={"x": 110, "y": 70})


def test_coach_filters_a_squad_opens_a_racket_and_reads_a_reject(
    browser: Browser, academy: Store, tmp_path: Path
) -> None:
    whole = answer(academy.folder, None)
    squads = whole.table["squad"].value_counts()
    squad = str(squads.index[0])
    expected = answer(academy.folder, squad)
    with running_dashboard(academy.folder, AS_OF.isoformat()) as address:
        page = opened(browser, address, DESKTOP)
        assert heading(page) == whole.title.replace("\u00a0", " ")

        page.get_by_label("Squad").click()
        page.get_by_role("option", name=squad, exact=True).click()
        settle(page)
        assert heading(page) == expected.title.replace("\u00a0", " ")
        assert f"squad={squad}".replace(" ", "+") in page.url
        first = str(expected.table["racket_id"].iloc[0])
        assert first in cells(page)

        click_first_line(page)
        page.wait_for_url(re.compile(rf"/racket\?.*racket={re.escape(first)}"))
        settle(page)
        assert heading(page).startswith(f"{first} ")

        page.get_by_role("link", name="Records").click()
        settle(page)
        bad = tmp_path / "restrings.csv"
        bad.write_text(
            "restring_id,racket_id,strung_on,reason\nBAD-1,NO-SUCH-RACKET,2026-11-10,broke\n", encoding="utf-8"
        )
        page.locator("input[type=file]").set_input_files(str(bad))
        page.get_by_text("restrings.csv").first.wait_for()
        page.get_by_role("button", name="Load these files").click()
        expect(page.get_by_text("1 row turned away, listed below with what to mend")).to_be_visible(timeout=60_000)
        settle(page)
        read = cells(page, table=1)
        assert "NO-SUCH-RACKET" in read
        assert any("rackets.csv" in text for text in read)
        page.context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_every_page_fits_can_be_read_and_asks_nothing_of_other_machines(
    browser: Browser, address: str, size: dict[str, int], theme: str
) -> None:
    complaints: list[str] = []
    asked: list[str] = []
    page = browser.new_context(viewport=size, color_scheme=theme).new_page()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    for path in PAGES:
        page.goto(f"{address}/{path}")
        settle(page)
        assert page.locator("[data-testid=stException]").count() == 0, path
        width = page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth")
        assert width <= size["width"], (path, width)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], path
        found = Axe().run(page).response["violations"]
        assert [f"{v['id']}: {v['nodes'][0]['html']}" for v in found if v["impact"] in ("serious", "critical")] == [], (
            path
        )
    assert complaints == []
    assert asked
    elsewhere = [url for url in asked if not url.startswith((address, address.replace("http", "ws"), "data:", "blob:"))]
    assert elsewhere == []
    page.context.close()


def test_both_themes_come_from_the_configuration(browser: Browser, address: str) -> None:
    grounds = []
    for theme in ("light", "dark"):
        page = opened(browser, address, DESKTOP, theme)
        grounds.append(page.evaluate("getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor"))
        assert "Source Serif" in page.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily")
        page.context.close()
    assert grounds == ["rgb(251, 250, 246)", "rgb(23, 27, 28)"]


def test_phone_opens_a_racket_with_a_thumb(browser: Browser, address: str, academy_folder: Path) -> None:
    page = opened(browser, address, PHONE)
    first = str(answer(academy_folder, None).table["racket_id"].iloc[0])
    page.get_by_role("button", name=first).click()
    page.wait_for_url(re.compile(rf"racket={re.escape(first)}"))
    settle(page)
    assert heading(page).startswith(f"{first} ")
    page.context.close()


def test_going_back_keeps_the_filter_and_does_not_jump_to_the_racket(
    browser: Browser, address: str, academy_folder: Path
) -> None:
    squad = str(answer(academy_folder, None).table["squad"].value_counts().index[0])
    page = opened(browser, f"{address}/?squad={squad.replace(' ', '+')}", DESKTOP)
    click_first_line(page)
    page.wait_for_url(re.compile("racket="))
    settle(page)
    page.go_back()
    settle(page)
    assert heading(page) == answer(academy_folder, squad).title.replace("\u00a0", " ")
    page.context.close()
