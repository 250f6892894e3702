"""The same amount of work without the project, to hold its times against.

In: a folder of CSV files; a number of weeks and draws. Out: nothing but the time it takes.
"""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np


def read_files(folder: Path) -> int:
    """DuckDB alone reads the same CSV files into tables in memory, guessing types; the count of rows."""
    count = 0
    with duckdb.connect() as con:
        for number, path in enumerate(sorted(folder.glob("*.csv"))):
            con.execute(f"create table file_{number} as select * from read_csv('{path.as_posix()}')")
            count += con.execute(f"select count(*) from file_{number}").fetchall()[0][0]
    return count


def read_tables(facts: Path) -> int:
    """DuckDB alone reads every clean table of a store's facts into memory; the count of rows."""
    count = 0
    with duckdb.connect() as con:
        con.execute(f"attach '{facts.as_posix()}' as facts (read_only)")
        tables = con.execute(
            "select table_name from duckdb_tables() where database_name = 'facts' and schema_name = 'main'"
        ).fetchall()
        for (name,) in tables:
            con.execute(f'create table "{name}" as from facts."{name}"')
            count += con.execute(f'select count(*) from "{name}"').fetchall()[0][0]
    return count


BARE_KEYS = {
    "strings": "string_id", "players": "player_id", "rackets": "racket_id", "restrings": "restring_id",
    "practices": "practice_id", "matches": "match_id",
}  # fmt: skip


def build(folder: Path, database: Path) -> int:
    """DuckDB alone reads the files of a big club into a database file, keeps one row a key and finds the string bed of
    every session with a racket; the count of sessions found.
    """
    with duckdb.connect(str(database)) as con:
        for name, key in BARE_KEYS.items():
            path = (folder / f"{name}.csv").as_posix()
            con.execute(f"create table {name} as select distinct on ({key}) * from read_csv('{path}')")
        con.execute(
            "create table played as select s.*, b.restring_id from ("
            'select practice_id as session_id, player_id, racket_id, played_on, "minutes" from practices union all '
            'select match_id, player_id, racket_id, played_on, "minutes" from matches) as s '
            "asof left join restrings as b on s.racket_id = b.racket_id and s.played_on >= b.strung_on"
        )
        con.execute("checkpoint")
        return int(con.execute("select count(restring_id) from played").fetchall()[0][0])


def draw_lives(count_beds: int, weeks: int, draws: int, seed: int) -> float:
    """NumPy alone, draw by draw: a Weibull life for each bed and an exponential one besides, counted by week."""
    rng = np.random.default_rng(seed)
    jobs = np.zeros((draws, weeks))
    for draw in range(draws):
        wear = 7.0 * weeks * rng.weibull(3.0, count_beds)
        other = rng.exponential(250.0, count_beds)
        ends = np.minimum(wear, other)
        jobs[draw] = np.bincount((ends[ends < 7 * weeks] // 7).astype(int), minlength=weeks)
    return float(jobs.mean())


def draw_chains(count_beds: int, weeks: int, draws: int, seed: int) -> float:
    """NumPy alone, draw by draw: one bed after another in every racket until the weeks are over, each with a Weibull
    life and an exponential one besides; restrings counted by week.
    """
    rng = np.random.default_rng(seed)
    horizon = 7.0 * weeks
    jobs = np.zeros((draws, weeks))
    for draw in range(draws):
        day = np.zeros(count_beds)
        while len(day):
            day = day + np.minimum(40.0 * rng.weibull(3.0, len(day)), rng.exponential(250.0, len(day)))
            day = day[day < horizon]
            jobs[draw] += np.bincount((day // 7).astype(int), minlength=weeks)
    return float(jobs.mean())
