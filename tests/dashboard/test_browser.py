"""The dashboard in a real browser: open, filter a squad, open a racket, upload a bad file, read its reject.

Uses the system's Chromium. Where there is none the tests are skipped, unless RACKET_FLEET_NO_SKIP is set: then they
fail.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

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
PAGES = (
    "", "racket", "inspect", "bench", "workload", "write-down?what=match", "write-down?what=inspection-sheet", "reels",
    "what-if", "records", "track-record",
)  # fmt: skip


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
        page.locator("input[type=file]").first.set_input_files(str(bad))
        page.get_by_text("restrings.csv").first.wait_for()
        page.get_by_role("button", name="Load these files").click()
        expect(page.get_by_text("1 row turned away, listed below with what to mend")).to_be_visible(timeout=60_000)
        settle(page)
        read = cells(page, table=1)
        assert "NO-SUCH-RACKET" in read
        assert any("rackets.csv" in text for text in read)
        page.context.close()


@pytest.mark.parametrize(("size", "theme"), [(DESKTOP, "light"), (PHONE, "dark")], ids=["desktop-light", "phone-dark"])
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


class Counted:
    """A page and how often somebody did something on it: opened, clicked, typed, tapped."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.actions = 0

    def open(self, address: str) -> None:
        self.actions += 1
        self.page.goto(address)
        settle(self.page)

    def click(self, place: Locator, position: tuple[int, int] | None = None) -> None:
        self.actions += 1
        place.click(position=None if position is None else {"x": position[0], "y": position[1]})


def test_coach_books_three_rackets_and_prints_the_list_in_eight_actions(
    browser: Browser, academy: Store, tmp_path: Path
) -> None:
    with running_dashboard(academy.folder, AS_OF.isoformat()) as address:
        page = browser.new_context(viewport=DESKTOP).new_page()
        coach = Counted(page)
        coach.open(address)
        first = list(answer(academy.folder, None).table["racket_id"])[:3]
        grid = page.locator("[data-testid=stDataFrame] .dvn-scroller").first
        grid.scroll_into_view_if_needed()
        for line in range(3):
            coach.click(grid, (18, 70 + 66 * line))
            settle(page)
        coach.click(page.get_by_role("button", name="Book 3 rackets on the bench"))
        expect(page.get_by_text("3 rackets are booked on the bench")).to_be_visible(timeout=60_000)
        settle(page)
        with page.expect_download() as download:
            coach.click(page.get_by_role("button", name="Print the hand-in list"))
        download.value.save_as(tmp_path / "list.pdf")
        page.context.close()
    paper = pypdfium2.PdfDocument(tmp_path / "list.pdf")
    text = paper[0].get_textpage().get_text_bounded()
    paper.close()
    booked = academy.records("jobs").sort_values("loaded_at").tail(3)
    assert set(booked["racket_id"]) == set(first)
    assert all(racket in text for racket in first)
    assert coach.actions <= 8


def test_a_look_from_the_label_to_saved_on_a_phone_in_six_actions(browser: Browser, academy: Store) -> None:
    racket = str(answer(academy.folder, None).table["racket_id"].iloc[0])
    count = len(academy.records("inspections"))
    with running_dashboard(academy.folder, AS_OF.isoformat()) as address:
        page = browser.new_context(viewport=PHONE, has_touch=True).new_page()
        coach = Counted(page)
        coach.open(f"{address}/inspect?racket={racket}")
        assert heading(page).startswith(f"{racket} is ") and heading(page).endswith("What does it show?")
        coach.click(page.get_by_role("group", name="Notching").get_by_role("radio", name="clear"))
        coach.click(page.get_by_role("group", name="Lost feel").get_by_role("radio", name="slight"))
        save = page.get_by_role("button", name="Save the look")
        box = save.bounding_box()
        assert box is not None and box["height"] >= 44 and box["y"] + box["height"] <= PHONE["height"]
        coach.click(save)
        expect(page.get_by_text(f"Saved: {racket}")).to_be_visible(timeout=60_000)
        settle(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        page.context.close()
    looks = academy.records("inspections")
    assert len(looks) == count + 1
    newest = looks.sort_values("loaded_at").iloc[-1]
    assert (newest["racket_id"], newest["notching"], newest["lost_feel"]) == (racket, 2, 1)
    assert pd.isna(newest["fraying"])
    assert coach.actions <= 6


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
    page.get_by_role("button", name=first, exact=True).click()
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
