"""A club's facts in, its partition of a lake out.

Parquet files by file of the contract, club and season, without names.

Layout: `DIR/<file>/club=<club>/season=<year>/part-0.parquet`, which DuckDB and Spark read as it is (Hive
partitioning). The season is the calendar year of the row's day; files of things without a day (strings, rackets,
players) have one part for each club. Left out: names of players and stringers, remarks, marks on frames and who paid.
Player numbers are told apart from other clubs' by the partition. Each part is replaced in one step; parts of this
club that are no more are removed. Other clubs' parts are not touched.
"""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

import duckdb

from pipeline.contract.resources import Contract, Resource
from pipeline.contract.typed import clean_columns, literal, quoted
from pipeline.store import Store, StoreError

PERSONAL = {
    ("players", "player_name"), ("inspections", "note"), ("rackets", "marking"), ("restrings", "charge_to"),
    ("restrings", "stringer"), ("jobs", "stringer"), ("bench", "stringer"),
}  # fmt: skip
DAY_OF = {
    "restrings": "strung_on", "matches": "played_on", "practices": "played_on", "inspections": "inspected_on",
    "jobs": "handed_in_on", "calendar": "planned_on", "bench": "bench_on", "stock": "counted_on",
    "orders": "ordered_on",
}  # fmt: skip
PART = "part-0.parquet"
LONGEST_CLUB = 60


def partition_name(club: str) -> str:
    """A club's name as it stands in a path: small letters, digits and hyphens. Raises if nothing is left."""
    plain = unicodedata.normalize("NFKD", club).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_CLUB].strip("-")
    if not name:
        raise StoreError(
            f"the club's name {club!r} has no letter a path can hold: name it with --club, such as --club 17."
        )
    return name


def _columns(resource: Resource) -> str:
    kept = [name for name in clean_columns(resource) if (resource.name, name) not in PERSONAL]
    return ", ".join(quoted(name) for name in kept)


def _write(con: duckdb.DuckDBPyConnection, query: str, part: Path) -> int:
    """One part, written beside its place and put there in one step; the count of its rows."""
    part.parent.mkdir(parents=True, exist_ok=True)
    fresh = part.with_name(f".{part.name}.new")  # a name that readers of a lake pass over
    con.execute(f"copy ({query}) to {literal(str(fresh))} (format parquet, compression zstd)")
    (count,) = con.execute(f"select count(*) from read_parquet({literal(str(fresh))})").fetchall()[0]
    fresh.replace(part)
    return int(count)


def _write_file(con: duckdb.DuckDBPyConnection, resource: Resource, folder: Path, club: str) -> int:
    """All parts of one file of one club; the count of rows."""
    place = folder / resource.name / f"club={club}"
    table = f"facts.{quoted(resource.name)}"
    order = ", ".join(f"{quoted(name)} nulls first" for name in resource.key_columns)
    wanted: dict[Path, str] = {}
    day = DAY_OF.get(resource.name)
    if day is None:
        wanted[place / PART] = f"select {_columns(resource)} from {table} order by {order}"
    else:
        years = con.execute(f"select distinct year({quoted(day)}) from {table} order by 1").fetchall()
        for (year,) in years:
            wanted[place / f"season={year}" / PART] = (
                f"select {_columns(resource)} from {table} where year({quoted(day)}) = {int(year)} order by {order}"
            )
    count = sum(_write(con, query, part) for part, query in wanted.items())
    if place.exists():
        for part in place.rglob(f"*{PART}*"):
            if part not in wanted:
                part.unlink()
    return count


def write_lake(store: Store, folder: Path, club: str | None = None) -> dict[str, int]:
    """Write or replace this club's partition; the count of rows by file. `club`: its name in the lake, else its own.

    Raises where the folder cannot be written to.
    """
    contract: Contract = store.contract
    name = partition_name(club or store.settings.name)
    try:
        with store.facts_apart() as con:
            return {
                resource.name: _write_file(con, resource, folder, name)
                for resource in contract.resources.values()
                if con.execute(f"select 1 from facts.{quoted(resource.name)} limit 1").fetchall()
                or (folder / resource.name / f"club={name}").exists()
            }
    except (OSError, duckdb.IOException) as error:
        reason = str(error).splitlines()[0]
        raise StoreError(f"{folder} cannot be written to ({reason}): choose another folder.") from error
