"""Putting right what was written down: entries to take back, rows to correct, and what a row held before.

In: the store's entries, the newest rows of a file. Out: a correction through the store's one way in (the old row stays
in the history), or an entry taken back.
"""

from __future__ import annotations

import streamlit as st

from dashboard import data, screen
from dashboard.entry import Refused, enter, take_back
from dashboard.forms import key_of, show_form, start_anew
from pipeline.fleet import words
from pipeline.fleet.frames import forms, writing

TOLD = "put right"


def show_put_right() -> None:
    """Take back an entry, or correct a row of any file."""
    told = st.session_state.get(TOLD)
    if isinstance(told, Refused):
        st.error(words.plain(told.sentence), icon=":material/error:")
    elif told:
        st.success(words.plain(told), icon=":material/check:")
    show_entries()
    show_correction()


def show_entries() -> None:
    """Entries by hand, newest first, each with its way back."""
    st.header("Take an entry back", anchor=False)
    entries = writing.entries_table(data.entries(), data.time_zone())
    if entries.empty:
        st.caption("Nothing has been written down by hand yet.")
        return
    for row in entries.head(12).to_dict("records"):
        with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
            st.markdown(words.plain(row["words"]))
            if row["is_undone"]:
                st.caption("taken back")
            elif st.button("Take it back", key=f"take back {row['entry_id']}", icon=":material/undo:"):
                done = take_back(row["entry_id"])
                st.session_state[TOLD] = done if isinstance(done, Refused) else words.sentence(done)
                st.rerun()


def show_correction() -> None:
    """Choose a row, change what is wrong, save: the old row stays in the history."""
    st.header("Put a row right", anchor=False)
    offered = forms.corrections()
    titles = forms.titles()
    resource = st.selectbox(
        "What", list(offered), format_func=lambda name: titles[offered[name]], index=None, placeholder="Choose"
    )
    if resource is None:
        return
    rows = data.rows_to_correct(resource)
    if rows.empty:
        st.caption("Nothing of this kind is on file.")
        return
    place = st.selectbox(
        "Which one, newest first; type to search",
        list(rows.index),
        format_func=lambda at: rows["words"].iloc[at],
        index=None,
        placeholder="Choose",
        key=f"row of {resource} {data.view_version()}",
    )
    if place is None:
        return
    recorded = rows.iloc[place].to_dict()
    name = f"right {resource} {place}"
    form = forms.named(
        forms.form(offered[resource], data.known(), data.tension_unit(), data.today(), recorded), name, recorded
    )
    refused = st.session_state.get(TOLD)
    values = show_form(form, refused.at_field if isinstance(refused, Refused) else {}, recorded)
    history = writing.history_of(data.history(resource), resource, recorded)
    if not history.empty:
        st.caption("What it held before, newest first:")
        st.dataframe(history, hide_index=True, placeholder="", key=key_of(name, "history"))
    if st.button("Save the change", type=screen.main_button(), icon=":material/check:"):
        row = forms.changes(form, recorded, values)
        if not row:
            st.caption("Nothing was changed.")
            return
        done = enter({resource: [row]}, "Put right; what it held before stays in the history.")
        st.session_state[TOLD] = done if isinstance(done, Refused) else done.sentence
        if not isinstance(done, Refused):
            start_anew(name)
        st.rerun()
