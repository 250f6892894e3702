"""The hand-in list for the coach on A4: by player, the rackets to hand in, why, and by when; a box to tick.

In: rows with player_id, player_name, squad, racket_id, marking, frame, why, by_on (a day or missing); the club's
name, the day. Out: PDF bytes. Rows of one player stand together, in the order of each player's first row.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.prints.bed_words import frame_of
from pipeline.fleet.prints.paper import Paper

FOOT = 14.0
COLUMNS = ("player_id", "player_name", "squad", "racket_id", "marking", "frame", "why", "by_on")


def hand_in_list_pdf(rows: pd.DataFrame, club_name: str, on: date, title: str = "Rackets to hand in") -> bytes:
    """One line a racket. Columns that are not given count as missing."""
    frame = rows.reindex(columns=list(COLUMNS))
    paper = Paper()
    paper.set_title(f"{title} {on.isoformat()}")
    width = paper.w - 2 * paper.l_margin
    y = _head(paper, frame, club_name, on, title)
    if frame.empty:
        paper.paragraph(paper.l_margin, y + 4, "No racket has to be handed in.", 12, width)
    who = frame["player_id"].fillna(frame["player_name"]).fillna("")
    for _, mine in frame.groupby(who.to_numpy(), sort=False):
        lines = mine.to_dict("records")
        tall = [_tall(paper, row, width) for row in lines]
        if y + 9 + tall[0] > paper.h - FOOT:
            y = _turn(paper, frame, club_name, on, title)
        y = _player(paper, y, lines[0], width)
        for row, high in zip(lines, tall, strict=True):
            if y + high > paper.h - FOOT:
                y = _turn(paper, frame, club_name, on, title)
                y = _player(paper, y, row, width)
            _racket(paper, y, {str(k): v for k, v in row.items()}, width)
            y += high
        paper.rule(y + 0.5)
        y += 2.5
    paper.small_print(paper.h - FOOT + 2)
    return paper.to_bytes()


def _turn(paper: Paper, frame: pd.DataFrame, club_name: str, on: date, title: str) -> float:
    paper.small_print(paper.h - FOOT + 2)
    return _head(paper, frame, club_name, on, title)


def _head(paper: Paper, frame: pd.DataFrame, club_name: str, on: date, title: str) -> float:
    paper.add_page()
    width = paper.w - 2 * paper.l_margin
    paper.say(paper.l_margin, 12, title, 20, width, serif=True)
    players = frame["player_id"].fillna(frame["player_name"]).nunique()
    parts = [
        paper.name(club_name, ""), words.day_with_year(on), words.count(len(frame), "racket"),
        words.count(players, "player"),
    ]  # fmt: skip
    paper.say(paper.l_margin, 21, " · ".join(part for part in parts if part), 10, width - 30, grey=True)
    paper.say(paper.w - paper.r_margin - 30, 21, f"page {paper.page_no()}", 10, 30, grey=True, align="R")
    paper.rule(27.5, thick=0.4)
    return 30.0


def _player(paper: Paper, y: float, row: dict[Any, Any], width: float) -> float:
    name = paper.name(row["player_name"], row["player_id"]) or "The club's rackets"
    squad = "" if words.is_missing(row["squad"]) else str(row["squad"])
    paper.say(paper.l_margin, y, name, 13, width - 45, bold=True)
    paper.say(paper.w - paper.r_margin - 45, y + 0.8, squad, 10, 45, grey=True, align="R")
    return y + 7.0


def _why(row: dict[Any, Any]) -> str:
    return "" if words.is_missing(row["why"]) else words.sentence(row["why"])


def _tall(paper: Paper, row: dict[Any, Any], width: float) -> float:
    return max(11.5, 6.2 + paper.height_of(_why(row), 9, width - 50) + 1.5)


def _racket(paper: Paper, y: float, row: dict[Any, Any], width: float) -> None:
    left = paper.l_margin
    paper.tick_box(left + 1, y + 1.5, 5.5)
    paper.say(left + 10, y + 0.5, str(row["racket_id"]), 18, 38, bold=True, smallest=9)
    by = "" if words.is_missing(row["by_on"]) else f"by {words.day(row['by_on'])}"
    paper.say(left + 50, y + 1, frame_of({**row, "mains": None}), 10, width - 50 - 32)
    paper.say(paper.w - paper.r_margin - 32, y + 1, by, 10.5, 32, bold=True, align="R")
    paper.paragraph(left + 50, y + 6, _why(row), 9, width - 50, grey=True)
