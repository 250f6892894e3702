"""Phones in the club's network: a passcode lets one in, it stays in after a reload, and is out when taken back."""

from __future__ import annotations

import http.client
import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

from pipeline.access.listening import base_address, lan_address
from pipeline.access.passcodes import make_passcode, revoke_passcodes
from pipeline.store import Store, StoreError
from tests.access.processes import free_port, serving
from tests.dashboard.browser import CHROMIUM, launch_chromium

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(
        not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"), reason="Chromium is not installed"
    ),
]
PATIENCE_MS = 90_000  # a busy machine starts a session slowly


@pytest.fixture
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = launch_chromium(playwright)
        yield found
        found.close()


def test_a_passcode_lets_a_phone_in_until_it_is_taken_back(small: Store, browser: Browser) -> None:
    try:
        host = lan_address()
    except StoreError as error:
        pytest.skip(f"no network of one's own here: {error}")
    port = free_port(host)
    code = make_passcode(small.folder, "stringer", "Kim <b>")
    with serving(small.folder, host, port, "--lan") as base:
        assert base_address(small.folder) == base
        phone = browser.new_context()
        page = phone.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{base}/racket")
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in", timeout=PATIENCE_MS)
        assert "R1" not in page.inner_text("body")

        field = page.get_by_label("Passcode", exact=True)
        field.fill("zz-zzzz-zzzz")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_text("this passcode is not known here")).to_be_visible(timeout=PATIENCE_MS)
        field.fill(code.upper())
        page.get_by_role("button", name="Sign in").click()
        signed_in = page.get_by_text("Signed in as Kim <b>, stringer.")
        expect(signed_in).to_be_visible(timeout=PATIENCE_MS)
        page.wait_for_timeout(500)
        page.reload()
        expect(signed_in).to_be_visible(timeout=PATIENCE_MS)

        stranger = browser.new_context().new_page()
        stranger.set_default_timeout(PATIENCE_MS)
        stranger.goto(base)
        expect(stranger.get_by_role("heading", level=1)).to_have_text("Sign in", timeout=PATIENCE_MS)

        revoke_passcodes(small.folder, "stringer")
        page.reload()
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in", timeout=PATIENCE_MS)

        # a foreign page that points its own name at this address gets no connection
        asked = http.client.HTTPConnection(host, port, timeout=10)
        asked.request(
            "GET", "/_stcore/stream",
            headers={
                "Host": "evil.example", "Origin": "http://evil.example", "Connection": "Upgrade",
                "Upgrade": "websocket", "Sec-WebSocket-Version": "13", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
            },
        )  # fmt: skip
        assert asked.getresponse().status == 403
        asked.close()
