"""The bench sheet of a day on A4: every ticket in order, a box to tick, the string bed's settings first.

In: tickets in order (rows of `pipeline.fleet.tickets.tickets`), the day, the club's name and unit. Out: PDF bytes.
Lengths on paper in millimetres.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.prints.bed_words import frame_of, metres_of, pulls_of, strings_of
from pipeline.fleet.prints.paper import Paper
from pipeline.fleet.tickets.cautions import GENERAL

FOOT = 18.0
BLOCK = 22.0


def bench_sheet_pdf(tickets: pd.DataFrame, on: date, club_name: str, unit: str = "kg", who: str = "") -> bytes:
    """One block a ticket, as many pages as it takes. who: the stringer it is for; empty: everybody."""
    paper = Paper()
    paper.set_title(f"Bench sheet {on.isoformat()}")
    y = _head(paper, tickets, on, club_name, who)
    width = paper.w - 2 * paper.l_margin
    if tickets.empty:
        paper.paragraph(paper.l_margin, y + 4, "No ticket is open for the bench.", 12, width)
    for row in tickets.to_dict("records"):
        said = " ".join([text for text in (row["stop"], row["ask"], *row["tell"], *row["notes"]) if text])
        tall = BLOCK + (paper.height_of(said, 9, width - 52) + 1 if said else 0.0)
        if y + tall > paper.h - FOOT:
            paper.small_print(paper.h - FOOT + 4, GENERAL)
            y = _head(paper, tickets, on, club_name, who)
        _block(paper, y, row, said, unit)
        y += tall
    paper.small_print(paper.h - FOOT + 4, GENERAL)
    return paper.to_bytes()


def _head(paper: Paper, tickets: pd.DataFrame, on: date, club_name: str, who: str) -> float:
    paper.add_page()
    width = paper.w - 2 * paper.l_margin
    paper.say(paper.l_margin, 12, f"At the bench, {words.day_with_year(on)}", 20, width, serif=True)
    parts = [paper.name(club_name, ""), words.count(len(tickets), "ticket"), paper.name(who, "") if who else ""]
    paper.say(paper.l_margin, 21, " · ".join(part for part in parts if part), 10, width - 30, grey=True)
    paper.say(paper.w - paper.r_margin - 30, 21, f"page {paper.page_no()}", 10, 30, grey=True, align="R")
    paper.rule(27.5, thick=0.4)
    return 29.0


def _block(paper: Paper, y: float, row: dict[Any, Any], said: str, unit: str) -> None:
    left, right = paper.l_margin, paper.w - paper.r_margin
    paper.tick_box(left, y + 3.5)
    paper.say(left + 10, y + 2, str(row["racket_id"]), 22, 40, bold=True, smallest=8)
    marking = "" if words.is_missing(row["marking"]) else f"marking {row['marking']}"
    paper.say(left + 10, y + 11.5, marking, 9, 38, grey=True)
    middle, width = left + 52, right - left - 52
    paper.say(middle, y + 2, pulls_of(row, unit), 16, 50, bold=True)
    strings = strings_of(row)
    if len(strings) == 1:
        paper.say(middle + 50, y + 3, strings[0], 12, width - 50, bold=True, smallest=8)
    else:  # a hybrid: mains over crosses
        paper.say(middle + 50, y + 1, strings[0], 11, width - 50, bold=True, smallest=8)
        paper.say(middle + 50, y + 5.6, strings[1], 11, width - 50, bold=True, smallest=8)
    who = paper.name(row["player_name"], row["player_id"])
    frame = frame_of({**row, "marking": None})
    paper.say(middle, y + 10, f"{who}, {frame}" if who else frame, 10, width)
    due = "" if words.is_missing(row["due_on"]) else f"ready by {words.day(row['due_on'])}"
    parts = [metres_of(row), _source(row), due]
    paper.say(middle, y + 14.8, " · ".join(part for part in parts if part), 9, width, grey=True)
    if said:
        paper.paragraph(middle, y + 19.6, said, 9, width)
    tall = BLOCK + (paper.height_of(said, 9, width) + 1 if said else 0.0)
    paper.rule(y + tall - 1)


def _source(row: dict[Any, Any]) -> str:
    return "" if words.is_missing(row["setup_from"]) else f"set-up: {row['setup_from']}"
