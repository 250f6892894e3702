"""An error of the store on the page: commands as code, everything else as it was written."""

from __future__ import annotations

import pytest

from dashboard.telling import as_markdown


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("run `racket-fleet refresh` or load again.", "run `racket-fleet refresh` or load again."),
        ("a*b_c is damaged", r"a\*b\_c is damaged"),
        ("one ` alone", r"one \` alone"),
        ("`a` then *b*", r"`a` then \*b\*"),
    ],
)
def test_commands_stand_apart(text: str, shown: str) -> None:
    assert as_markdown(text) == shown
