"""The boxes of a form, drawn: each with its label, what it offers and, where the contract refused it, the sentence.

In: a `Form` of `pipeline.fleet.frames.forms`, the refusals by column. Out: what the boxes hold, by column, as the store
takes it (text, numbers, dates, None). Boxes are keyed by form and round, so that a saved form starts anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import streamlit as st

from dashboard import screen
from pipeline.fleet import words
from pipeline.fleet.frames import forms
from pipeline.fleet.frames.forms import Box, Form

FOLLOWING = ("racket_id", "mains_string_id", "crosses_string_id", "mains_kg", "crosses_kg", "mains_lb", "crosses_lb")


def key_of(form_name: str, column: str) -> str:
    """The key of a box in this round of its form."""
    return f"form {form_name} {column} {st.session_state.get(round_of(form_name), 0)}"


def round_of(form_name: str) -> str:
    """Where the count of a form's saved entries is kept."""
    return f"round of {form_name}"


def start_anew(form_name: str) -> None:
    """Empty boxes for the next entry."""
    st.session_state[round_of(form_name)] = st.session_state.get(round_of(form_name), 0) + 1


def held(form_name: str) -> dict[str, Any]:
    """What the boxes that others follow from hold so far."""
    return {column: st.session_state.get(key_of(form_name, column)) for column in ("player_id", "racket_id", "squad")}


def show_form(form: Form, refused: Mapping[str, str], recorded: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Draw every box; the values by column. `recorded` fills them when a row is corrected."""
    values = _show_boxes(form, form.boxes, refused, recorded)
    if form.further:
        is_open = any(box.name in refused for box in form.further)
        with st.expander("More", expanded=is_open):
            values |= _show_boxes(form, form.further, refused, recorded)
    return values


def _show_boxes(
    form: Form, boxes: tuple[Box, ...], refused: Mapping[str, str], recorded: Mapping[str, Any] | None
) -> dict[str, Any]:
    values = {}
    wide = 1 if screen.is_narrow() else 3
    for start in range(0, len(boxes), wide):
        places = [st.container()] if wide == 1 else st.columns(wide, gap="medium")
        for place, box in zip(places, boxes[start : start + wide], strict=False):
            with place:
                values[box.name] = _show_box(form.name, box, recorded)
                if box.name in refused:
                    st.markdown(f":red[:material/error: {words.plain(refused[box.name])}]")
    return values


def _show_box(form_name: str, box: Box, recorded: Mapping[str, Any] | None) -> Any:
    key = key_of(form_name, box.name)
    proposed = box.proposed if recorded is None else _as_kind(box, recorded.get(box.name))
    follows = f"{key} follows"
    if recorded is None and box.name in FOLLOWING:
        # a proposal that follows from another box replaces the one before it, never what was chosen by hand
        if st.session_state.get(key) == st.session_state.get(follows):
            st.session_state.pop(key, None)
        st.session_state[follows] = proposed
    label = box.label if box.is_needed else f"{box.label} (optional)"
    if box.kind in (forms.PICK, forms.CHOICE):
        return _pick(key, label, box, proposed)
    if box.kind == forms.DAY:
        return st.date_input(label, value=proposed, key=key, help=box.help or None, format=screen.day_format())
    if box.kind == forms.TICK:
        return st.checkbox(box.label, value=bool(proposed), key=key, help=box.help or None) or None
    if box.kind == forms.TEXT:
        text = st.text_input(label, value="" if proposed is None else str(proposed), key=key, help=box.help or None)
        return text.strip() or None
    whole = box.kind == forms.WHOLE
    start = None if proposed is None else int(proposed) if whole else float(proposed)
    return st.number_input(
        label, value=start, step=1 if whole else None, format="%d" if whole else "%g", key=key, help=box.help or None
    )


def _as_kind(box: Box, text: Any) -> Any:
    """A recorded value, which comes as text or number, as the box holds it."""
    if text is None or text == "":
        return None
    if box.kind == forms.DAY:
        return date.fromisoformat(str(text)[:10])
    if box.kind == forms.TICK:
        return str(text).lower() in ("true", "yes")
    return str(text) if box.kind in (forms.PICK, forms.CHOICE, forms.TEXT) else text


def _pick(key: str, label: str, box: Box, proposed: Any) -> Any:
    options = list(box.options)
    if proposed is not None and proposed not in options:
        options.append(proposed)
    return st.selectbox(
        label,
        options,
        index=options.index(proposed) if proposed is not None else None,
        format_func=lambda value: box.options.get(value, value),
        key=key,
        placeholder="Choose or write" if box.takes_new else "Choose",
        accept_new_options=box.takes_new,
        help=box.help or None,
    )
