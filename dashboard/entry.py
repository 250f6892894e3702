"""Writing down: rows from a form into the store, the view made anew, and what is to be mended said at its field.

In: rows by resource, as a form gives them. Out: an `Entered` (its number, so that it can be taken back) or a `Refused`
with a sentence for each column that breaks the contract. Every write is on behalf of the person at the screen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import streamlit as st

from dashboard import data, door
from pipeline.fleet import words
from pipeline.refresh import refresh
from pipeline.store import EntryRefusedError, StoreError

Rows = Mapping[str, Sequence[Mapping[str, object]]]


@dataclass(frozen=True)
class Entered:
    """What was written down, in words, and the number by which it can be taken back; None where it has been."""

    entry_id: int | None
    sentence: str
    questions: tuple[str, ...] = ()
    given_ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused:
    """Nothing was written: a sentence for the whole, and one for each column that is to be mended."""

    sentence: str
    at_field: Mapping[str, str] = field(default_factory=dict)


def enter(rows: Rows, what: str) -> Entered | Refused:
    """Write rows down in one step and work the view out anew; all is kept, or nothing."""
    store = data.open_store()
    try:
        with st.spinner("Writing it down and working out the ranking"):
            report = store.enter(rows, by=door.person(), now=datetime.now(UTC), load_day=data.load_day())
            refresh(store)
    except EntryRefusedError as error:
        return Refused("Nothing was written down: mend what is marked, then save again.", _by_field(error))
    except StoreError as error:
        return Refused(words.sentence(str(error)))
    return Entered(report.entry_id, what, tuple(report.questions), tuple(report.given_ids))


def _by_field(error: EntryRefusedError) -> dict[str, str]:
    """The contract's sentences by column; where several rows were given, each says which one it speaks of."""
    rows = max((refusal.row for refusal in error.refusals), default=1)
    told: dict[str, list[str]] = {}
    for refusal in error.refusals:
        place = f"Row {refusal.row}: " if rows > 1 else ""
        told.setdefault(refusal.column, []).append(place + words.sentence(refusal.message))
    return {column: " ".join(sentences) for column, sentences in told.items()}


def take_back(entry_id: int) -> str | Refused:
    """Undo one entry and work the view out anew; what was taken back, in words."""
    store = data.open_store()
    try:
        with st.spinner("Taking it back and working out the ranking"):
            told = store.undo(entry_id, by=door.person(), now=datetime.now(UTC))
            refresh(store)
    except StoreError as error:
        return Refused(words.sentence(str(error)))
    return str(told)


def show_done(slot: str, is_field_told: bool = False) -> None:
    """What the last entry kept in that place of the session did, with its way back; or why it was refused.

    is_field_told: with the sentence of each column, where no box of the form says it.
    """
    done: Entered | Refused | None = st.session_state.get(slot)
    if done is None:
        return
    if isinstance(done, Refused):
        told = " ".join([done.sentence, *(done.at_field.values() if is_field_told else ())])
        st.error(words.plain(told), icon=":material/error:")
        return
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.success(words.plain(done.sentence), icon=":material/check:")
        if done.entry_id is not None and st.button(
            "Take it back", key=f"take back {slot} {done.entry_id}", icon=":material/undo:"
        ):
            undone = take_back(done.entry_id)
            is_refused = isinstance(undone, Refused)
            st.session_state[slot] = undone if is_refused else Entered(None, f"Taken back: {words.sentence(undone)}")
            st.rerun()
    for question in done.questions:
        st.warning(words.plain(question), icon=":material/help:")
