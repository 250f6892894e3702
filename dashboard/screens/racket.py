"""Racket: where this bed stands, both wear curves, and what is on file behind them. For coach and stringer.

In: the racket named in the address (?racket=R75-3) or chosen here. Out: the page.
"""

from __future__ import annotations

import streamlit as st

from dashboard import address, charts, data, screen
from dashboard.chart_breakdown import moved_date_figure
from dashboard.string_bed import string_bed_svg
from pipeline.fleet import frames, words


def show() -> None:
    """The whole page."""
    names = data.racket_names()
    if not names:
        st.title("There is no racket on file", anchor=False)
        st.markdown("Load rackets.csv and restrings.csv on the page Records.")
        return
    asked = st.query_params.get("racket")
    chosen = address.picked_of(names, "racket")
    head = st.container()
    page = data.racket(chosen)
    if page is None:
        st.error(f"{words.plain(chosen)} is no longer on file. Choose another racket.")
        return
    with head:
        if asked is not None and asked not in names:
            st.warning(
                f"There is no racket {words.plain(asked)} on file, so {words.plain(chosen)} is shown. "
                "Check the number, or add it to rackets.csv."
            )
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
    """Both curves, and beside them the drawn bed and where it stands."""
    narrow = screen.is_narrow()
    left, right = (st.container(), st.container()) if narrow else st.columns([2.35, 1], gap="large")
    with left:
        st.subheader("Life used", anchor=False)
        if not page.wear.empty:
            show_curves(page)
        st.table(page.standing, border="horizontal", hide_index=True)
        if page.tension_left:
            st.caption(page.tension_left)
    with right:
        st.subheader("The string bed at the last look", anchor=False)
        picture = page.picture
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
            width=260,
            alt=picture.description,
        )
        st.caption(picture.caption)
    if page.moved is not None:
        show_moved(page.moved)


def show_moved(moved: frames.MovedDate) -> None:
    """What moved the date, in hours of play, adding up."""
    st.subheader("What moved the date", anchor=False)
    st.markdown(moved.sentence)
    st.plotly_chart(
        moved_date_figure(moved, screen.colours(), screen.is_narrow()),
        theme=None,
        config=charts.CONFIG,
        key="moved",
        alt=f"Steps in hours of play from the usual life of such a string to this bed's own. {moved.sentence}",
    )
    st.caption(
        "From the usual life of such a string in reference play (singles, regional level, moderate topspin, hard "
        "court) to this bed's own likely end. Every bar is what one thing adds or takes, and they add up."
    )


def show_curves(page: frames.Racket) -> None:
    """Life used by date, as played and as planned."""
    looks = page.inspections[page.inspections["is_this_bed"]]
    st.plotly_chart(
        charts.wear_curves(page.wear, looks, page.events, page.club.as_of, screen.colours(), screen.is_narrow()),
        theme=None,
        config=charts.CONFIG,
        key="wear",
        alt=f"Life used by date towards both limits. {page.title}.",
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
        st.subheader("Play on this bed", anchor=False)
        st.caption(page.sessions_note)
        if not page.sessions.empty:
            st.dataframe(
                page.sessions,
                hide_index=True,
                height=screen.table_height(len(page.sessions), screen.ONE_LINE, at_most=10),
                column_config={"Played": dates},
                placeholder="",
            )
    with right:
        st.subheader("Inspections", anchor=False)
        if page.inspections.empty:
            st.caption("Nobody has looked at this racket yet. Load inspections.csv, or grade it at the next hand-over.")
        else:
            st.caption("Newest first, earlier beds included.")
            st.dataframe(
                page.inspections.drop(columns="is_this_bed"),
                height=screen.table_height(len(page.inspections), screen.ONE_LINE, at_most=10),
                hide_index=True,
                column_config={"Looked at": dates},
                placeholder="",
            )
    st.subheader("Earlier beds", anchor=False)
    if page.earlier_beds.empty:
        st.caption("No earlier bed of this racket is on file.")
        return
    with_year = st.column_config.DateColumn(format="ddd D MMM YYYY")
    percent = st.column_config.NumberColumn(format="%d %%")
    st.dataframe(
        page.earlier_beds.drop(columns="cause"),
        hide_index=True,
        column_config={
            "Strung": with_year,
            "Came out": with_year,
            "Hours played": st.column_config.NumberColumn(format="%.0f h"),
            "Towards breaking": percent,
            "Towards dead": percent,
        },
        placeholder="",
    )


show()
