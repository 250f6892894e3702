"""A club's own sheet, loaded the first time: what each heading is, how it is read, what its values stand for.

In: one CSV or Excel file with headings of the club's own. Out: a load through the store; the way it was read is
remembered for sheets with the same headings. Nothing is guessed in silence: every proposal is shown, and the ones that
are not sure stand first and wait for a word.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from dashboard import data, door, screen
from dashboard.telling import show_error
from dashboard.upload import REPORT
from pipeline.fleet import frames, words
from pipeline.fleet.frames import mapping
from pipeline.refresh import refresh
from pipeline.store import FileRefusedError, Store, StoreError
from pipeline.store.sheet_loading import contract_rows, load_sheet, propose
from pipeline.store.sheet_proposal import Proposal, SheetMap
from pipeline.store.sheets import Sheet, read_sheets

KEY = "own sheet"


def show_own_sheet() -> None:
    """The box for one sheet; then its columns, its values, the rows as they would be written, and the button."""
    file = st.file_uploader("One CSV or Excel file, with your own headings", type=["csv", "xlsx"], key=KEY)
    if file is None:
        return
    store = data.open_store()
    try:
        sheets = read_sheets(file.name, file.getvalue())
        names = [sheet.name for sheet in sheets]
        chosen = st.selectbox("Which tab", names) if len(names) > 1 else names[0]
        sheet = sheets[names.index(chosen)]
        first = propose(store, sheet)
        titles = mapping.resource_titles(first.resources)
        resource = st.selectbox(
            "What one row of it is", list(first.resources), format_func=titles.__getitem__, key=f"{KEY} is {sheet.name}"
        )
        proposal = first if resource == first.resource else propose(store, sheet, resource)
    except (FileRefusedError, StoreError) as error:
        show_error(error)
        return
    for sentence in mapping.remarks(proposal):
        st.markdown(words.plain(sentence))
    confirmed = confirm(store, sheet, proposal)
    show_preview(store, sheet, confirmed)


def confirm(store: Store, sheet: Sheet, proposal: Proposal) -> SheetMap:
    """Two grids: headings to columns, then values to what they stand for."""
    key = f"{KEY} {sheet.name} {proposal.resource}"
    column = st.column_config
    st.markdown("**Its columns**")
    columns = st.data_editor(
        mapping.columns_grid(proposal),
        key=f"{key} columns",
        hide_index=True,
        disabled=["Heading", "For example", "Why"],
        column_config={
            "Stands for": column.SelectboxColumn(options=mapping.column_options(store, proposal.resource), width=180),
            "Read as": column.SelectboxColumn(options=mapping.reading_options(proposal), width=140),
            "Sure": column.TextColumn(width=80),
        },
        placeholder="",
        alt="Headings of the sheet, and the column of the contract that each stands for.",
    )
    values = mapping.values_grid(proposal)
    if not values.empty:
        st.markdown("**Its values**")
        values = st.data_editor(
            values,
            key=f"{key} values",
            hide_index=True,
            height=screen.table_height(len(values), screen.ONE_LINE, at_most=10),
            disabled=["Column", "In the sheet", "Times", "Sure", "Why"],
            column_config={"Stands for": column.TextColumn(width=180, help="A number on file, as P07, or a value.")},
            placeholder="",
            alt="Values of the sheet, and what each stands for.",
        )
    return mapping.confirmed(proposal, columns, values)


def show_preview(store: Store, sheet: Sheet, confirmed: SheetMap) -> None:
    """The first rows as they would be written, and the button that writes them."""
    try:
        rows = pd.DataFrame(contract_rows(sheet, confirmed, store.contract)[: mapping.ROWS_SHOWN])
    except StoreError as error:
        st.warning(words.plain(words.sentence(str(error))))
        return
    st.markdown("**As it would be written**")
    st.dataframe(rows, hide_index=True, placeholder="")
    label = f"Load {words.count(len(sheet.rows), 'row')}"
    if not st.button(label, type=screen.main_button(), icon=":material/upload_file:"):
        return
    try:
        with st.spinner("Loading and working out the ranking"):
            report = load_sheet(
                store, sheet, confirmed, by=door.person(), now=datetime.now(UTC), load_day=data.load_day()
            )
            refresh(store)
    except StoreError as error:
        show_error(error)
        return
    st.session_state[REPORT] = frames.load_result(report, store.rejects())
    st.rerun()
