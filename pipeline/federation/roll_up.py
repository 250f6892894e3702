"""A lake of many clubs in, one table over all of them out: `roll_up.sql`, run on DuckDB here.

The same text serves another engine: translated to Spark SQL by a SQL translator, it runs on views of the same Parquet
files.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.contract.typed import literal, quoted
from pipeline.store import StoreError

READ = ("restrings", "strings")


def roll_up_text() -> str:
    """The query, as written."""
    return files(__package__).joinpath("roll_up.sql").read_text(encoding="utf-8")


def roll_up(lake: Path) -> pd.DataFrame:
    """One row per club, season and material: counts, metres as written, shares that broke or went dead, mean days in.

    Shares are of the beds that have ended (0 to 1); `mean_days_in` is in days between two restrings of a racket.
    Raises for a lake without restrings or strings.
    """
    with duckdb.connect() as con:
        for name in READ:
            pattern = lake / name / "**" / "*.parquet"
            if not any((lake / name).rglob("*.parquet")):
                raise StoreError(
                    f"{lake} holds no {name}: write a club into it first (racket-fleet export --parquet DIR)."
                )
            con.execute(
                f"create view {quoted(name)} as from read_parquet({literal(str(pattern))}, hive_partitioning=true, "
                "hive_types={'club': 'VARCHAR'}, union_by_name=true)"
            )
        return con.execute(roll_up_text()).df()
