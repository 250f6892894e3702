"""Which racket a page is about: the one in the address, the first of the list, or none before a choice.

In: rackets by number with their names, the place of the page's head, what to do about an unknown number. Out: the
number; None, with the reason said in the head, where the address names a racket that is not on file.
"""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import address
from pipeline.fleet import words


def which_racket(names: dict[str, str], head: DeltaGenerator, advice: str) -> str | None:
    """The box to choose in, and what it holds."""
    asked = st.query_params.get("racket")
    chosen = address.picked_of(names, "racket")
    if chosen is None:
        with head:
            st.title(f"There is no racket {words.plain(asked)} on file", anchor=False)
            st.markdown(advice)
    return chosen
