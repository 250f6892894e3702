"""Reels: what string to order by when, how long the shelf lasts, and the season's money. For the team manager.

In: the frame `reels`. Out: the page; rows of stock.csv and orders.csv from its forms.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import charts, data, reel_charts, screen
from dashboard.drawing import drawn
from dashboard.entry import enter, show_done
from pipeline.fleet import frames, words
from pipeline.store import FreshId

DONE = "reels written"
DAY = st.column_config.DateColumn(format="ddd D MMM")


def show() -> None:
    """The whole page."""
    with st.spinner("Working out what to order"):
        page = data.reels()
    narrow, colours = screen.is_narrow(), screen.colours()
    st.title(words.plain(page.title), anchor=False)
    st.caption(page.club.byline)
    st.markdown(words.plain(page.sentence))
    show_done(DONE, is_field_told=True)
    st.download_button(
        "Order list and budget (XLSX)",
        data=page.sheet,
        file_name=page.sheet_name,
        mime="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        type=screen.main_button(),
        icon=":material/download:",
        on_click="ignore",
    )
    for note in page.notes:
        st.warning(words.plain(note), icon=":material/warning:")
    if page.shelf.empty:
        st.info("Load strings.csv and restrings.csv on the page Records, or write down a count of the shelf below.")
    else:
        show_shelf(page, narrow, colours)
        show_money(page, narrow, colours)
    st.header("Write down", anchor=False)
    forms(page)


def show_shelf(page: frames.ReelsPage, narrow: bool, colours: Any) -> None:
    """Until when each string lasts, and the order list."""
    st.header("How long the shelf lasts", anchor=False)
    st.plotly_chart(
        drawn("shelf", lambda: reel_charts.shelf_calendar(page.shelf, page.first, page.last, colours, narrow)),
        theme=None,
        config=charts.CONFIG,
        key="shelf",
        alt=f"By string: the days on which it could be empty, and the day to order by. {page.title}.",
    )
    st.caption(words.plain(page.how))
    st.header("What to order", anchor=False)
    money = money_column(page.order_table, page.currency)
    if page.order_table.empty:
        st.caption("Nothing: what is on the shelf and on order is enough.")
    else:
        columns = ["Order by", "String", "What"] if narrow else None
        st.dataframe(
            page.order_table,
            hide_index=True,
            column_order=columns,
            column_config=money | {"Order by": DAY, "Should arrive": DAY},
            height=screen.table_height(len(page.order_table), screen.ONE_LINE, at_most=10),
        )
    if not page.waiting_table.empty:
        st.caption("On its way:")
        st.dataframe(
            page.waiting_table,
            hide_index=True,
            column_order=["String", "Metres", "Should arrive"] if narrow else None,
            column_config={"Ordered": DAY, "Should arrive": DAY},
        )
    with st.expander("On the shelf, string by string"):
        st.dataframe(
            page.stock_table,
            hide_index=True,
            column_config={"Counted": DAY, "Likely empty": DAY, "Order by": DAY},
            placeholder="",
        )


def show_money(page: frames.ReelsPage, narrow: bool, colours: Any) -> None:
    """The season by month, by squad and by player; what is owed."""
    left, right = (st.container(), st.container()) if narrow else st.columns([1.3, 1], gap="large")
    with left:
        st.header(page.season_title, anchor=False)
        st.plotly_chart(
            drawn(
                "months", lambda: reel_charts.season_months(page.months, page.currency, colours, narrow), page.sentence
            ),
            theme=None,
            config=charts.CONFIG,
            key="months",
            alt=f"Money for string by month, used and likely. {page.sentence}",
        )
        st.caption("The thin line on a bar reaches from a cheap month to what to allow for.")
    with right:
        st.header("By squad, this season", anchor=False)
        st.markdown(words.plain(page.squad_note))
        st.dataframe(
            page.squad_table,
            hide_index=True,
            column_config=money_column(page.squad_table, page.currency),
            placeholder="",
        )
    with st.expander("By player, the last year"):
        st.dataframe(
            page.player_table,
            hide_index=True,
            column_config=money_column(page.player_table, page.currency),
            placeholder="",
        )
    st.header("Charged and owed", anchor=False)
    st.markdown(words.plain(page.statement_note))
    if not page.statement_table.empty:
        with st.expander("Statement, by who pays"):
            st.dataframe(
                page.statement_table,
                hide_index=True,
                column_config=money_column(page.statement_table, page.currency) | {"Oldest not paid": DAY},
                placeholder="",
            )


def money_column(table: Any, currency: str) -> dict[str, Any]:
    """Two decimals for every column of money: those that name the currency."""
    return {
        name: st.column_config.NumberColumn(format="%.2f")
        for name in table.columns
        if str(name).endswith(f", {currency}")
    }


def forms(page: frames.ReelsPage) -> None:
    """A count of the shelf, an order, an order that has come."""
    names = page.string_names
    if not names:
        st.caption("Write down a string on the page Write down first.")
        return
    tabs = st.tabs(["A count of the shelf", "An order", "An order has come"])
    with tabs[0], st.form("count", border=False):
        left, right = st.columns(2)
        string_id = left.selectbox("String", list(names), format_func=names.__getitem__, key="count string")
        counted_on = day_box(right, "Counted on", "count day")
        st.caption("Metres, or whole reels and the restrings left on the open one.")
        left, middle, right = st.columns(3)
        metres = left.number_input("Metres", min_value=0.0, value=None, step=1.0, key="count metres")
        reels = middle.number_input("Whole reels", min_value=0, value=None, step=1, key="count reels")
        jobs = right.number_input("Restrings left", min_value=0, value=None, step=1, key="count jobs")
        if st.form_submit_button("Save the count", type=screen.main_button()):
            row: dict[str, Any] = {
                "counted_on": counted_on, "string_id": string_id, "metres": metres, "reels": reels, "jobs_left": jobs,
            }  # fmt: skip
            save("stock", row, f"Written down: a count of {names[string_id]}.")
    with tabs[1]:
        string_id = st.selectbox("String", list(names), format_func=names.__getitem__, key="order string")
        proposed = page.proposed.get(string_id, (None, None))
        with st.form("order", border=False):
            left, right = st.columns(2)
            ordered_on = day_box(left, "Ordered on", "order day")
            expected_on = right.date_input(
                "Should arrive", value=None, key="order expected", format=screen.day_format()
            )
            metres = left.number_input(
                "Metres", min_value=0.5, value=proposed[0], step=1.0, key=f"order metres {string_id}"
            )
            price = right.number_input(
                f"Price of the order, {page.currency}",
                min_value=0.0,
                value=proposed[1],
                step=1.0,
                format="%.2f",
                key=f"order price {string_id}",
            )
            if st.form_submit_button("Save the order", type=screen.main_button()):
                row = {
                    "order_id": FreshId("orders", "O"), "string_id": string_id, "ordered_on": ordered_on,
                    "expected_on": expected_on, "metres": metres, "price": price,
                }  # fmt: skip
                save("orders", row, f"Written down: an order of {names[string_id]}.")
    with tabs[2]:
        if not page.open_order_names:
            st.caption("No order is on its way.")
            return
        with st.form("received", border=False):
            order_id = st.selectbox(
                "Order", list(page.open_order_names), format_func=page.open_order_names.__getitem__, key="received"
            )
            day = day_box(st.container(), "Came on", "received day")
            if st.form_submit_button("Put it on the shelf", type=screen.main_button()):
                save("orders", {"order_id": order_id, "received_on": day}, f"Written down: {order_id} has come.")


def day_box(place: DeltaGenerator, label: str, key: str) -> date | None:
    """A box for a day up to today."""
    until = data.load_day()
    return place.date_input(label, value=until, max_value=until, key=key, format=screen.day_format())


def save(resource: str, row: dict[str, Any], what: str) -> None:
    """Write one row and draw the page anew with what came of it."""
    st.session_state[DONE] = enter({resource: [row]}, what)
    st.rerun()


show()
