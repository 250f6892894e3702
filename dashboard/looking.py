"""A look that was saved on the page Inspect: written down through the store, and what it changed kept for the page.

In: what the grading sheet sends. Out: a row of inspections.csv; in the session what the look changed,
or why it was refused, with the values kept so that nothing has to be tapped again.
"""

from __future__ import annotations

import streamlit as st

from dashboard import data
from dashboard.entry import Refused, enter
from dashboard.grade_sheet import saved_values
from pipeline.fleet import frames
from pipeline.store import FreshId

CHANGED, REFUSED, OPEN = "what the look changed", "look refused", "look kept open"


def save() -> None:
    """Write the look down; runs before the page is drawn anew."""
    told = saved_values()
    if told is None:
        return
    token, values = told
    racket_id = token.rsplit(" ", 2)[0]
    forget()
    write_down(racket_id, values)


def write_down(racket_id: str, values: dict[str, str]) -> None:
    """One row of inspections.csv, and the standing before and after it for the page."""
    before = data.inspect(racket_id)
    if not values:
        st.session_state[REFUSED] = (racket_id, Refused("Nothing was graded: tap what you see, then save."))
        return
    row = {
        "inspection_id": FreshId("inspections", "I"),
        "inspected_on": data.now_text(),
        "racket_id": racket_id,
        **values,
    }
    done = enter({"inspections": [row]}, f"look at {racket_id}")
    if isinstance(done, Refused):
        st.session_state[REFUSED], st.session_state[OPEN] = (racket_id, done), {racket_id: values}
        return
    after = data.inspect(racket_id)
    if before is not None and after is not None:
        change = frames.look_changed(before.standing, after.standing)
        st.session_state[CHANGED] = {"racket": racket_id, "change": change, "entry_id": done.entry_id}


def forget() -> None:
    """Ready for the next racket."""
    for name in (CHANGED, REFUSED, OPEN):
        st.session_state.pop(name, None)
