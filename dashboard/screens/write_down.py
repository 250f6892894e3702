"""Write down: what happened, typed in; each entry can be put right or taken back. For everyone.

In: the kind of entry in the address (?what=match), what people type. Out: rows through the store's one way in, the view
made anew; the contract's own sentences beside the boxes they speak of.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import address, data, screen
from dashboard.entry import Entered, Refused, enter, show_done
from dashboard.forms import held, key_of, show_form, start_anew
from dashboard.put_right import show_put_right
from pipeline.fleet import words
from pipeline.fleet.frames import forms, writing
from pipeline.store import FreshId

PAGE = "Write down"
SQUAD, SHEET, RIGHT = "squad-practice", "inspection-sheet", "put-right"
DONE = "last entry"


def show() -> None:
    """The whole page."""
    address.come_home(PAGE, ("what",))
    st.title(writing.title(data.last_log_on()), anchor=False)
    st.caption("The ranking follows as soon as it is saved. Everything can be put right or taken back.")
    what = address.pill_of(forms.offered(SQUAD, SHEET, RIGHT), "what", "What to write down", as_list=screen.is_narrow())
    address.keep(PAGE, ("what",))
    show_done(DONE)
    if what == RIGHT:
        show_put_right()
    elif what == SQUAD:
        show_squad_practice(data.known())
    elif what == SHEET:
        show_inspection_sheet(data.known())
    else:
        show_entry(what, data.known())


def keep(form_name: str, done: Entered | Refused) -> None:
    """Show what came of it; empty boxes after a saved entry."""
    st.session_state[DONE] = done
    if isinstance(done, Entered):
        start_anew(form_name)
    st.rerun()


def at_field() -> dict[str, str]:
    """The contract's sentences by column; those of no box of this form are said at the top."""
    refused = st.session_state.get(DONE)
    return dict(refused.at_field) if isinstance(refused, Refused) else {}


def show_entry(name: str, known: forms.Known) -> None:
    """One row of one file."""
    proposed_id = data.next_racket_id() if name == "racket" else ""
    form = forms.form(name, known, data.tension_unit(), data.today(), held(name), proposed_id)
    if form.note:
        st.caption(form.note)
    values = show_form(form, at_field())
    show_elsewhere(form)
    if st.button("Save", type=screen.main_button(), icon=":material/check:", key=f"save {name}"):
        row: dict[str, Any] = {column: value for column, value in values.items() if value is not None}
        if form.id_column and form.id_column not in values:
            row[form.id_column] = FreshId(form.resource, form.id_prefix)
        keep(name, enter({form.resource: [row]}, forms.saved_words(form, row, known)))


def show_elsewhere(form: forms.Form) -> None:
    """Sentences that speak of a column which has no box here."""
    names = {box.name for box in (*form.boxes, *form.further)}
    for column, message in at_field().items():
        if column not in names:
            st.markdown(f":red[:material/error: {words.plain(message)}]")


def show_squad_practice(known: forms.Known) -> None:
    """One row for the whole squad, with a register: whoever was not there is unticked."""
    if not known.squads:
        st.info("No squad is on file yet. Write down the players first.")
        return
    form = forms.squad_practice(known, data.today(), held(SQUAD))
    values = show_form(form, at_field())
    show_elsewhere(form)
    squad = values["squad"]
    if not squad:
        st.caption("Choose the squad: its register opens here, with everybody ticked.")
        return
    players = list(known.squad_players.get(squad, ()))
    there = st.pills(
        "Who was there? Untick those who were not",
        players,
        selection_mode="multi",
        default=players,
        format_func=lambda player: known.players[player].split(",")[0],
        key=key_of(SQUAD, f"there {squad}"),
    )
    st.caption(forms.register_words(players, there))
    if st.button("Save", type=screen.main_button(), icon=":material/check:", key="save squad"):
        row = forms.squad_row(values, players, there) | {"practice_id": FreshId("practices", "W")}
        keep(SQUAD, enter({"practices": [row]}, forms.saved_words(form, row, known)))


def show_inspection_sheet(known: forms.Known) -> None:
    """A paper sheet typed back: one line a racket, as it was filled in at court side."""
    left, right = st.columns(2, gap="medium")
    squad = left.selectbox("Squad", known.squads, index=None, placeholder="All squads", key=key_of(SHEET, "squad"))
    looked_on = right.date_input(
        "Looked at on", data.today(), key=key_of(SHEET, "inspected_on"), format=screen.day_format()
    )
    grid = writing.inspection_grid(known, squad)
    if grid.empty:
        st.info("No racket is held by a player of this squad. Write down who has which racket first.")
        return
    st.caption("Grades 0 none, 1 slight, 2 clear, 3 severe. A box left empty stays open; empty lines are left out.")
    grade = [f"{number} {word}" for number, word in enumerate(words.GRADE_WORDS)]
    column = st.column_config
    filled = st.data_editor(
        grid,
        key=key_of(SHEET, f"grid {squad}"),
        hide_index=True,
        height=screen.table_height(len(grid), screen.ONE_LINE, at_most=14),
        disabled=["racket_id", "player"],
        column_config={
            "racket_id": column.TextColumn("Racket", width=80, pinned=True),
            "player": column.TextColumn("Player", width=140),
            **{
                name: column.SelectboxColumn(label, options=grade, width=92)
                for name, label in forms.SIGN_LABELS.items()
            },
            "pitch_hz": column.NumberColumn("Pitch, Hz", format="%d", width=76),
            "broken": column.CheckboxColumn("Broken", width=70),
            "note": column.TextColumn("Note", width=180),
        },
        placeholder="",
        alt="Inspection sheet: one line a racket, a grade for each sign.",
    )
    for message in at_field().values():
        st.markdown(f":red[:material/error: {words.plain(message)}]")
    count = writing.count_filled(filled)
    label = f"Save {words.count(count, 'look')}" if count else "Save the looks"
    if st.button(label, type=screen.main_button(), icon=":material/check:", disabled=not count):
        rows = writing.grid_rows(filled, looked_on.isoformat())
        looks = [{"inspection_id": FreshId("inspections", "I"), **row} for row in rows]
        keep(SHEET, enter({"inspections": looks}, f"{words.count(count, 'look')} written down."))


show()
