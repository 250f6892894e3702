"""This week: which rackets to hand in, in what order and why. For the coach.

In: the frame `this_week` for the filters in the address. Out: the page; a click on a line opens that racket.
"""

from __future__ import annotations

import streamlit as st

from dashboard import address, charts, data, screen
from dashboard.drawing import drawn
from dashboard.hand_in import show_hand_in
from pipeline.fleet import frames, words
from pipeline.fleet.frames.this_week import CHART_DAYS

COUNT_IN_LIST = 12
RACKET_PAGE, INSPECT_PAGE = "screens/racket.py", "screens/inspect.py"
PAGE, FILTERS = "This week", ("squad", "player", "role", "show")


def show() -> None:
    """The whole page."""
    head = st.container()
    filters = choose_filters()
    page = data.this_week(filters)
    with head:
        st.title(page.title, anchor=False)
        st.caption(page.club.byline)
        if page.lead:
            st.markdown(page.lead)
        if page.whole_week:
            st.markdown(page.whole_week)
    narrow = screen.is_narrow()
    if not narrow:
        show_overview(page, filters)
    st.header("In order of urgency", anchor=False)
    actions = st.container()
    ticked: list[str] = []
    if page.table.empty:
        st.info(nothing_listed(page, filters), icon=":material/check:")
    elif narrow:
        ticked = show_list(page)
    else:
        ticked = show_table(page, filters)
    with actions:
        show_hand_in(page, ticked)
    if narrow:  # a thumb comes to the list first
        if not page.calendar.empty:
            show_calendar(page, filters)
        show_events(page)
    if not page.looks.empty:
        show_looks(page)
    if not page.ready.empty:
        with st.expander("Match-ready, player by player"):
            show_ready(page)
    for note in (page.at_bench, page.no_bed):
        if note:
            st.markdown(words.plain(note))
    if page.club.learned_note:
        st.caption(words.plain(page.club.learned_note))


def choose_filters() -> frames.Filters:
    """Squad, player, role and how much to list: all kept in the address, so that a choice can be shared."""
    address.come_home(PAGE, FILTERS)
    offered = data.choices()
    if screen.is_narrow():
        squad_place = player_place = role_place = st.expander("Squad, player, role").container()
        show_place = st.container()
    else:
        squad_place, player_place, role_place, show_place = st.columns([2, 2.4, 2, 3], vertical_alignment="bottom")
    filters = frames.Filters(
        squad=address.chosen_of(squad_place, "Squad", offered.squads, "squad", "All squads"),
        player=address.chosen_of(player_place, "Player", offered.players, "player", "All players"),
        role=address.chosen_of(role_place, "Role", offered.roles, "role", "All roles"),
        show=address.switched_to(show_place, "Show", [frames.WEEK, frames.PAST, frames.ALL], "show"),
    )
    address.keep(PAGE, FILTERS)
    return filters


def nothing_listed(page: frames.ThisWeek, filters: frames.Filters) -> str:
    """What to say in place of an empty list."""
    if page.count_all:
        rackets = words.count(page.count_all, "racket")
        return f"Nothing to list for this choice. Choose “{frames.ALL}” to see {rackets} in order."
    if filters == frames.Filters(show=filters.show):
        return "No racket has strings on file yet. Load rackets.csv and restrings.csv on the page Records."
    return "No racket in play matches this choice. Choose another squad, player or role."


def show_overview(page: frames.ThisWeek, filters: frames.Filters) -> None:
    """The calendar, and the next events beside it."""
    left, right = st.columns([2.75, 1], gap="large")
    with left:
        if not page.calendar.empty:
            show_calendar(page, filters)
    with right:
        show_events(page)


def show_calendar(page: frames.ThisWeek, filters: frames.Filters) -> None:
    """The calendar of the most urgent rackets."""
    st.header("The most urgent, soonest first", anchor=False)
    st.plotly_chart(
        drawn(
            "calendar",
            lambda: charts.week_calendar(
                page.calendar, page.events, page.club.as_of, CHART_DAYS, screen.colours(), screen.is_narrow()
            ),
            filters,
            data.today(),
        ),
        theme=None,
        config=charts.CONFIG,
        key="calendar",
        alt=page.calendar_in_words,
    )
    st.caption("Mark: the likely day. Bar: 8 in 10 such beds end inside it. Pale bands: events.")


def show_looks(page: frames.ThisWeek) -> None:
    """The few rackets whose inspection would change most."""
    st.header("Look at these first", anchor=False)
    st.caption("What a one-minute look may change. Open one, grade what you see, and the dates follow.")
    with st.container(gap="xsmall"):
        for row in page.looks.to_dict("records"):
            with st.container(horizontal=True, vertical_alignment="center", gap="small", wrap=False):
                if st.button(
                    words.plain(row["racket_id"]),
                    key=f"look-{row['racket_id']}",
                    type="tertiary",
                    width=78,
                    icon=":material/chevron_right:",
                    icon_position="right",
                ):
                    st.switch_page(INSPECT_PAGE, query_params={"racket": row["racket_id"]})
                st.markdown(
                    f"**{words.plain(row['player'])}**, {words.plain(row['sign'])}: {words.plain(row['reason'])}"
                )


def show_events(page: frames.ThisWeek) -> None:
    """The next events and who is likely to have enough rackets for each."""
    st.header("Match-ready", anchor=False)
    if page.events.empty:
        st.caption("No event in the next four weeks is on file. Load calendar.csv to see them here.")
        return
    if not page.ready.empty:
        st.caption(
            "Rackets likely to last, of those needed, and the chance that enough do: "
            "▲ under 50\u00a0%, ○ up to 80\u00a0%."
        )
    for event in page.events.head(5).to_dict("records"):
        with st.container(gap=None):
            st.markdown(f"**{words.plain(event['label'])}**")
            st.caption(words.plain(event["when_and_who"]))
            for line in (event["rackets"], *event["lines"]):
                if line:
                    st.markdown(words.plain(line))


def show_ready(page: frames.ThisWeek) -> None:
    """Every player of every event in the next four weeks: a table, and lines for a phone."""
    st.caption(
        "The chance that so many rackets last through the event without breaking or being dead, if nothing but the "
        "usual is done; a racket restrung by then counts with its fresh strings."
    )
    if screen.is_narrow():
        for (event, when), rows in page.ready.groupby(["Event", "When"], sort=False):
            with st.container(gap=None):
                st.markdown(f"**{words.plain(event)}**, {words.plain(when)}")
                for row in rows.to_dict("records"):
                    shape = row["In words"].split()[0]
                    st.markdown(words.plain(f"{shape} {row['Player']}: {row['Ready']}, {row['Chance']} %"))
        return
    column = st.column_config
    st.dataframe(
        page.ready,
        hide_index=True,
        height=screen.table_height(len(page.ready), screen.ONE_LINE, at_most=12),
        column_config={
            "Ready": column.TextColumn("Ready of needed", help="Rackets likely to last through, of those needed."),
            "Chance": column.ProgressColumn(
                "Chance of enough", format="%d %%", min_value=0, max_value=100, color="green"
            ),
            "Weakest": column.TextColumn("Weakest racket"),
        },
        placeholder="",
        alt="Players and events with rackets ready, rackets needed and the chance that enough last.",
    )


def show_table(page: frames.ThisWeek, filters: frames.Filters) -> list[str]:
    """The ranked list; the numbers stay numbers, so every column can be sorted. The rackets that are ticked."""
    column = st.column_config
    chosen = st.dataframe(
        page.table,
        key=f"ranked-{data.view_version()}-{hash(filters)}",
        on_select="rerun",
        selection_mode=["multi-row", "single-cell"],
        hide_index=True,
        row_height=screen.TWO_LINES,
        height=screen.table_height(len(page.table), screen.TWO_LINES, at_most=10),
        column_order=["racket_id", "who", "call", "towards_breaking", "towards_dead", "due_on", "days_left",
                      "days_band", "why"],
        column_config={
            "racket_id": column.TextColumn("Racket", width=64, pinned=True),
            "who": column.TextColumn("Player", width=108),
            "call": column.TextColumn("Call", width=126),
            "towards_breaking": column.ProgressColumn(
                "Towards breaking", format="%d %%", min_value=0, max_value=100, color="orange", width=112,
                help="Life used towards breaking. At 100 % half of such beds have broken.",
            ),
            "towards_dead": column.ProgressColumn(
                "Towards dead", format="%d %%", min_value=0, max_value=100, color="green", width=112,
                help="Life used towards going dead. At 100 % half of such beds have gone dead.",
            ),
            "due_on": column.DateColumn("Likely on", format="ddd D MMM", width=84),
            "days_left": column.NumberColumn("Days left", format="%d", width=72, help="The likely number of days."),
            "days_band": column.TextColumn("Band, days", width=84, help="8 in 10 such beds end within these days."),
            "why": column.TextColumn("Why", width=372),
        },
        placeholder="",
        alt="Rackets in order of urgency with life used, days left and the reason.",
    )  # fmt: skip
    st.caption(
        "Tick the rackets to hand in; click a line to open its racket. The bars hold the strings against the usual "
        "life of their kind; the dates "
        "follow the player's own history, so an early date can stand beside a short bar."
    )
    cells = chosen["selection"]["cells"]
    if cells:
        open_racket(page.table["racket_id"].iloc[cells[0][0]])
    return [str(page.table["racket_id"].iloc[row]) for row in chosen["selection"]["rows"]]


def show_list(page: frames.ThisWeek) -> list[str]:
    """The same list for a phone: one paragraph a racket, a box to tick, its number the way to its page."""
    ticked = []
    is_all = st.session_state.get("list_all", False)
    for row in (page.table if is_all else page.table.head(COUNT_IN_LIST)).to_dict("records"):
        with st.container(gap=None):
            with st.container(
                horizontal=True, horizontal_alignment="distribute", vertical_alignment="center", wrap=False
            ):
                label = words.plain(row["racket_id"])
                key = f"tick {row['racket_id']} {data.view_version()}"
                if st.checkbox(f"**{words.plain(row['player'])}**", key=key):
                    ticked.append(row["racket_id"])
                if st.button(
                    label, key=f"open-{row['racket_id']}", icon=":material/chevron_right:", icon_position="right"
                ):
                    open_racket(row["racket_id"])
            st.markdown(frames.list_line(row))
            st.caption(words.plain(row["why"]))
    if not is_all and len(page.table) > COUNT_IN_LIST:
        st.button(f"Show all {len(page.table)}", key="list_all")
    return ticked


def open_racket(racket_id: str) -> None:
    """To the page of one racket, which the address names."""
    st.switch_page(RACKET_PAGE, query_params={"racket": racket_id})


show()
