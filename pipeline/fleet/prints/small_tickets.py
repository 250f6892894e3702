"""Small tickets to tie to the rackets: eight to an A4 page, 105 x 74 mm each, with lines to cut along.

In: rows of `pipeline.fleet.tickets.tickets`, the club's unit, and the dashboard's address where there is one. Out: PDF
bytes.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.prints.bed_words import frame_of, metres_of, pulls_of, string_of
from pipeline.fleet.prints.labels import draw_code
from pipeline.fleet.prints.paper import Paper

WIDE, TALL, IN_ROW, IN_PAGE = 105.0, 74.25, 2, 8
PAD = 6.0


def small_tickets_pdf(tickets: pd.DataFrame, unit: str = "kg", address: str | None = None) -> bytes:
    """One ticket a racket. address: of the dashboard, for the code that opens the racket's inspection."""
    paper = Paper(margin=0)
    paper.set_title("Tickets")
    if tickets.empty:
        paper.add_page()
        paper.paragraph(14, 14, "No ticket is open for the bench.", 12, 180)
    for place, row in enumerate(tickets.to_dict("records")):
        if place % IN_PAGE == 0:
            paper.add_page()
            _cut_lines(paper)
        at = place % IN_PAGE
        _ticket(paper, (at % IN_ROW) * WIDE, (at // IN_ROW) * TALL, row, unit, address)
    return paper.to_bytes()


def _cut_lines(paper: Paper) -> None:
    paper.set_dash_pattern(1, 2)
    for k in range(1, IN_PAGE // IN_ROW):
        paper.rule(k * TALL, 0, paper.w)
    paper.set_draw_color(170)
    paper.line(WIDE, 0, WIDE, paper.h)
    paper.set_dash_pattern()


def _ticket(paper: Paper, x: float, y: float, row: dict[Any, Any], unit: str, address: str | None) -> None:
    left, width = x + PAD, WIDE - 2 * PAD
    code = 19.0 if address else 0.0
    paper.say(left, y + 5, str(row["racket_id"]), 26, width - code - 2, bold=True, smallest=12)
    paper.say(left, y + 15.5, paper.name(row["player_name"], row["player_id"]), 12, width - code - 2)
    paper.say(left, y + 21, frame_of(row), 9, width - code - 2, grey=True)
    if address:
        draw_code(paper, left + width - code, y + 5, code, address, str(row["racket_id"]))
    paper.rule(y + 26.5, left, left + width)
    paper.say(left, y + 28, pulls_of(row, unit), 20, width, bold=True)
    mains, crosses = string_of(row, "mains"), string_of(row, "crosses")
    paper.say(left, y + 37, f"mains  {mains}", 11, width, smallest=8)
    paper.say(left, y + 42, f"crosses  {crosses}", 11, width, smallest=8)
    paper.say(left, y + 47.5, metres_of(row), 9, width, grey=True)
    due = "" if words.is_missing(row["due_on"]) else f"ready by {words.day(row['due_on'])}"
    paper.say(left, y + 52, due, 11, width, bold=True)
    said = [text for text in (row["stop"], row["ask"], *row["tell"], *row["notes"]) if text]
    if said:
        text = said[0] if len(said) == 1 else f"{said[0]} (and {len(said) - 1} more on the bench sheet)"
        while paper.height_of(text, 7.5, width) > 11.5 and " " in text:
            text = text.rsplit(" ", 1)[0].rstrip("….") + "…"
        paper.paragraph(left, y + 58, text, 7.5, width)
