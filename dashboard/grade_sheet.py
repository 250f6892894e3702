"""The grading sheet of the page Inspect: drawn grades to tap, a fold for the rest, one button.

In: the signs of one racket, the material of its mains, a `Palette`, and a token that names this racket at this version
of the view. Out: what was tapped, as text by column of inspections.csv, once the button is pressed; before that nothing
leaves the reader's screen. The script and the style stand beside this file; the pictures are drawn by `sign_pictures`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard.palette import Palette
from dashboard.sign_pictures import sign_svg
from pipeline.fleet.frames.inspect import FRAME_STATES, Sign
from pipeline.fleet.words import GRADE_WORDS

HERE = Path(__file__).parent
KEY = "grade_sheet"
COLUMNS = (
    "fraying", "notching", "misalignment", "lost_feel", "pitch_hz", "broken", "grommets", "frame", "note",
)  # fmt: skip
WORDS = {
    "none": "Nothing to see",
    "save": "Save the look",
    "graded": "{graded} of {all} signs graded; what you leave out stays open.",
    "broken": "A string is broken: the bed ends today",
    "fold": "Pitch, frame, note",
    "pitch": "Pitch of the tapped bed, Hz",
    "frame": "Frame",
    "grommets": "Grommets",
    "note": "Note",
}


def show_grade_sheet(
    signs: Sequence[Sign],
    material: str,
    colours: Palette,
    token: str,
    kept: dict[str, str],
    on_saved: Callable[[], None],
) -> None:
    """Mount the sheet; `on_saved` runs when the button is pressed and reads `saved_values`."""
    component = st.components.v2.component(
        "racket_fleet_grade_sheet",
        html='<div id="sheet"></div>',
        css=(HERE / "grade_sheet.css").read_text(encoding="utf-8"),
        js=(HERE / "grade_sheet.js").read_text(encoding="utf-8"),
    )
    pictures = [
        {
            "name": sign.name,
            "label": sign.label,
            "hint": sign.hint,
            "pictures": [sign_svg(sign.name, grade, material, colours) for grade in range(len(GRADE_WORDS))],
        }
        for sign in signs
    ]
    component(
        key=KEY,
        data={
            "token": token,
            "signs": pictures,
            "grades": list(GRADE_WORDS),
            "words": WORDS,
            "frames": [[value, word] for value, word in FRAME_STATES.items()],
            "kept": kept,
        },
        on_saved_change=on_saved,
    )


def saved_values() -> tuple[str, dict[str, str]] | None:
    """The token and the values of the sheet that was just saved; only columns that an inspection has."""
    told: Any = st.session_state[KEY].get("saved")
    if not isinstance(told, dict) or not isinstance(told.get("values"), dict):
        return None
    values = {str(name): str(value) for name, value in told["values"].items() if name in COLUMNS}
    return str(told.get("token")), values
