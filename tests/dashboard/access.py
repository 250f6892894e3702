"""axe-core on every page, both sizes, both themes, full and empty: `python -m tests.dashboard.access [--only PART...]`.

In: the sample academy and an empty club, served. Out, printed: each finding with its weight and how many pages have it,
and the pages that scroll sideways. Serious and critical findings are listed element by element.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from tests.dashboard.browser import launch_chromium, settle
from tests.dashboard.sample_store import make_sample_store
from tests.dashboard.screenshots import EMPTY, FULL, SIZES, TODAY
from tests.dashboard.server import running_dashboard

HEAVY = ("serious", "critical")


def look(browser: Browser, address: str, pages: dict[str, str], only: list[str]) -> None:
    """Every page in every size and theme."""
    for size, (width, height) in SIZES.items():
        for theme in ("light", "dark"):
            wanted = {f"{name}-{size}-{theme}": path for name, path in pages.items()}
            wanted = {name: path for name, path in wanted.items() if not only or any(part in name for part in only)}
            page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme).new_page()
            found: Counter[str] = Counter()
            for name, path in wanted.items():
                page.goto(f"{address}/{path}")
                settle(page)
                wide = page.evaluate("document.documentElement.scrollWidth")
                if wide > width:
                    print(f"{name}: {wide} pixels wide")
                for finding in Axe().run(page).response["violations"]:
                    found[f"{finding['id']} ({finding['impact']})"] += 1
                    if finding["impact"] in HEAVY:
                        for node in finding["nodes"]:
                            print(f"{name}: {finding['id']}: {node['html'][:160]}")
            page.context.close()
            told = ", ".join(f"{name} on {number}" for name, number in sorted(found.items())) or "nothing"
            if wanted:
                print(f"{size} {theme}, {len(wanted)} pages: {told}", flush=True)


def main() -> None:
    """Look, and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", nargs="*", default=[], help="parts of the names, such as racket or phone-dark")
    asked = parser.parse_args()
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as scratch:
        browser = launch_chromium(playwright)
        sample = make_sample_store(Path(scratch) / "sample")
        with running_dashboard(sample.folder, TODAY) as address:
            look(browser, address, FULL, asked.only)
        with running_dashboard(Path(scratch) / "nothing", TODAY) as address:
            look(browser, address, EMPTY, asked.only)


if __name__ == "__main__":
    main()
