"""Inspect: grade the four signs of a string bed at court side, save, and see what the look changed. For the coach.

In: the racket named in the address, as on its label (/inspect?racket=R12), or chosen here. Out: the page; a row of
inspections.csv, and the dates before and after it.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import data, screen
from dashboard.entry import Refused, take_back
from dashboard.grade_sheet import show_grade_sheet
from dashboard.looking import CHANGED, OPEN, REFUSED, forget, save
from dashboard.which_racket import which_racket
from pipeline.fleet import words

PAGE, RACKET_PAGE = "screens/inspect.py", "screens/racket.py"


def show() -> None:
    """The whole page."""
    names = data.racket_names_to_inspect()
    if not names:
        st.title("There is no racket on file", anchor=False)
        st.markdown("Load rackets.csv and restrings.csv on the page Records, or write a racket down.")
        return
    asked = st.query_params.get("racket")
    changed = st.session_state.get(CHANGED)
    if changed is not None and changed["racket"] == (asked or changed["racket"]):
        show_changed(changed, names)
        return
    head = st.container()
    chosen = which_racket(
        names, head, "Check the number on the label, or choose the racket here. Nothing is graded until you do."
    )
    if chosen is None:
        return
    page = data.inspect(chosen)
    if page is None:
        st.error(f"{words.plain(chosen)} is no longer on file. Choose another racket.")
        return
    with head:
        st.title(page.title, anchor=False)
        st.caption(page.byline)
    if not page.can_be_looked_at:
        st.info("Nothing is known of its strings. Write down its last restring first.")
        return
    if page.reason:
        st.markdown(words.plain(page.reason))
    st.caption(page.last_look)
    show_refusal(chosen)
    show_grade_sheet(
        page.signs,
        page.material,
        screen.colours(),
        token=f"{chosen} {data.view_version()} {screen.theme()}",
        kept=st.session_state.get(OPEN, {}).get(chosen, {}),
        on_saved=save,
    )


def show_refusal(racket_id: str) -> None:
    """What is to be mended, column by column."""
    refused = st.session_state.get(REFUSED)
    if refused is None or refused[0] != racket_id:
        return
    st.error(words.plain(refused[1].sentence), icon=":material/error:")
    for message in refused[1].at_field.values():
        st.markdown(words.plain(message))


def show_changed(changed: dict[str, Any], names: dict[str, str]) -> None:
    """The new standing beside the old one, and where to go from here."""
    racket_id, change = changed["racket"], changed["change"]
    st.title(change.title, anchor=False)
    st.table(change.table, border="horizontal", hide_index=True)
    st.caption("A look counts for this bed from now on, the less the longer it is played on.")
    following = next((name for name in names if name != racket_id), None)
    if following is not None and st.button(
        f"Next: {words.plain(names[following])}",
        type=screen.main_button(),
        width="stretch",
        icon=":material/arrow_forward:",
    ):
        forget()
        st.switch_page(PAGE, query_params={"racket": following})
    if st.button(f"Open {words.plain(racket_id)}", width="stretch", icon=":material/query_stats:"):
        forget()
        st.switch_page(RACKET_PAGE, query_params={"racket": racket_id})
    if st.button("Take this look back", width="stretch", icon=":material/undo:"):
        told = take_back(changed["entry_id"])
        if isinstance(told, Refused):
            st.error(words.plain(told.sentence))
            return
        forget()
        st.rerun()


show()
