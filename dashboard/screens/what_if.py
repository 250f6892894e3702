"""What if: another string, gauge, hybrid or restring policy for a squad or a player. For all three.

In: the frames `what_if_page` and `what_if_told`. Out: the page; nothing is written.
"""

from __future__ import annotations

import streamlit as st

from dashboard import change_chart, charts, data, screen
from dashboard.drawing import drawn
from dashboard.telling import show_error
from pipeline.fleet import frames, words
from pipeline.fleet.frames.what_if import (
    AFTER_HOURS,
    AS_NOW,
    AT_LIFE,
    BEFORE_EVENTS,
    POLICIES,
    USUAL_LIFE_PERCENT,
    USUAL_MATCH_COST,
    USUAL_WEEKS,
)
from pipeline.store import StoreError

ASKED = "what if asked"
AMOUNTS = {
    AFTER_HOURS: ("Hours of play", 0.5, 500.0, 12.0, 1.0),
    AT_LIFE: ("Part of its life, %", 10.0, 300.0, USUAL_LIFE_PERCENT, 5.0),
    BEFORE_EVENTS: ("Once this part of its life is used, %", 0.0, 300.0, 50.0, 5.0),
}


def show() -> None:
    """The whole page."""
    page = data.what_if_page()
    head, answer = st.container(), st.container()
    if page.usual is None or not page.strings:
        with head:
            st.title("There is nothing to compare yet", anchor=False)
            st.caption(page.club.byline)
            st.info("Load rackets.csv, strings.csv and restrings.csv on the page Records first.")
        return
    with st.container(border=True):
        form(page, page.usual)
    asked = st.session_state.get(ASKED, page.usual)
    with head:
        title = st.empty()
        title.title(page.title, anchor=False)
        st.caption(page.club.byline)
    try:
        with answer, st.spinner("Playing both ways through the coming weeks"):
            told = data.what_if_told(asked)
    except StoreError as error:
        with answer:
            show_error(error)
            st.markdown(page.intro)
        return
    title.title(words.plain(told.title), anchor=False)
    with answer:
        show_answer(told, asked)
        st.header("Ask another", anchor=False)
        st.caption(page.intro)


def form(page: frames.WhatIfPage, usual: frames.Asked) -> None:
    """Whose, and what would be different."""
    # outside the form, since what it asks for next depends on it
    policy = st.segmented_control(
        "When are strings cut out?", POLICIES, default=usual.policy, key="what if policy", persist_state="session"
    )
    policy = policy or AS_NOW
    with st.form("what if", border=False):
        left, right = st.columns(2, gap="medium")
        with left:
            whose = st.selectbox("Whose rackets?", list(page.whose), list(page.whose).index(usual.whose),
                                 format_func=page.whose.__getitem__)  # fmt: skip
            mains = st.selectbox(
                "String of the mains",
                [None, *page.strings],
                format_func=lambda key: "as now" if key is None else page.strings[key],
            )
            crosses = st.selectbox(
                "String of the crosses",
                [None, *page.strings],
                format_func=lambda key: "like the mains, or as now" if key is None else page.strings[key],
            )
        with right:
            gauge = st.number_input(
                "Diameter of the mains, mm (empty: the string's own)", 0.5, 2.0, value=None, step=0.05, format="%.2f"
            )
            amount = 0.0
            if policy in AMOUNTS:
                label, low, high, common, step = AMOUNTS[policy]
                amount = st.number_input(
                    label, low, high, value=common, step=step, format="%g", key=f"what if {policy}"
                )
            weeks = st.number_input("Weeks ahead", 4, 52, value=USUAL_WEEKS, step=1)
            cost = st.number_input(
                "A break in a match costs as much as so many restrings", 0.0, 100.0, USUAL_MATCH_COST, 1.0, "%g"
            )
        if st.form_submit_button("Work it out", type=screen.main_button()):
            st.session_state[ASKED] = frames.Asked(whose, mains, crosses, gauge, policy, amount, int(weeks), cost)


def show_answer(told: frames.Told, asked: frames.Asked) -> None:
    """Sentences, the chart, the numbers."""
    st.markdown(words.plain(told.sentence))
    if told.point:
        st.markdown(words.plain(told.point))
    if told.caution:
        st.warning(words.plain(told.caution), icon=":material/warning:")
    narrow, colours = screen.is_narrow(), screen.colours()
    left, right = (st.container(), st.container()) if narrow else st.columns([1.2, 1], gap="large")
    with left:
        st.plotly_chart(
            drawn("changes", lambda: change_chart.changes_against_now(told.changes, colours, narrow), asked),
            theme=None,
            config=charts.CONFIG,
            key="changes",
            alt=f"Each change against now, with its band. {told.title}.",
        )
        st.caption("The bar is the band of the change: four of five futures lie inside it.")
    with right:
        if narrow:  # a table that breaks its lines, since four columns in one line each are wider than a phone
            lines = told.table[["Measure", "As now", "Then", "Band"]].map(words.plain)
            lines[["As now", "Then"]] = lines[["As now", "Then"]].map(lambda text: text.replace(" ", "\u00a0"))
            lines["Band"] = lines["Band"].map(words.breaking_at_to)
            lines.columns = [name.replace(" ", "\u00a0") for name in lines.columns]
            st.table(lines, border="horizontal", hide_index=True)
        else:
            st.dataframe(told.table, hide_index=True)


show()
