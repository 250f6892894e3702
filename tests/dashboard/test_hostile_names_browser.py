"""Names made of script, HTML, Markdown and formulas, on every page in a real browser: text, and nothing runs.

A marker on the window tells whether anything ran; elements that only the names could have made are looked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from pipeline.refresh import refresh
from pipeline.store import Store
from tests.dashboard.browser import launch_chromium, settle
from tests.dashboard.server import running_dashboard
from tests.dashboard.test_browser import PAGES
from tests.dashboard.test_browser import pytestmark as pytestmark
from tests.small_club import FILES, NOW, write_club

SCRIPT = "<script>window.ran=1</script>"
IMAGE = "<img src=x class=injected onerror=window.ran=1>"
LINK = "[press](javascript:window.ran=1)"
MARKS = "&lt;u&gt; **bold** $x^2$ :red[hot] <u class=injected>u</u>"
HOSTILE = {
    "players": "player_id,player_name,squad,level,spin\n"
    f"P1,{IMAGE} {LINK},{SCRIPT},regional,heavy\nP2,{MARKS},{MARKS},club,flat\n",
    "rackets": FILES["rackets"].replace("Frame A", f"{SCRIPT} {IMAGE}").replace("Frame B", MARKS),
    "strings": FILES["strings"].replace("Poly", f"{IMAGE} {LINK}").replace("Multi", f"{SCRIPT} {MARKS}"),
    "inspections": f"inspection_id,inspected_on,racket_id,notching,note\nI1,2026-05-20,R1,2,{SCRIPT} {IMAGE} {LINK}\n",
    "calendar": f"planned_on,squad,activity,event,minutes\n2026-06-04,{SCRIPT},singles,{IMAGE} {LINK},120\n",
}


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder: Path = tmp_path_factory.mktemp("hostile")
    store = Store(folder / "store")
    assert store.load(write_club(folder / "club", HOSTILE), now=NOW).total("rejected") == 0
    refresh(store, now=NOW)
    with running_dashboard(store.folder, NOW.date().isoformat()) as address:
        yield address


def test_no_name_runs_or_becomes_an_element_on_any_page(hostile: str) -> None:
    dialogs: list[str] = []
    with sync_playwright() as playwright:
        browser = launch_chromium(playwright)
        page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
        page.set_default_timeout(20_000)
        page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
        seen = ""
        for place in (*PAGES, "racket?racket=R1", "inspect?racket=R1"):
            page.goto(f"{hostile}/{place}")
            settle(page)
            assert page.evaluate("window.ran") is None, place
            assert page.locator(".injected, a[href^='javascript:'], .katex").count() == 0, place
            seen += page.locator("body").inner_text()
        browser.close()
    assert dialogs == []
    for text in (IMAGE, LINK, SCRIPT):
        assert text in seen, text
