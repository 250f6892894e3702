"""A real browser for the tests: the system's Chromium, with nothing fetched from outside.

In: Playwright. Out: a launched Chromium, and a wait until the page has come to rest.
"""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser, Page, Playwright

CHROMIUM = Path("/usr/bin/chromium")


def launch_chromium(playwright: Playwright) -> Browser:
    """Headless, without its sandbox (containers run as root) and without background traffic."""
    return playwright.chromium.launch(
        executable_path=str(CHROMIUM),
        args=["--no-sandbox", "--disable-background-networking", "--disable-dev-shm-usage"],
    )


def settle(page: Page) -> None:
    """Wait until Streamlit says it has stopped running and the page has a title."""
    page.locator("[data-testid=stApp]").wait_for()
    page.locator("h1").first.wait_for()
    page.wait_for_timeout(250)
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    page.wait_for_timeout(500)
