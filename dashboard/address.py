"""Choices kept in the page's address, so that a view can be shared, bookmarked and found again by Back.

In: the address's query parameters; what there is to choose from. Out: the choice. An address that asks for something
that is not there is taken as no choice. Leaving a page drops its parameters, so its last choice is kept for the
session and put back on return.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

_LAST_PAGE = "last_page"


def chosen_of(place: DeltaGenerator, label: str, options: Sequence[str], name: str, placeholder: str) -> str | None:
    """A select box whose choice is the parameter `name`; None for all."""
    _follow(name, options, usual=None)
    chosen = place.selectbox(label, options, index=None, placeholder=placeholder, key=name)
    return _note(name, chosen, usual=None)


def switched_to(place: DeltaGenerator, label: str, options: Sequence[str], name: str) -> str:
    """A switch between a few ways to show a page; the first is the usual one and leaves no mark in the address."""
    _follow(name, options, usual=options[0])
    chosen = place.segmented_control(label, options, required=True, key=name)
    return _note(name, chosen, usual=options[0]) or options[0]


def pill_of(options: dict[str, str], name: str, label: str, as_list: bool) -> str:
    """One of several kinds, as a row of pills, or as a list where the screen is narrow; the first is the usual one."""
    kinds = list(options)
    key = f"{name} of a list" if as_list else name  # the two widgets must not share what they hold
    _follow(name, kinds, usual=kinds[0], key=key)
    chosen: str | None
    if as_list:
        chosen = st.selectbox(label, kinds, format_func=options.__getitem__, key=key)
    else:
        chosen = st.pills(label, kinds, format_func=options.__getitem__, key=key, required=True)
    return _note(name, chosen, usual=kinds[0]) or kinds[0]


def picked_of(options: dict[str, str], name: str) -> str | None:
    """A select box over things named by their number and shown by a longer name.

    An address without a number gets the first; one with a number that is not there waits for a choice: None.
    """
    numbers = list(options)
    asked = st.query_params.get(name)
    is_unknown = asked is not None and asked not in options
    _follow(name, numbers, usual=None if is_unknown else numbers[0])
    chosen = st.selectbox(
        name.capitalize(), numbers, format_func=lambda number: options[number], key=name, width=340,
        index=None if is_unknown else 0,
        label_visibility="collapsed", placeholder=f"Choose a {name}",
    )  # fmt: skip
    if chosen is None or (asked is None and chosen == numbers[0]):
        return chosen  # the address is left as it was written
    return _note(name, chosen, usual=None)


def _follow(name: str, options: Sequence[str], usual: str | None, key: str | None = None) -> None:
    """Set the widget of that name to what the address asks for, on arrival and whenever Back has changed it."""
    asked = st.query_params.get(name)
    held = key or name
    if held not in st.session_state or st.session_state.get(_seen(name)) != asked:
        st.session_state[held] = asked if asked in options else usual
        st.session_state[_seen(name)] = asked


def _note(name: str, chosen: str | None, usual: str | None) -> str | None:
    """Write the widget's choice into the address."""
    write(name, None if chosen == usual else chosen)
    st.session_state[_seen(name)] = st.query_params.get(name)
    return chosen


def _seen(name: str) -> str:
    return f"address of {name}"


def write(name: str, value: str | None) -> None:
    """Put a choice into the address, or take it out."""
    if value is None:
        if name in st.query_params:
            del st.query_params[name]
    elif st.query_params.get(name) != value:
        st.query_params[name] = value


def come_home(page: str, names: Sequence[str]) -> None:
    """On return to `page` from another one, put its last choice back, unless the address makes a choice of its own."""
    if st.session_state.get(_LAST_PAGE) in (None, page) or any(name in st.query_params for name in names):
        return
    kept = st.session_state.get(_kept(page), {})
    st.query_params.from_dict({name: value for name, value in kept.items() if value is not None})


def keep(page: str, names: Sequence[str]) -> None:
    """Remember the choice of `page` for the session."""
    st.session_state[_kept(page)] = {name: st.query_params.get(name) for name in names}


def leave_mark(page: str) -> None:
    """Note which page was shown last; called once a run by the router."""
    st.session_state[_LAST_PAGE] = page


def _kept(page: str) -> str:
    return f"kept choice of {page}"
