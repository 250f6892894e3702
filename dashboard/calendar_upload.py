"""A calendar of another program, taken in: one .ics file, for whom it is, what its entries are, a look, one button.

In: an iCalendar file. Out: rows of calendar.csv through the store's one way in, which can be taken back.
"""

from __future__ import annotations

import streamlit as st

from dashboard import data, screen
from dashboard.entry import enter, show_done
from dashboard.telling import show_error
from pipeline.fleet import frames, words
from pipeline.fleet.frames.calendar_file import CLOSED, CalendarChoice, CalendarLook
from pipeline.store import StoreError

DONE, ROUND = "calendar taken in", "round of the calendar box"


def show_calendar_upload() -> None:
    """The box and its three questions; then the entries as they would be written, and the button that writes them."""
    show_done(DONE)
    file = st.file_uploader("One .ics file", type=["ics"], key=f"calendar {st.session_state.get(ROUND, 0)}")
    narrow = screen.is_narrow()
    places = [st.container() for _ in range(4)] if narrow else st.columns([1.1, 1.4, 1, 1], vertical_alignment="bottom")
    activities, whose = frames.calendar_activities(), frames.whose_calendar(data.known())
    activity = places[0].selectbox(
        "What its entries are", list(activities), format_func=activities.__getitem__, index=None, placeholder="Choose"
    )
    for_whom = places[1].selectbox(
        "For whom", list(whose), format_func=whose.__getitem__, index=None, placeholder="Choose",
        disabled=activity == CLOSED,
    )  # fmt: skip
    minutes = places[2].number_input(
        "Minutes a day", 1, 1440, None, help="Of play for each player, where an entry gives no times of day."
    )
    fresh = places[3].number_input(
        "Fresh rackets", 0, 12, None, help="How many rackets each player needs ready for a match."
    )
    if file is None:
        return
    if activity is None or (for_whom is None and activity != CLOSED):
        st.info("Say what its entries are and for whom: the file itself does not tell.")
        return
    choice = CalendarChoice(activity, None if activity == CLOSED else for_whom, minutes, fresh)
    try:
        look = frames.calendar_look(file.getvalue(), choice, data.today(), data.time_zone())
    except StoreError as error:
        show_error(error)
        return
    show_look(look, activities[activity])


def show_look(look: CalendarLook, activity: str) -> None:
    """What would be written."""
    st.markdown(words.plain(look.sentence))
    for note in look.notes:
        st.caption(words.plain(words.sentence(note)))
    if not look.rows:
        return
    day = st.column_config.DateColumn(format="ddd D MMM YYYY")
    st.dataframe(
        look.table,
        hide_index=True,
        height=screen.table_height(len(look.table), screen.ONE_LINE, at_most=10),
        column_config={"Day": day, "Until": day},
        placeholder="",
        alt="Entries of the calendar as they would be written: day, entry, last day, minutes a day.",
    )
    label = f"Write {words.count(len(look.rows), 'entry', 'entries')} down"
    if st.button(label, type=screen.main_button(), icon=":material/event:"):
        st.session_state[DONE] = enter({"calendar": look.rows}, f"{label.removeprefix('Write ')}: {activity}.")
        st.session_state[ROUND] = st.session_state.get(ROUND, 0) + 1
        st.rerun()
