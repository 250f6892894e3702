"""Small invented clubs as rows, for the ranking and the forecast.

In: numbers of players and weeks, a seed. Out: a connection with `facts` filled. Beds end when the hours played pass
a drawn life: a law of its own, good enough to give a history, and never asked for accuracy.
"""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import numpy as np

from tests.sql.club_rows import STRINGS, Row, empty_club, put

ORIGIN = date(2026, 3, 29)
LIFE_HOURS = {"poly": 11.0, "multi": 9.0}
SPINS = ("flat", "moderate", "heavy")


def academy(
    players: int = 8, weeks: int = 30, seed: int = 1, named: float = 0.5, hours_factor: float = 1.0, pace: float = 1.0
) -> duckdb.DuckDBPyConnection:
    """players with two rackets each, four sessions a week, in two squads. named: part of the sessions with a racket
    written down. hours_factor: of every session's minutes. pace: of the lives of strings."""
    rng = np.random.default_rng(seed)
    con = empty_club()
    put(con, "strings", STRINGS)
    tables: dict[str, list[Row]] = {
        name: [] for name in ("players", "rackets", "restrings", "practices", "inspections")
    }
    start = ORIGIN - timedelta(days=7 * weeks - 1)
    for i in range(players):
        player, squad = f"P{i:02}", ("U16", "U18")[i % 2]
        tables["players"].append(
            {
                "player_id": player,
                "player_name": f"Player {i}",
                "squad": squad,
                "level": "regional",
                "spin": SPINS[i % 3],
            }
        )
        string = ("poly", "multi")[i % 4 == 3]
        beds = {}
        for r in (1, 2):
            racket = f"{player}-{r}"
            tables["rackets"].append(
                {
                    "racket_id": racket, "player_id": player, "frame": "Frame A", "mains": 16, "crosses": 19,
                    "head_cm2": 632, "role": "match", "in_service_on": str(start),
                }
            )  # fmt: skip
            tables["restrings"].append(_restring(racket, start, string, "first"))
            beds[racket] = [0.0, LIFE_HOURS[string] * pace * rng.gamma(9.0, 1 / 9.0)]
        for day in range(1, 7 * weeks):
            on = start + timedelta(days=day)
            if on.weekday() not in (0, 2, 4, 5) or rng.random() < 0.1:
                continue
            racket = f"{player}-{1 + int(rng.random() < 0.4)}"
            minutes = float(rng.choice([60.0, 75.0, 90.0])) * hours_factor
            tables["practices"].append(
                {
                    "practice_id": f"T-{player}-{day}", "player_id": player, "played_on": str(on), "activity": "drills",
                    "minutes": minutes, "racket_id": racket if rng.random() < named else None,
                }
            )  # fmt: skip
            beds[racket][0] += minutes / 60.0
            if beds[racket][0] > beds[racket][1] and on < ORIGIN - timedelta(days=2):
                reason = "broke" if string == "multi" or rng.random() < 0.3 else "lost_feel"
                tables["restrings"].append(_restring(racket, on + timedelta(days=1), string, reason))
                beds[racket] = [0.0, LIFE_HOURS[string] * pace * rng.gamma(9.0, 1 / 9.0)]
            elif rng.random() < 0.04:
                grade = int(min(3, 4 * beds[racket][0] / beds[racket][1]))
                tables["inspections"].append(
                    {
                        "inspection_id": f"I-{player}-{day}",
                        "inspected_on": str(on),
                        "racket_id": racket,
                        "notching": grade,
                    }
                )
    for name, rows in tables.items():
        put(con, name, rows)
    return con


def _restring(racket: str, on: date, string: str, reason: str) -> Row:
    return {
        "restring_id": f"J-{racket}-{on}", "racket_id": racket, "strung_on": str(on), "mains_string_id": string,
        "mains_kg": 23.0, "reason": reason, "minutes": 30.0,
    }  # fmt: skip


def break_racket(con: duckdb.DuckDBPyConnection, racket: str, on: date = ORIGIN) -> None:
    """An inspection finds a string broken."""
    put(
        con,
        "inspections",
        [{"inspection_id": f"B-{racket}", "inspected_on": str(on), "racket_id": racket, "broken": True}],
    )


def hand_in(con: duckdb.DuckDBPyConnection, racket: str, reason: str, on: date = ORIGIN) -> None:
    """A ticket that is still open."""
    row: Row = {"job_id": f"K-{racket}", "racket_id": racket, "handed_in_on": str(on), "reason": reason}
    put(con, "jobs", [row | {"state": "booked", "state_on": str(on)}])


def plan(con: duckdb.DuckDBPyConnection, on: date, **cells: object) -> None:
    put(con, "calendar", [{"planned_on": str(on), "squad": "U16", "activity": "drills", "minutes": 90.0} | cells])
