"""Track record: how well the forecasts held up here, beside the rules of thumb; every number in force. For everyone.

In: the frame `track_record`. Out: the page. It is worked out by the button or the command, never by opening the page.
"""

from __future__ import annotations

import streamlit as st

from dashboard import charts, data, record_charts, screen
from dashboard.record_button import show_button
from pipeline.fleet import frames, words
from pipeline.fleet.frames.track_record import HOW_TO_START


def show() -> None:
    """The whole page."""
    page = data.track_record()
    st.title(page.title, anchor=False)
    st.caption(page.club.byline)
    if page.stale_note:
        st.warning(words.plain(page.stale_note), icon=":material/schedule:")
    if not page.has_record:
        st.info(HOW_TO_START)
        show_button("Work out the track record")
    else:
        if page.stale_note:
            show_button("Work it out anew")
        show_record(page)
        if not page.stale_note:
            show_button("Work it out anew")
    show_parameters(page)


def show_record(page: frames.TrackRecordPage) -> None:
    """The words, both charts, the rules of thumb and the small print."""
    narrow, colours = screen.is_narrow(), screen.colours()
    for sentence in page.sentences:
        st.markdown(words.plain(sentence))
    st.caption(page.when)
    left, right = (st.container(), st.container()) if narrow else st.columns([1, 1.25], gap="large")
    with left:
        st.header("Was the chance right?", anchor=False)
        st.plotly_chart(
            record_charts.calibration(page.calibration, colours, narrow),
            theme=None,
            config=charts.CONFIG,
            key="calibration",
            alt="Chances called against the share that came in, by tenths of the chance, with counts of rackets.",
        )
        st.caption("On the dotted line, as many came in as called. Figures: rackets; lines: 80 % band of the share.")
    with right:
        st.header("Was the weekly band right?", anchor=False)
        st.plotly_chart(
            record_charts.weekly_bands(page.weeks, colours, narrow),
            theme=None,
            config=charts.CONFIG,
            key="weekly-bands",
            alt="Restrings of each week: the band that was foreseen and what came.",
        )
        st.caption("Each week as it was foreseen one or two weeks before.")
    show_rules(page)
    for note in page.small_print:
        st.caption(words.plain(note))


def show_rules(page: frames.TrackRecordPage) -> None:
    """Three tables: calls, scores of the rackets, scores of the weeks."""
    number, narrow = st.column_config.NumberColumn, screen.is_narrow()
    name_width, width = (136, 74) if narrow else (270, None)
    st.header("Beside the rules of thumb", anchor=False)
    st.dataframe(
        page.calls,
        hide_index=True,
        column_order=["Way to call", "Called due", "Came in", "Missed"] if narrow else None,
        column_config={
            "Way to call": st.column_config.TextColumn(
                width=name_width,
                pinned=True,
                help="Times a week: as many restrings a year as days with play a week.",
            ),
            "Called due": number(width=width),
            "Came in": number(width=width, help="Broke or lost feel within two weeks after the call."),
            "Of 100 called": number(help="How many of a hundred called came in within two weeks. More is better."),
            "Missed": number(width=width, help="Came in within two weeks without a call. Fewer is better."),
        },
        placeholder="",
        alt="Rackets called due, come in and missed, by this forecast and by each rule of thumb.",
    )
    st.markdown("**Scores of the rackets**")
    st.dataframe(
        page.racket_scores,
        hide_index=True,
        column_config={
            "Forecast by": st.column_config.TextColumn(width=name_width, pinned=True),
            "Order": number(format="%.2f", width=width, help="Of two rackets, one that came in and one that did not: "
                            "how often the right one stood first (AUC). 0.50 is guessing, 1 perfect."),
            "Skill": number(format="%.2f", width=width, help="Error of the chance against one chance for all (Brier "
                            "skill). 0 is no better, 1 perfect."),
            "Error": number(format="%.3f", width=width, help="Mean squared error of the chance (Brier). Less is "
                            "better."),
            "Announced / came": number(format="%.2f", help="Rackets announced over rackets that came in. 1 is right."),
        },
        placeholder="",
        alt="Scores of the chances of rackets, by this forecast and by each rule of thumb.",
    )  # fmt: skip
    st.markdown("**Scores of the weeks**")
    st.dataframe(
        page.week_scores,
        hide_index=True,
        column_config={
            "Forecast by": st.column_config.TextColumn(width=name_width, pinned=True),
            "Off by": number(format="%.1f", width=width, help="Restrings a week by which the whole forecast is off "
                             "(CRPS). Less is better."),
            "Against the average": number(format="%.2f", help="The same over that of the average of the last eight "
                                          "weeks. Under 1 is better than it."),
            "Inside the band": number(format="%d %%", help="Share of weeks inside the band, shared out where a week "
                                      "falls on its edge (randomised PIT). 80 % is right."),
            "Foreseen / came": number(format="%.2f", help="Restrings foreseen over restrings that came. 1 is right."),
            "Loss, low end": number(format="%.2f", help="Pinball loss of the low end of the band. Less is better."),
            "Loss, middle": number(format="%.2f", help="Pinball loss of the likely value. Less is better."),
            "Loss, high end": number(format="%.2f", help="Pinball loss of the high end of the band. Less is better."),
        },
        placeholder="",
        alt="Scores of the weekly restrings, by this forecast, the times-a-week rule and the recent average.",
    )  # fmt: skip


def show_parameters(page: frames.TrackRecordPage) -> None:
    """Every number in force, with what the trade says and where it comes from."""
    narrow = screen.is_narrow()
    st.header("The numbers behind it", anchor=False)
    st.caption(words.plain(page.parameters_note))
    number = st.column_config.NumberColumn
    row = screen.TWO_LINES if narrow else screen.FOUR_LINES
    st.dataframe(
        page.parameters,
        hide_index=True,
        row_height=row,
        height=screen.table_height(len(page.parameters), row, at_most=9 if narrow else 7),
        column_order=["Number", "Trade value", "In force", "Standing"] if narrow else None,
        column_config={  # all columns within the page
            "Number": st.column_config.TextColumn(width=122 if narrow else 118, pinned=True),
            "Meaning": st.column_config.TextColumn(width=170),
            "Unit": st.column_config.TextColumn(width=72),
            "Trade value": number(format="%.4g", width=78 if narrow else 82),
            "In force": number(format="%.4g", width=64 if narrow else 68),
            "90 % band": st.column_config.TextColumn(width=92, help="Of what was learned from this club's records."),
            "Standing": st.column_config.TextColumn(width=94),
            "Learned on": st.column_config.TextColumn(width=82),
            "Source of the trade value": st.column_config.TextColumn("Source", width=150),
            "Evidence": st.column_config.TextColumn(width=236, help="What it was learned from."),
        },
        placeholder="",
        alt="Every number of the model: meaning, unit, trade value, value in force and source.",
    )


show()
