"""A view of seven rackets, each in another state, with numbers that can be checked by head.

In: a DuckDB connection. Out: the tables that a published view holds, as the pipeline names them. As of Sun 15 Nov 2026.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import duckdb
import pandas as pd

AS_OF = date(2026, 11, 15)
COUNTY = date(2026, 11, 21)
ODD_NAME = "Cy *Odd* <b>:red[x]"

_RACKETS: list[tuple[str, str | None, str | None, str, str, int | None, str | None]] = [
    # racket, player, squad, role, status, days left, limit that comes first
    ("A-1", "Ana Reed", "Falcon", "match", "broken", 0, "breaks"),
    ("A-2", "Ana Reed", "Falcon", "spare", "in_play", 3, "breaks"),
    ("B-1", "Ben Cole", "Heron", "match", "in_play", 0, "goes_dead"),
    ("B-2", "Ben Cole", "Heron", "spare", "in_play", 30, "goes_dead"),
    ("C-1", ODD_NAME, "Heron", "match", "in_play", 365, "breaks"),
    ("E-1", "Eve Lund", "Falcon", "match", "in_shop", 12, "breaks"),
    ("D-1", None, None, "loan", "no_bed", None, None),
]
_USED = {
    "A-1": (1.1, 0.5),
    "A-2": (0.8, 0.4),
    "B-1": (0.3, 1.2),
    "B-2": (0.2, 0.45),
    "C-1": (0.05, 0.04),
    "E-1": (0.6, 0.5),
}
_CHANCE = {"A-1": 0.97, "A-2": 0.81, "B-1": 0.88, "B-2": 0.12, "C-1": 0.004, "E-1": 0.4}


def _ranking() -> pd.DataFrame:
    rows = []
    for rank, (number, player, squad, role, status, days, limit) in enumerate(_RACKETS, start=1):
        has_bed = status != "no_bed"
        breaks, dead = _USED.get(number, (None, None))
        chance = _CHANCE.get(number)
        low, high = (None, None) if days is None else (days * 0.5, min(days * 2 + 1, 365))
        rows.append(
            {
                "rank": rank,
                "racket_id": number,
                "player_id": None if player is None else f"P-{number[0]}",
                "player_name": player,
                "squad": squad,
                "role": role,
                "frame": "Kestrel 98",
                "marking": "red dot" if number == "A-1" else None,
                "bed_id": f"{number}:2" if has_bed else None,
                "status": status,
                "strung_on": AS_OF - timedelta(days=20) if has_bed else None,
                "mains_string_id": "S1" if has_bed else None,
                "crosses_string_id": "S1" if has_bed else None,
                "string_label": "Lyra 1.25 mm" if has_bed else None,
                "mains_kg": 24.0 if has_bed else None,
                "crosses_kg": 23.5 if has_bed else None,
                "p_end": chance,
                "p_break": None if chance is None else chance * 0.75,
                "p_feel": None if chance is None else chance * 0.25,
                "p_dead": dead,
                "break_used": breaks,
                "break_used_p10": None if breaks is None else breaks * 0.9,
                "break_used_p90": None if breaks is None else breaks * 1.1,
                "dead_used": dead,
                "dead_used_p10": None if dead is None else dead * 0.9,
                "dead_used_p90": None if dead is None else dead * 1.1,
                "days_left_p10": low,
                "days_left_p50": days,
                "days_left_p90": high,
                "due_on": None if days is None else AS_OF + timedelta(days=days),
                "due_from": None if low is None else AS_OF + timedelta(days=low),
                "due_to": None if high is None else AS_OF + timedelta(days=high),
                "limit_first": limit,
                "tension_left_pct": 80.0 if has_bed else None,
                "hours_played": 11.0 if has_bed else None,
                "next_event": "County match" if player is not None else None,
                "next_event_on": COUNTY if player is not None else None,
                "p_before_event": chance,
                "handed_in_on": AS_OF - timedelta(days=1) if status == "in_shop" else None,
                "urgency": float(-rank),
                "why": f"why of {number}" if has_bed else None,
                "mains": 16,
                "crosses": 19,
            }
        )
    return pd.DataFrame(rows)


def _bed_days() -> pd.DataFrame:
    rows = []
    for number, (breaks, dead) in _USED.items():
        for back in range(10, -1, -2):
            share = 1 - back / 12
            rows.append(_bed_day(number, AS_OF - timedelta(days=back), "played", breaks * share, dead * share))
        for ahead in range(1, 43, 3):
            grown = 1 + ahead / 40
            rows.append(_bed_day(number, AS_OF + timedelta(days=ahead), "planned", breaks * grown, dead * grown))
    return pd.DataFrame(rows)


def _bed_day(number: str, day: date, kind: str, breaks: float, dead: float) -> dict[str, Any]:
    row: dict[str, Any] = {"racket_id": number, "bed_id": f"{number}:2", "day": day, "kind": kind, "hours": 1.5}
    for name, used in (("break_used", breaks), ("dead_used", dead)):
        row |= {name: used, f"{name}_p10": used * 0.9, f"{name}_p90": used * 1.1}
    return row


def tables() -> dict[str, pd.DataFrame]:
    """Every table of the view but the store's own books."""
    session = {"racket_id": "A-2", "bed_id": "A-2:2", "minutes": 90.0, "abrasion_hours": 1.8, "playability_hours": 1.5}
    look = {
        "racket_id": "A-2", "fraying": 0, "lost_feel": None, "pitch_hz": 561.4, "broken": False, "frame": "ok",
        "said_by": None, "said_by_name": None,
    }  # fmt: skip
    bed = {
        "racket_id": "A-2", "player_id": "P-A", "mains_string_id": "S1", "crosses_string_id": "S1",
        "string_label": "Lyra 1.25 mm", "mains_kg": 24.0, "crosses_kg": 23.5, "stringer": "Tom",
        "teaches_abrasion": True, "said_by": None, "said_by_name": None,
    }  # fmt: skip
    weeks = [(1, 18, 12, 25, 540, 780, 600), (2, 20, 14, 28, 660, 900, 600), (3, 15, 10, 22, 480, 700, 600)]
    return {
        "meta": pd.DataFrame(
            [("as_of", "2026-11-15"), ("last_log_on", "2026-11-15"), ("club_name", "Holm Ridge Academy"),
             ("count_rackets", "7"), ("count_players", "4"), ("tension_unit", "kg"), ("rank_days", "14")],
            columns=["key", "value"],
        ),
        "ranking": _ranking(),
        "bed_days": _bed_days(),
        "bed_sessions": pd.DataFrame(
            [session | {"played_on": AS_OF, "source": "match", "activity": "singles", "share": 1.0, "is_shared": False,
                        "surface": "hard", "intensity": None, "event": "League"},
             session | {"played_on": AS_OF - timedelta(days=2), "source": "practice", "activity": "ball_machine",
                        "share": 0.4, "is_shared": True, "surface": "clay", "intensity": "hard", "event": None}]
        ),
        "inspections_seen": pd.DataFrame(
            [look | {"bed_id": "A-2:1", "inspected_on": date(2026, 10, 1), "notching": 3, "misalignment": 3,
                     "note": "old bed", "lost_feel": 2, "said_by": "P-A", "said_by_name": "Ana Reed"},
             look | {"bed_id": "A-2:2", "inspected_on": date(2026, 11, 11), "notching": 2, "misalignment": None,
                     "note": None}]
        ),
        "beds": pd.DataFrame(
            [bed | {"bed_id": "A-2:1", "strung_on": date(2026, 9, 20), "ended_on": date(2026, 10, 26), "restrung_on":
                    date(2026, 10, 26), "reason": "lost_feel", "cause": "goes_dead", "hours_played": 14.0,
                    "break_used": 0.5, "dead_used": 1.1, "said_by": "P-A", "said_by_name": "Ana Reed"},
             bed | {"bed_id": "A-2:2", "strung_on": date(2026, 10, 26), "ended_on": None, "restrung_on": None,
                    "reason": None, "cause": "none", "hours_played": 11.0, "break_used": 0.8, "dead_used": 0.4}]
        ),
        "forecast_weeks": pd.DataFrame(
            [(week, AS_OF + timedelta(days=7 * week - 6), float(p50), *map(float, (p10, p50, p90, m50, m90, capacity)))
             for week, p50, p10, p90, m50, m90, capacity in weeks],
            columns=["week", "starts_on", "mean", "p10", "p50", "p90", "minutes_p50", "minutes_p90",
                     "capacity_minutes"],
        ),
        "forecast_strings": pd.DataFrame(
            [(week, name, metres, metres * 1.3, jobs) for week in (1, 2, 3) for name, metres, jobs in
             (("S1", 110.0, 10.0), ("S2", 55.0, 5.0))],
            columns=["week", "string_id", "metres_p50", "metres_p90", "jobs_p50"],
        ),
        "strings": pd.DataFrame({"string_id": ["S1", "S2"], "string_name": ["Lyra", "Soft Multi"]}),
        "history_weeks": pd.DataFrame(
            [(AS_OF - timedelta(days=7 * back - 1), 16, 5000.0) for back in range(4, 0, -1)],
            columns=["starts_on", "jobs", "minutes_played"],
        ),
        "parameters": pd.DataFrame(
            [("strung_part_of_pull", "tension just after stringing, as a part of the pull", "1", 0.7, 0.7,
              "Cross & Bower 2001: about 30 % below", False),
             ("gauge_exponent", "life goes as diameter to this power", "1", 2.5, 2.5, "assumption", True),
             ("shape_breaks", "Weibull shape of breaking", "1", 3.0, 2.4, "assumption", True)],
            columns=["name", "meaning", "unit", "trade_value", "value", "source", "is_assumption"],
        ).assign(value_p05=[None, None, 2.1], value_p95=[None, None, 2.8],
                 since=pd.to_datetime([None, None, AS_OF]), evidence=["", "", "12 held-out weeks: better"]),
        "match_ready": pd.DataFrame(
            [("County match", COUNTY, COUNTY + timedelta(days=1), f"P-{letter}", name, squad, ready, 2, chance, worst)
             for letter, name, squad, ready, chance, worst in
             (("A", "Ana Reed", "Falcon", 0, 0.21, "A-1"), ("B", "Ben Cole", "Heron", 1, 0.68, "B-1"),
              ("C", ODD_NAME, "Heron", 2, 0.93, "C-1"), ("E", "Eve Lund", "Falcon", 1, 0.86, "E-1"))],
            columns=["event", "planned_on", "until_on", "player_id", "player_name", "squad", "ready", "needed",
                     "prob_enough", "worst_racket"],
        ),
        "look_first": pd.DataFrame(
            [(1, "B-2", "P-B", "Ben Cole", "Heron", 0.08, 0.4, "notching", "wait", None, False,
              "a look changes the call in 4 of 10 cases: hand it in, else it can wait; nobody has graded this bed yet"),
             (2, "C-1", "P-C", ODD_NAME, "Heron", 0.0, 0.0, "notching", "wait", None, False, "nothing to gain")],
            columns=["order", "racket_id", "player_id", "player_name", "squad", "look_value", "prob_change", "sign",
                     "call_now", "looked_on", "is_past_life", "reason"],
        ),
        "bed_breakdown": pd.DataFrame(
            [("A-2", "breaks", step, label, hours, order) for order, (step, label, hours) in enumerate(
                [("string", "reference life of the string", 34.0), ("spin", "spin", -9.5),
                 ("level", "level of play", 0.1), ("club", "how such strings last in this club", -10.5),
                 ("look", "the inspections", 1.0)], start=1)],
            columns=["racket_id", "limit", "step", "label", "hours", "order"],
        ),
        "tension_left": pd.DataFrame(
            [("A-2", 81.0, 76.0, 86.0, "pitch"), ("B-1", 79.0, 70.0, 89.0, "model")],
            columns=["racket_id", "tension_left_pct", "p10", "p90", "source"],
        ),
        "events": pd.DataFrame(
            [("County match", COUNTY, COUNTY + timedelta(days=1), "Falcon", None, "away", 2),
             ("County match", COUNTY, COUNTY + timedelta(days=1), "Heron", None, "away", 2),
             ("Open day", date(2026, 12, 2), None, None, "P-B", "home", 1)],
            columns=["event", "planned_on", "until_on", "squad", "player_id", "place", "fresh_rackets"],
        ),
    }  # fmt: skip


def books() -> dict[str, pd.DataFrame]:
    """The store's own books, which the store copies into a view when it publishes one."""
    at = datetime(2026, 11, 15, 19, 30)
    place = {"load_id": 2, "loaded_at": at}
    return {
        "loads": pd.DataFrame(
            [(1, "players.csv", at, 4, 4, 0, 0, 0, None), (2, "restrings.csv", at, 30, 28, 0, 0, 2, None)],
            columns=["load_id", "file", "loaded_at", "read", "new", "corrected", "unchanged", "rejected", "refused"],
        ),
        "rejects": pd.DataFrame(
            [place | {"file": "restrings.csv", "line": 7, "column": "strung_on", "value": "2099-03-01", "message":
                      "strung_on lies in the future: write the day it was strung"},
             place | {"file": "restrings.csv", "line": 9, "column": "racket_id", "value": "R99-9", "message":
                      "racket_id R99-9 is not in rackets.csv: add it there, or mend the number"}]
        ),
        "questions": pd.DataFrame(columns=["load_id", "loaded_at", "file", "line", "column", "value", "message"]),
    }  # fmt: skip


DATES = {
    "ranking": ["strung_on", "handed_in_on", "due_on", "due_from", "due_to", "next_event_on"],
    "bed_days": ["day"],
    "bed_sessions": ["played_on"],
    "inspections_seen": ["inspected_on"],
    "beds": ["strung_on", "ended_on", "restrung_on"],
    "forecast_weeks": ["starts_on"],
    "history_weeks": ["starts_on"],
    "events": ["planned_on", "until_on"],
    "match_ready": ["planned_on", "until_on"],
    "look_first": ["looked_on"],
}


def write(con: duckdb.DuckDBPyConnection, with_books: bool = False, only_meta: bool = False) -> None:
    """Make the tables in the connection's default catalogue; `only_meta` leaves all others empty."""
    for name, frame in (tables() | (books() if with_books else {})).items():
        con.register("given", frame.head(0) if only_meta and name != "meta" else frame)
        con.execute(f"create or replace table {name} as from given")
        con.unregister("given")
        for column in DATES.get(name, []):
            con.execute(f"alter table {name} alter {column} type date")
