"""An error of the store as a reader sees it: one sentence, commands set apart, everything else as it was written.

In: a `StoreError`, whose text may name commands between backticks and hold paths and values from files. Out: a box.
"""

from __future__ import annotations

import streamlit as st

from pipeline.fleet import words
from pipeline.store import StoreError


def as_markdown(text: str) -> str:
    """What stands between two backticks as code, the rest with every mark escaped."""
    parts = text.split("`")
    if len(parts) % 2 == 0:  # a backtick without its fellow is no mark
        return words.plain(text)
    return "".join(f"`{part}`" if place % 2 and part else words.plain(part) for place, part in enumerate(parts))


def show_error(error: StoreError, icon: str = "error") -> None:
    """The box."""
    st.error(as_markdown(words.sentence(str(error))), icon=f":material/{icon}:")
