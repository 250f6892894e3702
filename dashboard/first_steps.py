"""The first steps, shown on every page while nothing is loaded: what is needed for what, templates, the sample.

In: nothing but the contract. Out: the way to a first ranking; the upload box works here as on Records.
"""

from __future__ import annotations

import streamlit as st

from dashboard.upload import show_templates, show_upload
from pipeline.fleet import frames


def show_first_steps() -> None:
    """A path, not an empty chart."""
    st.title("Load four files and see which rackets to restring first", anchor=False)
    st.caption("Nothing is loaded yet. Three steps, in this order.")
    st.header("1. Fill in the templates", anchor=False)
    show_needs()
    with st.expander("Templates"):
        show_templates()
    st.header("2. Load your files", anchor=False)
    show_upload()
    st.caption("Few rackets? Type them in on the page Write down: string, player, racket, then its last restring.")
    st.header("3. Read the ranking", anchor=False)
    st.markdown("Once the four files are in, the page This week opens with the rackets to hand in, soonest first.")
    st.caption("Only want to look around? This command shows the whole dashboard on an invented academy:")
    st.code("racket-fleet demo", language=None)


def show_needs() -> None:
    """Which files give which answers."""
    st.table(frames.needs(), border="horizontal", hide_index=True)
