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


LOOK_EVERY_MS, CALM_LOOKS, MOST_LOOKS = 100, 7, 300


def settle(page: Page) -> None:
    """Wait until the page has a title and Streamlit has stopped running for good: one run may ask for another."""
    page.locator("h1").first.wait_for()
    calm = 0
    for _ in range(MOST_LOOKS):
        calm = calm + 1 if page.locator("[data-testid=stApp][data-test-script-state=notRunning]").count() else 0
        if calm == CALM_LOOKS:
            return
        page.wait_for_timeout(LOOK_EVERY_MS)
    raise TimeoutError("The page did not come to rest.")
