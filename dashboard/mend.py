"""Mending rejected rows on the screen: change the cells, save, and they are loaded as the file's own.

In: the rows that were turned away. Out: rows through the store's one way in; those that still break the contract stay
on the list with their sentence.
"""

from __future__ import annotations

import streamlit as st

from dashboard import data, screen
from dashboard.entry import Refused, enter
from pipeline.fleet import words
from pipeline.fleet.frames import mending

TOLD = "mended"


def show_mend() -> None:
    """Choose a file, change what is wrong, save the rows that were changed."""
    told = st.session_state.pop(TOLD, None)
    if told:
        st.success(words.plain(told), icon=":material/check:")
    waiting = data.resources_to_mend()
    if not waiting:
        return
    with st.expander("Mend them here"):
        resource = st.selectbox("Which file", list(waiting), format_func=waiting.__getitem__)
        column = st.column_config.TextColumn("What to mend", width=360, pinned=not screen.is_narrow())
        before = data.rows_to_mend(resource)
        after = st.data_editor(
            before,
            key=f"mend {resource} {data.view_version()}",
            hide_index=True,
            row_height=screen.TWO_LINES,
            disabled=[mending.SAID],
            column_config={mending.SAID: column},
            placeholder="",
            alt="Rows that were turned away, with what to mend in each.",
        )
        rows = mending.mended_rows(before, after)
        st.caption("Only rows that you change are saved. All of them are kept, or none.")
        if st.button(f"Save {words.count(len(rows), 'mended row')}", disabled=not rows, icon=":material/check:"):
            done = enter({resource: rows}, f"{words.count(len(rows), 'row')} mended.")
            if isinstance(done, Refused):
                st.error(words.plain(done.sentence), icon=":material/error:")
                for message in done.at_field.values():
                    st.markdown(words.plain(message))
            else:
                st.session_state[TOLD] = done.sentence
                st.rerun()
