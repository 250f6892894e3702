"""Racket: where this bed stands, both wear curves, and what is on file behind them. For coach and stringer.

In: the racket named in the address (?racket=R75-3) or chosen here. Out: the page.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import charts, data, screen
from dashboard.chart_breakdown import moved_date_figure
from dashboard.drawing import drawn
from dashboard.string_bed import string_bed_svg
from dashboard.which_racket import which_racket
from pipeline.fleet import frames, words

INSPECT_PAGE = "screens/inspect.py"


def show() -> None:
    """The whole page."""
    names = data.racket_names()
    if not names:
        st.title("There is no racket on file", anchor=False)
        st.markdown("Load rackets.csv and restrings.csv on the page Records.")
        return
    head = st.container()
    chosen = which_racket(
        names, head, "Check the number, choose another here, or write the racket down on the page Write down."
    )
    if chosen is None:
        return
    page = data.racket(chosen)
    if page is None:
        st.error(f"{words.plain(chosen)} is no longer on file. Choose another racket.")
        return
    with head:
        st.title(page.title, anchor=False)
        st.caption(page.byline)
        if page.why:
            st.markdown(page.why)
        if page.note:
            st.info(page.note)
    if not page.standing.empty:
        show_bed(page)
    show_history(page)


def show_bed(page: frames.Racket) -> None:
    """Both curves, beside them what moved the date; under them the drawn bed and where it stands."""
    narrow = screen.is_narrow()
    left, right = (st.container(), st.container()) if narrow else st.columns([1.75, 1], gap="large")
    with left:
        show_curves(page)
    if page.moved is None:  # nothing left to explain: the bed itself stands beside its curves
        picture, numbers = right, right
    else:
        with right:
            show_moved(page.moved, page.racket_id)
        picture, numbers = (st.container(), st.container()) if narrow else st.columns([1, 2.6], gap="large")
    with picture:
        show_picture(page.picture)
    with numbers:
        st.header("Where it stands", anchor=False)
        st.table(page.standing, border="horizontal", hide_index=True)
        if page.tension_left:
            st.markdown(page.tension_left)
        if page.can_be_looked_at and st.button("Grade what the bed shows", icon=":material/visibility:"):
            st.switch_page(INSPECT_PAGE, query_params={"racket": page.racket_id})


def show_picture(picture: frames.BedPicture) -> None:
    """The string bed as the last look found it."""
    st.header("The string bed at the last look", anchor=False)
    st.image(
        string_bed_svg(
            picture.count_mains,
            picture.count_crosses,
            screen.colours(),
            fraying=picture.fraying,
            notching=picture.notching,
            misalignment=picture.misalignment,
            is_broken=picture.is_broken,
        ),
        width=240,
        alt=picture.description,
    )
    st.caption(picture.caption)


def show_moved(moved: frames.MovedDate, racket_id: str) -> None:
    """What moved the date, in hours of play, adding up."""
    st.header("What moved the date", anchor=False)
    st.plotly_chart(
        drawn("moved", lambda: moved_date_figure(moved, screen.colours(), is_narrow=True), racket_id),
        theme=None,
        config=charts.CONFIG,
        key="moved",
        alt=moved.in_words,
    )
    st.caption(
        f"{moved.sentence} From the usual life of such a string in reference play (singles, regional level, moderate "
        "topspin, hard court); every bar is what one thing adds or takes, and they add up."
    )


def show_curves(page: frames.Racket) -> None:
    """Life used by date, as played and as planned."""
    st.header("Life used", anchor=False)
    if page.wear.empty:
        st.caption("No play on this bed is on file yet.")
        return
    looks = page.inspections[page.inspections["is_this_bed"]]
    st.plotly_chart(
        drawn(
            "wear",
            lambda: charts.wear_curves(
                page.wear, looks, page.events, page.club.as_of, screen.colours(), screen.is_narrow()
            ),
            page.racket_id,
        ),
        theme=None,
        config=charts.CONFIG,
        key="wear",
        alt=page.wear_in_words,
    )
    st.caption(
        "Steps: as played. Dashed: under the planned play; the band holds 8 in 10 such beds. "
        "At 100 % half of such beds have ended."
    )


def show_history(page: frames.Racket) -> None:
    """Play, looks and earlier beds."""
    dates = st.column_config.DateColumn(format="ddd D MMM")
    left, right = st.columns([1.2, 1], gap="large")
    with left:
        st.header("Play on this bed", anchor=False)
        st.caption(page.sessions_note)
        if not page.sessions.empty:
            st.dataframe(
                page.sessions,
                hide_index=True,
                column_order=["Played", "What", "Minutes on it"] if screen.is_narrow() else None,
                height=screen.table_height(len(page.sessions), screen.ONE_LINE, at_most=10),
                column_config={"Played": dates},
                placeholder="",
            )
    with right:
        st.header("Inspections", anchor=False)
        if page.inspections.empty:
            st.caption("Nobody has looked at this racket yet. Grade it at the next hand-over.")
        else:
            st.caption("Newest first, earlier beds included. An empty cell was not graded.")
            st.dataframe(
                page.inspections.drop(columns="is_this_bed"),
                height=screen.table_height(len(page.inspections), screen.ONE_LINE, at_most=10),
                hide_index=True,
                column_config=_look_columns(screen.is_narrow()),
                placeholder="",
            )
    st.header("Earlier beds", anchor=False)
    if page.earlier_beds.empty:
        st.caption("No earlier bed of this racket is on file.")
        return
    narrow = screen.is_narrow()
    row_height = screen.TWO_LINES if narrow else screen.ONE_LINE  # on a phone "lost feel, said by ..." breaks its line
    with_year = st.column_config.DateColumn(format="ddd D MMM YYYY", width=126 if narrow else None)
    percent = st.column_config.NumberColumn(format="%d %%")
    st.dataframe(
        page.earlier_beds.drop(columns="cause"),
        hide_index=True,
        row_height=row_height,
        height=screen.table_height(len(page.earlier_beds), row_height, at_most=8 if narrow else 12),
        column_order=["Strung", "Hours played", "Why", "String"] if narrow else None,
        column_config={
            "Strung": with_year,
            "Came out": with_year,
            "Hours played": st.column_config.NumberColumn(
                "Played" if narrow else None, format="%.0f h", width=60 if narrow else None
            ),
            "Why": st.column_config.TextColumn(width=170 if narrow else None),
            "Towards breaking": percent,
            "Towards dead": percent,
        },
        placeholder="",
    )


def _look_columns(is_narrow: bool) -> dict[str, Any]:
    """Of the inspections: on a phone as narrow as their headings, so that all four signs are seen at once."""
    text = st.column_config.TextColumn
    if is_narrow:
        return {
            "Looked at": st.column_config.DateColumn("Day", format="D MMM", width=66),
            "Fraying": text(width=66),
            "Notching": text(width=74),
            "Strings out of line": text("Out of line", width=80),
            "Lost feel": text(width=72),
        }
    return {
        "Looked at": st.column_config.DateColumn(format="ddd D MMM", width=92),
        **dict.fromkeys(("Fraying", "Notching", "Lost feel"), text(width=78)),
        "Strings out of line": text("Out of line", width=78),
    }


show()
