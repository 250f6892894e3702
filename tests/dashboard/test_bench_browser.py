"""The bench in a real browser: a ticket's whole way, the metres it takes from stock, and how many actions it needs."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from pipeline.fleet.plans import plan_snapshot
from pipeline.fleet.reels.catalogue import catalogue
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.reels.stock import stock_now, string_uses
from pipeline.store import Store
from tests.dashboard.browser import CHROMIUM, launch_chromium, settle
from tests.dashboard.server import running_dashboard

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"),
        reason=f"{CHROMIUM} is not installed: install the package chromium to run the browser tests",
    ),
]
TODAY, PATIENCE_MS = "2026-11-15", 60_000
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = launch_chromium(playwright)
        yield chromium
        chromium.close()


def tap(page: Page, key: str) -> None:
    """One action: press the button of that key, and wait until the page rests."""
    page.locator(f".st-key-{key.replace(' ', '-')} button").click()
    settle(page)


def metres_in_stock(store: Store, string_id: str) -> tuple[float, float]:
    """Metres of a string on the shelf now, and what goes off it for each metre strung, as this club's counts say."""
    with plan_snapshot(store) as s:
        known = catalogue(s.con)
        metres = racket_metres(s.con, s.as_of)
        uses = string_uses(s.con, metres)
        found = stock_now(s.con, s.as_of, known, uses, dict.fromkeys(known.kinds, 11.5)).set_index("string_id")
        row = found.loc[string_id]
    return float(row["stock_m"]), float(row["loss"])


def test_a_ticket_goes_from_due_to_strung_and_the_stock_follows(
    browser: Browser, academy: Store, tmp_path: Path
) -> None:
    before, loss = metres_in_stock(academy, "S04")
    jobs = academy.records("jobs").set_index("job_id")
    assert jobs.loc["J01057", "state"] == "due"
    with running_dashboard(academy.folder, TODAY) as address:
        page = browser.new_context(viewport=PHONE).new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{address}/bench")
        settle(page)
        for key, words in (
            ("book J01057", "R025 is booked."),
            ("bench J01057", "R025 is on the bench."),
            ("strung J01057", "R025 is strung: 11.8 m of Dravik Edge 125 from stock."),
        ):
            tap(page, key)
            expect(page.get_by_text(words)).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        # the stringer's morning: from the open page to the next ticket strung is one action (at most four are allowed)
        tap(page, "strung J01054")
        expect(page.get_by_text("R097 is strung")).to_be_visible()
        with page.expect_download() as download:
            page.get_by_role("button", name="Bench sheet").click()
        download.value.save_as(tmp_path / "sheet.pdf")
        assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    jobs = academy.records("jobs").set_index("job_id")
    assert jobs.loc[["J01057", "J01054"], "state"].tolist() == ["strung", "strung"]
    done = academy.records("restrings").set_index("restring_id").loc[jobs.loc["J01057", "restring_id"]]
    assert (done["racket_id"], done["mains_string_id"], done["mains_m"] + done["crosses_m"]) == ("R025", "S04", 11.8)
    after, _ = metres_in_stock(academy, "S04")
    assert before - after == pytest.approx(11.8 * loss, rel=0.02)
