"""Records: what came in, what was turned away and how to mend it; upload, templates, history. For everyone.

In: the frame `records`, files dropped in. Out: the page.
"""

from __future__ import annotations

import streamlit as st

from dashboard import data, screen
from dashboard.calendar_upload import DONE as CALENDAR_DONE
from dashboard.calendar_upload import show_calendar_upload
from dashboard.mend import show_mend
from dashboard.own_sheet import show_own_sheet
from dashboard.upload import show_places, show_templates, show_upload


def show() -> None:
    """The whole page."""
    page = data.records()
    st.title(page.title, anchor=False)
    st.caption(data.club().byline)
    st.header("Load files", anchor=False)
    show_upload()
    with st.expander("A sheet of your own, with other headings"):
        show_own_sheet()
    with st.expander("A calendar of another program (.ics)", expanded=CALENDAR_DONE in st.session_state):
        show_calendar_upload()
    st.header("Rows to mend", anchor=False)
    if page.rejects.table.empty:
        st.caption("No row is waiting to be mended.")
    else:
        st.caption(
            "The rest of each file is loaded. Mend these rows in your file and load the file again: only they change."
        )
        show_places(page.rejects, "rejects.csv", "What to mend")
        show_mend()
    if not page.questions.table.empty:
        st.header("Kept, but worth a look", anchor=False)
        show_places(page.questions, "questions.csv", "What to check")
    st.header("What was loaded", anchor=False)
    st.dataframe(
        page.loads,
        height=screen.table_height(len(page.loads), screen.ONE_LINE, at_most=14),
        hide_index=True,
        column_config={"Loaded": st.column_config.DatetimeColumn(format="ddd D MMM YYYY, HH:mm")},
        placeholder="",
    )
    st.header("Templates", anchor=False)
    show_templates()


show()
