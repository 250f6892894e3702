"""The button that works the track record out, with its progress; what comes of it is kept in the store's folder.

In: the label. Out: a kept track record and a fresh page, or a sentence that says why not.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import streamlit as st

from dashboard import data
from dashboard.telling import show_error
from pipeline.fleet import words
from pipeline.fleet.track_record import keep, work_out
from pipeline.store import StoreError


def show_button(label: str) -> None:
    """The button; nothing is worked out before it is pressed."""
    if not st.button(label, icon=":material/history:"):
        return
    bar = st.progress(0.0, text="Reading the records")

    def show(done: int, steps: int, origin: date) -> None:
        bar.progress(done / steps, text=f"Looking back to {words.day_with_year(origin)} ({done} of {steps} done)")

    store = data.open_store()
    try:
        keep(store, work_out(store, now=datetime.now(UTC), progress=show))
    except StoreError as error:
        bar.empty()
        show_error(error)
        return
    st.rerun()
