"""A club of any size as CSV files of the contract, written by DuckDB from arithmetic on row numbers.

In: a folder, how many sessions. Out: the files. Five years of play; per 10 million sessions 20,000 rackets of 8,000
players and 500,000 restrings. Nothing in it is drawn from the project's model or from its other generators: it only has
the right shape, and dates, ids and reasons that the contract accepts. Rows are the same at every call.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import duckdb

FIRST_DAY = date(2021, 11, 15)
DAYS = 5 * 365
LAST_DAY = FIRST_DAY + timedelta(days=DAYS)
SESSIONS_A_RACKET, BEDS_A_RACKET, RACKETS_A_PLAYER = 500, 25, 2.5
MATCH_EVERY, UNNAMED_PART = 10, 15

STRINGS = """
select 'S' || i as string_id, 'Cord ' || i as string_name,
       ['polyester', 'multifilament', 'synthetic_gut', 'natural_gut'][i] as material,
       [1.25, 1.30, 1.30, 1.30][i] as gauge_mm, 'round' as profile, 200 as reel_m, 120 as reel_price
from range(1, 5) as r(i)
"""
PLAYERS = """
select 'P' || p as player_id, 'Player ' || p as player_name, 'Squad ' || (p % $squads) as squad,
       ['regional', 'national', 'club'][1 + p % 3] as level, ['moderate', 'heavy', 'flat'][1 + p // 3 % 3] as spin
from range($players) as r(p)
"""
RACKETS = """
select 'R' || r as racket_id, 'P' || (r % $players) as player_id, 'Frame ' || (r % 7) as frame, 16 as mains,
       19 as crosses, 632 as head_cm2, case when r < $players then 'match' else 'spare' end as role,
       date '{first}' as in_service_on
from range($rackets) as t(r)
"""
RESTRINGS = """
select 'T' || i as restring_id, 'R' || (i % $rackets) as racket_id,
       date '{first}'
           + ((i // $rackets) * {days} // $beds + (hash(i) % ({days} // $beds))::integer)::integer as strung_on,
       'S' || (1 + (i % $rackets) % 4) as mains_string_id, 24 as mains_kg,
       case when i < $rackets then 'first'
            else ['broke', 'lost_feel', 'broke', 'scheduled', 'broke'][1 + (hash(i + 7) % 5)::integer] end as reason
from range($rackets * $beds) as t(i)
"""
# a session's day runs through the years with its number; its player by the number's hash
SESSIONS = """
select i, (i * {days} // $sessions)::integer as day, (hash(i) % $rackets)::integer as racket,
       (hash(i + 3) % 100)::integer < {unnamed} as is_unnamed
from range($sessions) as t(i)
"""
PRACTICES = """
select 'A' || i as practice_id, 'P' || (racket % $players) as player_id, date '{first}' + day as played_on,
       case when not is_unnamed then 'R' || racket end as racket_id,
       ['rally', 'drills', 'serve', 'sparring'][1 + (hash(i + 1) % 4)::integer] as activity,
       60 + 5 * ((hash(i + 2) % 8)::integer) as "minutes",
       ['hard', 'clay'][1 + i % 2] as surface
from ({sessions}) where i % {match_every} <> 0
"""
MATCHES = """
select 'M' || i as match_id, 'P' || (racket % $players) as player_id, 'R' || racket as racket_id,
       date '{first}' + day as played_on, 'singles' as format, '6-4 6-3' as score, 80 as "minutes", 'hard' as surface
from ({sessions}) where i % {match_every} = 0
"""
# one more day, for loading on top: a copy of the newest day's practices under ids of their own
ONE_MORE_DAY = """
select 'B' || i as practice_id, 'P' || ((hash(i) % $rackets)::integer % $players) as player_id,
       date '{last}' as played_on,
       'R' || ((hash(i) % $rackets)::integer) as racket_id, 'drills' as activity, 60 as "minutes", 'clay' as surface
from range($sessions // {days}) as t(i)
"""


@dataclass(frozen=True)
class Size:
    """How much of everything a club of so many sessions has."""

    sessions: int

    @property
    def rackets(self) -> int:
        return max(self.sessions // SESSIONS_A_RACKET, 5)

    @property
    def players(self) -> int:
        return max(int(self.rackets / RACKETS_A_PLAYER), 2)

    @property
    def restrings(self) -> int:
        return self.rackets * BEDS_A_RACKET


def _filled(query: str, size: Size) -> str:
    """The query with its numbers; they are whole numbers of our own, and COPY takes no parameters."""
    words = {
        "first": FIRST_DAY, "last": LAST_DAY, "days": DAYS, "unnamed": UNNAMED_PART, "match_every": MATCH_EVERY,
        "sessions": SESSIONS,
    }  # fmt: skip
    text = query
    for _ in range(2):  # PRACTICES holds SESSIONS, which holds numbers
        for name, value in words.items():
            text = text.replace("{" + name + "}", str(value))
    numbers = {
        "squads": max(size.players // 20, 1), "players": size.players, "rackets": size.rackets, "beds": BEDS_A_RACKET,
        "sessions": size.sessions,
    }  # fmt: skip
    for name, number in numbers.items():
        text = text.replace(f"${name}", str(number))
    return text


def write_club(folder: Path, sessions: int) -> Size:
    """Write the club's files into `folder`."""
    size = Size(sessions)
    folder.mkdir(parents=True, exist_ok=True)
    files = {
        "strings": STRINGS, "players": PLAYERS, "rackets": RACKETS, "restrings": RESTRINGS, "practices": PRACTICES,
        "matches": MATCHES,
    }  # fmt: skip
    with duckdb.connect() as con:
        for name, query in files.items():
            con.execute(f"copy ({_filled(query, size)}) to '{(folder / name).as_posix()}.csv' (header)")
    return size


def write_one_more_day(folder: Path, size: Size) -> Path:
    """Write the practices of the day after into `folder`, as a file of their own."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "practices.csv"
    with duckdb.connect() as con:
        con.execute(f"copy ({_filled(ONE_MORE_DAY, size)}) to '{path.as_posix()}' (header)")
    return path
