"""Signing in with OpenID Connect, in a real browser against a real provider process."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from pipeline.access import log_in
from pipeline.store import Store
from tests.access.processes import free_port, provider, serving
from tests.dashboard.browser import CHROMIUM, launch_chromium

needs_browser = pytest.mark.skipif(
    not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"), reason="Chromium is not installed"
)
pytestmark = [needs_browser, pytest.mark.browser, pytest.mark.slow]

PATIENCE_MS = 90_000  # a busy machine starts a session slowly
KIM = {"sub": "kim", "email": "kim@club.example", "email_verified": True}
UNPROVEN = {"sub": "unproven", "email": "kim@club.example", "email_verified": False}
BY_NUMBER = {"sub": "number-7", "email": "pat@club.example"}
ROLES = '[roles]\n"Kim@Club.example" = "stringer"\n"sub:number-7" = "reader"\n'


@pytest.fixture
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = launch_chromium(playwright)
        yield found
        found.close()


def _list(folder: Path, roles: str) -> None:
    path = folder / "club.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[roles]")] + roles, encoding="utf-8")


def _sign_in(page: Page, base: str, who: str) -> None:
    page.set_default_timeout(PATIENCE_MS)
    page.goto(base)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name=who, exact=True).click()


def test_who_is_listed_comes_in_and_is_out_when_struck(small: Store, browser: Browser) -> None:
    _list(small.folder, ROLES)
    port = free_port()
    with provider(*(json.dumps(claims) for claims in (KIM, UNPROVEN, BY_NUMBER))) as issuer:
        log_in.set_up(small.folder, issuer, "club-1", "not-a-secret", f"http://localhost:{port}")
        with serving(small.folder, "localhost", port, "--listen", "127.0.0.1") as base:
            page = browser.new_context().new_page()
            page.set_default_timeout(PATIENCE_MS)
            page.goto(base)
            expect(page.get_by_role("heading", level=1)).to_have_text("Sign in", timeout=PATIENCE_MS)
            assert "R1" not in page.content()

            _sign_in(page, base, "kim")
            expect(page.get_by_text("Signed in as Kim@Club.example, stringer.")).to_be_visible(timeout=PATIENCE_MS)
            expect(page.get_by_role("heading", level=1)).not_to_have_text("Sign in", timeout=PATIENCE_MS)
            page.reload()  # the cookie outlasts the session
            expect(page.get_by_text("Signed in as Kim@Club.example, stringer.")).to_be_visible(timeout=PATIENCE_MS)

            _list(small.folder, '[roles]\n"sub:number-7" = "reader"\n')  # struck while signed in
            page.reload()
            expect(page.get_by_text("is not on the club's list")).to_be_visible(timeout=PATIENCE_MS)
            page.get_by_role("button", name="Sign out").click()
            page.wait_for_url(re.compile("end_session|localhost"))

            _list(small.folder, ROLES)
            other = browser.new_context().new_page()
            _sign_in(other, base, "unproven")  # the same address, which the provider has not verified
            expect(other.get_by_text("is not on the club's list")).to_be_visible(timeout=PATIENCE_MS)
            expect(other.get_by_text("sub:unproven")).to_be_visible(timeout=PATIENCE_MS)

            third = browser.new_context().new_page()
            _sign_in(third, base, "number-7")
            expect(third.get_by_text("Signed in as sub:number-7, reader.")).to_be_visible(timeout=PATIENCE_MS)
