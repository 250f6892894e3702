"""What is known of the reader's screen: narrow or wide, light or dark.

In: the browser's own words (its width, told by a few lines of script that send one yes or no; the "Mobi" in its name
until then; the theme in use). Out: `is_narrow()` and `colours()`. Nothing is fetched and nothing is kept.
"""

from __future__ import annotations

from typing import Literal

import streamlit as st

from dashboard.palette import Palette, palette
from pipeline.fleet import words

NARROW_PIXELS = 640  # below this Streamlit stacks columns; charts and lists follow suit
ONE_LINE, TWO_LINES, FOUR_LINES = 35, 66, 88  # pixels of a table row; above 64 Streamlit wraps the text of a cell
_HEAD = 38
_KEY = "screen_width"

_WATCH_WIDTH = """
export default function(component) {
  const tell = () => component.setStateValue("is_narrow", window.innerWidth < LIMIT);
  const changed = () => { if (component.parentElement.isConnected !== false) tell(); };
  const query = window.matchMedia("(max-width: " + (LIMIT - 1) + "px)");
  tell();
  query.addEventListener("change", changed);
  return () => query.removeEventListener("change", changed);
}
""".replace("LIMIT", str(NARROW_PIXELS))


def watch_width() -> None:
    """Mount the few lines of script that tell whether the window is narrow; call once a run, below everything else."""
    component = st.components.v2.component("racket_fleet_screen_width", js=_WATCH_WIDTH)
    component(key=_KEY, height=1, on_is_narrow_change=_keep)


def _keep() -> None:
    st.session_state["is_narrow"] = st.session_state[_KEY].get("is_narrow")


def is_narrow() -> bool:
    """Whether to lay out for a phone."""
    told = st.session_state.get("is_narrow")
    if told is None:
        return "Mobi" in (st.context.headers.get("User-Agent") or "")
    return bool(told)


def colours() -> Palette:
    """The palette of the theme the reader sees."""
    return palette(theme())


def theme() -> str:
    """The theme the reader sees: light or dark."""
    return st.context.theme.type or "light"


def main_button() -> Literal["primary", "secondary"]:
    """The type of a page's main button: Streamlit writes white on the first colour, which dark cannot carry (AA)."""
    return "secondary" if theme() == "dark" else "primary"


def day_format() -> Literal["DD/MM/YYYY", "MM/DD/YYYY"]:
    """How a box for a day is written, in the order of the club's locale."""
    return "MM/DD/YYYY" if words.is_month_first() else "DD/MM/YYYY"


def table_height(count_rows: int, row_height: int, at_most: int) -> int:
    """Pixels for a table that shows every row up to `at_most`, and none cut in half."""
    return row_height * min(count_rows, at_most) + _HEAD
