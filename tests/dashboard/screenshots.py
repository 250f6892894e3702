"""Pictures of every page, desktop and phone, light and dark: `python -m tests.dashboard.screenshots OUT [--address URL]`.

In: a folder to write to; the address of a running dashboard, else one is started on a store made from sample_data. Out:
one PNG a page, size and theme. They are for a person to look at; nothing is asserted here.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.dashboard.browser import launch_chromium, settle

SIZES = {"desktop": (1440, 900), "phone": (390, 844)}


def pages(racket_id: str | None) -> dict[str, str]:
    """Name of the picture -> path in the address."""
    return {
        "this-week": "",
        "this-week-all": "?show=All+rackets",
        "racket": f"racket?racket={racket_id}" if racket_id else "racket",
        "workload": "workload",
        "records": "records",
    }


def take(browser: Browser, address: str, out: Path, only: list[str], racket_id: str | None) -> None:
    """Every page in every size and theme, whole."""
    for size, (width, height) in SIZES.items():
        for theme in ("light", "dark"):
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme)
            page = context.new_page()
            for name, path in pages(racket_id).items():
                title = f"{name}-{size}-{theme}"
                if only and not any(part in title for part in only):
                    continue
                page.goto(f"{address}/{path}")
                settle(page)
                whole_page(page, out / f"{title}.png", width, height)
            context.close()


def whole_page(page: Page, path: Path, width: int, height: int) -> None:
    """Streamlit scrolls inside itself, so the window is made as tall as the page before the picture is taken."""
    tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": width, "height": max(height, int(tall))})
    settle(page)
    page.screenshot(path=str(path))
    page.set_viewport_size({"width": width, "height": height})


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--address", help="of a running dashboard; else one is started on the sample")
    parser.add_argument("--only", nargs="*", default=[], help="parts of the names to take, such as racket or phone")
    parser.add_argument("--racket", help="the racket to show; else the most urgent")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = launch_chromium(playwright)
        take(browser, asked.address, asked.out, asked.only, asked.racket)
        browser.close()


if __name__ == "__main__":
    main()
