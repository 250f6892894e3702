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
