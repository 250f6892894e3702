"""Workload: how many restrings the next weeks bring, and whether the bench has the hours. For the stringer.

In: the frame `workload`. Out: the page.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import charts, data, screen
from dashboard.drawing import drawn


def show() -> None:
    """The whole page."""
    page = data.workload()
    narrow = screen.is_narrow()
    colours = screen.colours()
    st.title(page.title, anchor=False)
    st.caption(page.club.byline)
    if page.weeks.empty:
        st.info("Load restrings.csv, and matches.csv or practices.csv, on the page Records to get a forecast.")
        return
    st.markdown(page.sentence)
    if page.club.idle_note:
        st.warning(page.club.idle_note, icon=":material/pause_circle:")
    left, right = (st.container(), st.container()) if narrow else st.columns([1.5, 1], gap="large")
    with left:
        st.header("Restrings a week", anchor=False)
        st.plotly_chart(
            drawn("weeks", lambda: charts.weeks_ahead(page.weeks, page.past, page.club.as_of, colours, narrow)),
            theme=None,
            config=charts.CONFIG,
            key="weeks",
            alt=f"Restrings by week, past and ahead. {page.title}.",
        )
    with right:
        st.header("Hours at the bench", anchor=False)
        st.plotly_chart(
            drawn("hours", lambda: charts.bench_hours(page.weeks, colours, narrow)),
            theme=None,
            config=charts.CONFIG,
            key="hours",
            alt="Bench hours likely to be needed by week, against the hours there are.",
        )
        if not page.has_bench_hours:
            st.caption("No bench hours are on file. Load bench.csv to see whether the work fits.")
    columns = ["Week from", "Restrings, likely", "Band", "Does it fit?"] if narrow else None
    column = st.column_config
    shown: dict[str, Any] = {"Week from": column.DateColumn(format="ddd D MMM", width=96 if narrow else None)}
    if narrow:
        shown |= {
            "Restrings, likely": column.NumberColumn("Likely", width=58),
            "Band": column.TextColumn(width=72),
            "Does it fit?": column.TextColumn(width=128),
        }
    st.header("Week by week", anchor=False)
    st.dataframe(page.table, hide_index=True, column_order=columns, column_config=shown, placeholder="")
    st.header("By string", anchor=False)
    if page.strings.empty:
        st.caption("No string is named in the forecast yet.")
    else:
        st.caption("All the weeks together. “Allow for” adds up each week's upper end, so it is on the safe side.")
        of_string = ["String", "Metres, likely", "Metres, allow for"] if narrow else None
        st.dataframe(page.strings, hide_index=True, column_order=of_string, placeholder="")


show()
