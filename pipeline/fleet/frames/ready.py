"""Match-ready on the page This week: who is likely to have enough rackets for each event, and who is not.

In: a view's table `match_ready` (one row an event and player), the players the reader chose. Out: sentences for one
event and a table of every player, chances as fractions in the view and whole percentages here. Shape and words carry
the meaning: a triangle is unlikely, a ring uncertain, a tick likely.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import has_table
from pipeline.fleet.match_ready import COLUMNS as VIEW_COLUMNS

LIKELY = 0.5
SURE_ENOUGH = 0.8  # from here on a player counts as match-ready; below, a racket more would help
COUNT_NAMED = 3
TABLE_COLUMNS = ["Event", "When", "Player", "Squad", "Ready", "Chance", "In words", "Weakest"]


@dataclass(frozen=True)
class EventReady:
    """One event: a sentence on all its players, a line for each who may fall short, the players who likely will."""

    summary: str
    lines: list[str]
    short_players: list[str]


def read_ready(con: duckdb.DuckDBPyConnection, players: set[str]) -> pd.DataFrame:
    """The chosen players' rows; none where the view holds no such table."""
    if not has_table(con, "match_ready"):
        return pd.DataFrame(columns=list(VIEW_COLUMNS))
    found = con.sql("from match_ready order by planned_on, event, prob_enough, player_id").df()
    found["planned_on"] = pd.to_datetime(found["planned_on"])
    return found[found["player_id"].isin(players)].reset_index(drop=True)


def event_ready(ready: pd.DataFrame, event: object, planned_on: Any) -> EventReady:
    """The sentences for one event; empty where none of the chosen players goes."""
    rows = ready[(ready["event"] == event) & (ready["planned_on"] == planned_on)]
    if rows.empty:
        return EventReady("", [], [])
    shown = rows["prob_enough"].astype(float).round(2)
    short, doubtful = rows[shown < LIKELY], rows[shown < SURE_ENOUGH]
    count_ready, number = len(rows) - len(doubtful), len(rows)
    if doubtful.empty:
        summary = "✓ likely to have enough" if number == 1 else f"✓ all {number} players are likely to have enough"
    elif number == 1:
        summary = ""
    else:
        summary = f"{count_ready} of {number} players are likely to have enough"
    lines = [line_of(row) for row in doubtful.head(COUNT_NAMED).to_dict("records")]
    if len(doubtful) > COUNT_NAMED:
        lines.append(f"and {len(doubtful) - COUNT_NAMED} more, listed below")
    return EventReady(summary, lines, list(short["player_id"]))


def line_of(row: dict[Any, Any]) -> str:
    """'▲ Cato Kelgard: 0 of 1, 27 %': rackets likely to last, rackets needed, the chance that enough do."""
    name = row["player_id"] if words.is_missing(row["player_name"]) else row["player_name"]
    mark = shape_of(float(row["prob_enough"]))
    chance = words.percent(row["prob_enough"]).replace(" ", "\u00a0")
    return f"{mark} {name}: {int(row['ready'])} of {int(row['needed'])}, {chance}"


def shape_of(chance: float) -> str:
    """A mark that says the same as the number, which is shown as a whole percentage."""
    chance = round(chance, 2)
    return "▲" if chance < LIKELY else "○" if chance < SURE_ENOUGH else "✓"


def ready_table(ready: pd.DataFrame, as_of: date, last_on: pd.Timestamp) -> pd.DataFrame:
    """One row an event and player, the soonest event first and in it the least likely player."""
    rows = ready[ready["planned_on"] <= last_on].to_dict("records")
    meaning = {"▲": "▲ not likely", "○": "○ uncertain", "✓": "✓ likely"}
    listed = [
        (
            row["event"],
            words.days_between(row["planned_on"], row["until_on"], as_of),
            row["player_id"] if words.is_missing(row["player_name"]) else row["player_name"],
            "" if words.is_missing(row["squad"]) else row["squad"],
            f"{int(row['ready'])} of {int(row['needed'])}",
            round(100 * float(row["prob_enough"])),
            meaning[shape_of(float(row["prob_enough"]))],
            "no racket" if words.is_missing(row["worst_racket"]) else row["worst_racket"],
        )
        for row in rows
    ]
    return pd.DataFrame(listed, columns=TABLE_COLUMNS)
