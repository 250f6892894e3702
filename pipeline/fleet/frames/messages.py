"""A message to each player whose rackets are to be handed in, ready to be copied and sent.

In: a view (`ranking`, `match_ready`), the rackets chosen, the day, how many days before a match a racket is to be
ready. Out: one `Message` a player, plain text: which racket, by which day, and what for; and the rows of the printed
list, with the same days. A player is called ready only where the rackets named make up what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Row
from pipeline.fleet.frames.ready import read_ready

STRINGING_DAYS = 1  # at the bench, between handing in and having it back
EVENT_DAYS = 21  # an event further off does not set the day


@dataclass(frozen=True)
class Message:
    """Who it is for, and the text."""

    player: str
    text: str


def messages(
    con: duckdb.DuckDBPyConnection, rackets: Sequence[str], today: date, ready_days: int
) -> tuple[Message, ...]:
    """One message a player, in the order of the rackets given; the club's own rackets have nobody to write to."""
    rows = [row for row in _rows(con, rackets) if not words.is_missing(row["player_id"])]
    events = _events(con, rows, _day(con, today))
    by_player: dict[str, list[Row]] = {}
    for row in rows:
        by_player.setdefault(row["player_id"], []).append(row)
    return tuple(
        Message(own[0]["player_name"] or player, _text(own, events.get(player), _day(con, today), ready_days))
        for player, own in by_player.items()
    )


def hand_in_rows(con: duckdb.DuckDBPyConnection, rackets: Sequence[str], today: date, ready_days: int) -> pd.DataFrame:
    """The printed hand-in list, by player: player_name, racket_id, marking, frame, why, by_on (hand in by)."""
    rows, day = _rows(con, rackets), _day(con, today)
    events = _events(con, rows, day)
    listed = [
        {
            "player_name": row["player_name"] or "the club's",
            "racket_id": row["racket_id"],
            "marking": None if words.is_missing(row["marking"]) else row["marking"],
            "frame": row["frame"],
            "why": words.sentence(row["why"]),
            "by_on": _hand_in_by([row], events.get(row["player_id"]), day, ready_days),
        }
        for row in rows
    ]
    columns = ["player_name", "racket_id", "marking", "frame", "why", "by_on"]
    return pd.DataFrame(listed, columns=columns).sort_values(["player_name", "racket_id"], ignore_index=True)


def list_words(ticked: Sequence[str], booked: Sequence[str], count_all: int) -> str:
    """What the list to print holds."""
    if ticked:
        return f"The list holds the {words.count(len(ticked), 'racket')} ticked."
    if booked:
        return f"The list holds the {words.count(len(booked), 'racket')} just booked."
    return f"The list holds all {count_all} to hand in; tick some to narrow it." if count_all else ""


def _rows(con: duckdb.DuckDBPyConnection, rackets: Sequence[str]) -> list[Row]:
    """The ranking's rows of these rackets, in the order given."""
    found = con.execute("from ranking where list_contains($rackets, racket_id)", {"rackets": list(rackets)}).df()
    place = {racket: at for at, racket in enumerate(rackets)}
    return sorted(found.to_dict("records"), key=lambda row: place[row["racket_id"]])


def _day(con: duckdb.DuckDBPyConnection, today: date) -> date:
    """Today, or the view's day where that is later."""
    found = con.execute("select value from meta where key = 'as_of'").fetchall()
    return max(today, words.as_date(found[0][0]) or today) if found else today


def _events(con: duckdb.DuckDBPyConnection, rows: Sequence[Row], day: date) -> dict[str, Row]:
    """player_id -> the next event that is near enough to set the day."""
    ready = read_ready(con, {row["player_id"] for row in rows})
    last = pd.Timestamp(day + timedelta(days=EVENT_DAYS))
    near = ready[(ready["planned_on"] > pd.Timestamp(day)) & (ready["planned_on"] <= last)]
    return {row["player_id"]: row for row in near.drop_duplicates("player_id").to_dict("records")}


def _text(own: Sequence[Row], event: Row | None, today: date, ready_days: int) -> str:
    name = str(own[0]["player_name"] or own[0]["player_id"]).split()[0]
    by = _hand_in_by(own, event, today, ready_days)
    when = "as soon as you can" if by <= today else f"by {words.day(by)}"
    text = f"{name}, please hand in {words.join_words([_racket_words(row) for row in own])} {when}"
    if event is None:
        return text + "."
    what = f"{event['event']} on {words.day(event['planned_on'])}"
    missing = int(event["needed"]) - int(event["ready"])
    if missing <= 0:
        return f"{text}, to have it back for {what}." if len(own) == 1 else f"{text}, to have them back for {what}."
    if missing <= len(own):
        return f"{text} and you are ready for {what}."
    short = words.count(missing - len(own), "more racket")
    return f"{text}. For {what} you need {short} that is likely to last: see me about it."


def _hand_in_by(own: Sequence[Row], event: Row | None, today: date, ready_days: int) -> date:
    """The earliest of: now, where one is broken; the likely day; the day that leaves time at the bench."""
    if any(row["status"] == "broken" for row in own):
        return today
    days = [day for row in own if (day := words.as_date(row["due_on"])) is not None]
    if event is not None:
        days.append(event["planned_on"].date() - timedelta(days=ready_days + STRINGING_DAYS))
    return max(min(days), today + timedelta(days=1)) if days else today + timedelta(days=1)


def _racket_words(row: Row) -> str:
    """'racket no. 2 (R034)' where it is marked so, else its number alone."""
    if words.is_missing(row["marking"]) or not str(row["marking"]).strip():
        return f"racket {row['racket_id']}"
    marking = str(row["marking"]).strip()
    return (
        f"racket no. {marking} ({row['racket_id']})" if marking.isdigit() else f"racket {row['racket_id']} ({marking})"
    )
