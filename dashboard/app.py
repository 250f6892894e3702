"""The router: the pages, the line about old data, and the first steps while nothing is loaded.

Run it as `racket-fleet serve`, or `python -m streamlit run dashboard/app.py` with RACKET_FLEET_STORE set.
"""

from __future__ import annotations

import streamlit as st

from dashboard import address, data, door, screen
from dashboard.first_steps import show_first_steps
from dashboard.telling import show_error
from pipeline.fleet import words
from pipeline.store import StoreError

ABOUT = (
    "Says which rackets to restring this week and how much work the next weeks bring, from how each was really played."
)

st.set_page_config(page_title="Racket fleet", page_icon="🎾", layout="wide", menu_items={"About": ABOUT})

page = st.navigation(
    [
        st.Page("screens/this_week.py", title="This week", default=True),
        st.Page("screens/racket.py", title="Racket", url_path="racket"),
        st.Page("screens/inspect.py", title="Inspect", url_path="inspect"),
        st.Page("screens/bench.py", title="Bench", url_path="bench"),
        st.Page("screens/workload.py", title="Workload", url_path="workload"),
        st.Page("screens/write_down.py", title="Write down", url_path="write-down"),
        st.Page("screens/reels.py", title="Reels", url_path="reels"),
        st.Page("screens/what_if.py", title="What if", url_path="what-if"),
        st.Page("screens/records.py", title="Records", url_path="records"),
        st.Page("screens/track_record.py", title="Track record", url_path="track-record"),
    ],
    position="top",
)

with st.container(horizontal_alignment="center"), st.container(width=1180):
    if not door.lets_in():
        st.stop()
    try:
        if not data.is_view_readable():
            with st.spinner("Working out anew where every racket stands"):
                data.renew_view()
        if data.view_version() is None and page.title != "Write down":
            show_first_steps()
        else:
            stale_note = data.club().stale_note if data.view_version() is not None else ""
            if stale_note:
                st.warning(stale_note, icon=":material/schedule:")
            with words.in_locale(data.locale()):
                page.run()
            address.leave_mark(page.title)
        door.show_person()
    except StoreError as error:
        st.title("The club's store cannot be read", anchor=False)
        show_error(error)
screen.watch_width()
