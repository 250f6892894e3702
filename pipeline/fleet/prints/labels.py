"""Racket labels with a code: pointed at with a phone, it opens the racket's inspection.

In: rackets (racket_id, player_id, player_name, frame, marking), the dashboard's address. Out: PDF bytes, either on a
roll (one label of 62 x 29 mm a page) or on A4 (21 labels of 70 x 42.4 mm). The code is a QR code (ISO/IEC 18004) with
error correction M, drawn as squares, about 0.6 mm a module at the usual lengths of address.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pandas as pd
import segno

from pipeline.fleet.prints.bed_words import frame_of
from pipeline.fleet.prints.paper import Paper

ROLL, A4 = "roll", "a4"
ROLL_MM = (62.0, 29.0)
SHEET_WIDE, SHEET_TALL, IN_ROW, IN_SHEET = 70.0, 297.0 / 7.0, 3, 21
QUIET_MODULES = 4  # white around a code, as the standard asks


def inspect_address(address: str, racket_id: str) -> str:
    """Where the racket's inspection opens."""
    return f"{address.rstrip('/')}/inspect?racket={quote(racket_id, safe='')}"


def labels_pdf(rackets: pd.DataFrame, address: str, on: str = ROLL) -> bytes:
    """One label a racket, in the order given. on: ROLL or A4."""
    if on not in (ROLL, A4):
        raise ValueError(f"Labels are printed on a {ROLL} or on {A4}; {on!r} was given.")
    paper = Paper(ROLL_MM if on == ROLL else "A4", margin=0)
    paper.set_title("Racket labels")
    wide, tall = ROLL_MM if on == ROLL else (SHEET_WIDE, SHEET_TALL)
    if rackets.empty:
        paper.add_page()
        paper.paragraph(4, 4, "No racket was chosen.", 9, 50)
    for place, row in enumerate(rackets.to_dict("records")):
        at = 0 if on == ROLL else place % IN_SHEET
        if at == 0:
            paper.add_page()
        _label(paper, (at % IN_ROW) * wide, (at // IN_ROW) * tall, wide, tall, row, address)
    return paper.to_bytes()


def _label(paper: Paper, x: float, y: float, wide: float, tall: float, row: dict[Any, Any], address: str) -> None:
    side = tall - 5.0 if tall < 35 else 30.0
    top = y + (tall - side) / 2
    draw_code(paper, x + 2.5, top, side, address, str(row["racket_id"]))
    left, width = x + side + 4.5, wide - side - 7.0
    paper.say(left, top + 1, str(row["racket_id"]), 24, width, bold=True, smallest=6.5)
    paper.say(left, top + side * 0.46, paper.name(row["player_name"], row["player_id"]), 10, width, smallest=7)
    paper.say(left, top + side * 0.66, frame_of({**row, "mains": None, "marking": None}), 8, width, smallest=6.5)
    marking = row.get("marking")
    paper.say(left, top + side * 0.82, "" if marking is None or pd.isna(marking) else f"marking {marking}", 8, width)


def draw_code(paper: Paper, x: float, y: float, side: float, address: str, racket_id: str) -> None:
    """The code as black squares in a square of `side` millimetres, its white rim inside."""
    code = segno.make(inspect_address(address, racket_id), error="m", micro=False)
    rows = [list(row) for row in code.matrix]
    module = side / (len(rows) + 2 * QUIET_MODULES)
    paper.set_fill_color(0)
    for r, row in enumerate(rows):
        start = None
        for c, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = c
            elif not dark and start is not None:
                paper.rect(
                    x + (start + QUIET_MODULES) * module, y + (r + QUIET_MODULES) * module, (c - start) * module,
                    module * 1.01, style="F",
                )  # fmt: skip
                start = None
