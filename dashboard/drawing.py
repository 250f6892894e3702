"""Figures drawn once: the same page seen again shows the same figure, whatever else the reader changed on it.

In: a name, what the figure depends on beside the view, the theme and the width, and the function that draws it. Out: a
Plotly figure, kept by all of these; a new view, another theme or filter is another figure. Nothing may change it after.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

import plotly.graph_objects as go
import streamlit as st

from dashboard import data, screen


def drawn(name: str, draw: Callable[[], go.Figure], *depends_on: Hashable) -> go.Figure:
    """The figure of that name, drawn anew only where something it depends on has changed."""
    key = (str(data.store_folder().resolve()), data.view_version(), data.locale(), screen.theme(), screen.is_narrow())
    return _kept(name, key, depends_on, draw)


@st.cache_resource(max_entries=48, show_spinner=False)
def _kept(
    name: str, key: tuple[Hashable, ...], depends_on: tuple[Hashable, ...], _draw: Callable[[], go.Figure]
) -> go.Figure:
    return _draw()
