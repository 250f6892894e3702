"""Pictures of every page, to be looked at: `python -m tests.dashboard.screenshots OUT`.

In: a folder to write to; `--address` of a running dashboard, else stores are made from sample_data and served. Out:
one PNG for each page, size (desktop, phone), theme (light, dark) and state (full, empty, with mistakes, a store that
cannot be read). `--readme` takes only the picture that the README shows. Nothing is asserted here.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from pipeline.fleet.track_record import keep, work_out
from pipeline.store import Store
from tests.dashboard.browser import launch_chromium, settle
from tests.dashboard.sample_store import SUNDAY_EVENING, load_mistakes, make_sample_store
from tests.dashboard.server import ROOT, running_dashboard

SIZES = {"desktop": (1440, 900), "phone": (390, 844)}
TODAY = SUNDAY_EVENING.date().isoformat()
LATER = "2026-11-27"
README_PICTURE = ROOT / "dashboard" / "picture" / "this-week.png"
README_SIZE = (1320, 900)
FULL = {
    "this-week": "",
    "this-week-past": "?show=Past+their+life",
    "racket": "racket",
    "racket-in-play": "racket?racket=R034",
    "inspect": "inspect",
    "bench": "bench",
    "workload": "workload",
    "write-down": "write-down?what=match",
    "write-down-squad": "write-down?what=squad-practice",
    "write-down-restring": "write-down?what=restring",
    "write-down-sheet": "write-down?what=inspection-sheet",
    "write-down-right": "write-down?what=put-right",
    "reels": "reels",
    "what-if": "what-if",
    "records": "records",
    "track-record": "track-record",
}
WORKED_OUT = {"track-record-worked-out": "track-record"}
PATHS = ("", "racket", "inspect", "bench", "workload", "write-down", "reels", "what-if", "records", "track-record")
EMPTY = {f"empty-{path or 'this-week'}": path for path in PATHS}
# a store that cannot be read: every page says so in one sentence
BROKEN = {f"error-{path or 'this-week'}": path for path in PATHS}
MISTAKEN = {
    "mistakes-records": "records",
    "mistakes-racket": "racket?racket=Z999",
    "mistakes-inspect": "inspect?racket=Z999",
    "stale-this-week": "",
}


def take(browser: Browser, address: str, out: Path, pages: dict[str, str], only: list[str]) -> None:
    """Every page in every size and theme, whole."""
    for size, (width, height) in SIZES.items():
        for theme in ("light", "dark"):
            wanted = {f"{name}-{size}-{theme}": path for name, path in pages.items()}
            wanted = {name: path for name, path in wanted.items() if not only or any(part in name for part in only)}
            if not wanted:
                continue
            page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme).new_page()
            for name, path in wanted.items():
                page.goto(f"{address}/{path}")
                settle(page)
                whole_page(page, out / f"{name}.png", width, height)
            page.context.close()


def whole_page(page: Page, path: Path, width: int, height: int) -> None:
    """Streamlit scrolls inside itself, so the window is made as tall as the page before the picture is taken."""
    tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": width, "height": max(height, int(tall))})
    settle(page)
    page.screenshot(path=str(path))
    page.set_viewport_size({"width": width, "height": height})


def take_readme_picture(browser: Browser, address: str) -> None:
    """The page This week, in few colours so that the file stays small."""
    width, height = README_SIZE
    page = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light").new_page()
    page.goto(address)
    settle(page)
    README_PICTURE.parent.mkdir(exist_ok=True)
    whole_page(page, README_PICTURE, width, height)
    page.context.close()
    with Image.open(README_PICTURE) as picture:
        picture.convert("RGB").quantize(256, dither=Image.Dither.NONE).save(README_PICTURE, optimize=True)


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--address", help="of a running dashboard; else the sample is loaded and served")
    parser.add_argument(
        "--only", nargs="*", default=[], help="parts of the names to take, such as racket or phone-dark"
    )
    parser.add_argument("--racket", help="the racket to show; else the most urgent")
    parser.add_argument("--readme", action="store_true", help="take only the README's picture")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    full = FULL | ({"racket": f"racket?racket={asked.racket}"} if asked.racket else {})
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as scratch:
        browser = launch_chromium(playwright)
        if asked.address:
            take(browser, asked.address, asked.out, full, asked.only)
            return
        folder = Path(scratch)
        sample = make_sample_store(folder / "sample")
        with running_dashboard(sample.folder, TODAY) as address:
            if asked.readme:
                take_readme_picture(browser, address)
                return
            take(browser, address, asked.out, full, asked.only)
        worked_out = Store(shutil.copytree(sample.folder, folder / "worked-out"))
        keep(worked_out, work_out(worked_out, now=SUNDAY_EVENING))
        with running_dashboard(worked_out.folder, TODAY) as address:
            take(browser, address, asked.out, WORKED_OUT, asked.only)
        with running_dashboard(folder / "nothing", TODAY) as address:
            take(browser, address, asked.out, EMPTY, asked.only)
        mistakes = Store(shutil.copytree(sample.folder, folder / "mistakes"))
        load_mistakes(mistakes, folder)
        with running_dashboard(mistakes.folder, LATER) as address:
            take(browser, address, asked.out, MISTAKEN, asked.only)
        broken = Store(shutil.copytree(sample.folder, folder / "broken"))
        (broken.folder / "view.current").write_text("nonsense", encoding="utf-8")
        with running_dashboard(broken.folder, TODAY) as address:
            take(browser, address, asked.out, BROKEN, asked.only)


if __name__ == "__main__":
    main()
