"""What follows from the ticked rackets of This week: book them on the bench, print the hand-in list, write to players.

In: the rackets ticked (or, where none is, those last booked, else all that are to be handed in). Out: tickets in the
store, an A4 list as PDF, and a message for each player, ready to be copied.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import data, door, screen
from dashboard.entry import Entered, Refused, show_done
from pipeline.fleet import frames, words
from pipeline.fleet.tickets import book, booked_words
from pipeline.refresh import refresh
from pipeline.store import StoreError

DONE, BOOKED = "booking done", "last booking"


def show_hand_in(page: frames.ThisWeek, ticked: list[str]) -> None:
    """The line of buttons above the list, and the messages under it."""
    done = st.session_state.get(DONE)
    is_booked = isinstance(done, Entered) and done.entry_id is not None
    booked: dict[str, Any] = st.session_state[BOOKED] if is_booked else {}
    kept_rows = booked.get("rows")
    chosen = ticked or booked.get("rackets") or list(page.to_hand_in)
    rows = kept_rows if not ticked and kept_rows is not None else data.hand_in_rows(tuple(chosen))
    today = data.today()
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        if st.button(
            f"Book {words.count(len(ticked), 'racket')} on the bench" if ticked else "Book on the bench",
            type=screen.main_button(),
            icon=":material/event_available:",
            disabled=not ticked,
            help=None if ticked else "Tick the rackets that are handed in.",
        ):
            book_rackets(ticked)
        st.download_button(
            "Print the hand-in list",
            lambda: printed(rows, page.club.name, today),
            f"hand-in-{page.club.as_of.isoformat()}.pdf",
            "application/pdf",
            icon=":material/print:",
            disabled=not chosen,
            on_click="ignore",
        )
        st.markdown(words.plain(frames.list_words(ticked, booked.get("rackets") or [], len(page.to_hand_in))))
    show_done(DONE)
    if chosen:
        with st.expander("A message to each player"):
            show_messages(data.messages(tuple(chosen)) if ticked or "messages" not in booked else booked["messages"])


def book_rackets(rackets: list[str]) -> None:
    """Hand the rackets in today; all of them, or none."""
    store = data.open_store()
    rows, messages = data.hand_in_rows(tuple(rackets)), data.messages(tuple(rackets))  # as they stood when ticked
    try:
        with st.spinner("Booking and working out the ranking"):
            report = book(store, rackets, by=door.person(), now=datetime.now(UTC), on=data.today())
            refresh(store)
    except StoreError as error:
        st.session_state[DONE] = Refused(words.sentence(str(error)))
    else:
        st.session_state[DONE] = Entered(report.entry_id, booked_words(report))
        st.session_state[BOOKED] = {"rackets": rackets, "rows": rows, "messages": messages}
    st.rerun()


def printed(rows: pd.DataFrame, club_name: str, today: date) -> bytes:
    """The hand-in list as PDF; made when it is asked for, beside the page's own run."""
    from pipeline.fleet.prints import hand_in_list_pdf  # slow to import, and seldom asked for

    return hand_in_list_pdf(rows, club_name, today)


def show_messages(listed: tuple[frames.Message, ...]) -> None:
    """A text for each player, with a button of its own to copy it."""
    if not listed:
        st.caption("These rackets are the club's own: there is nobody to write to.")
    for message in listed:
        st.caption(words.plain(message.player))
        st.code(message.text, language=None, wrap_lines=True)
