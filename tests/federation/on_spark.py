"""The roll-up on a real Spark, beside DuckDB: `python -m tests.federation.on_spark`, with pyspark and Java installed.

In: nothing; two clubs are made from the sample data and written into a lake. Out: both tables compared, value by
value, and whether Spark finds club and season in the paths by itself. Not a test of the suite: pyspark is 450 MB.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import pandas as pd
import sqlglot

from pipeline.command.demo import last_recorded_day
from pipeline.contract import load_contract
from pipeline.federation.lake import write_lake
from pipeline.federation.roll_up import READ, roll_up, roll_up_text
from pipeline.store import Store

SAMPLE = Path(__file__).parents[2] / "sample_data"


def on_spark(lake: Path) -> pd.DataFrame:
    """The same table, from Spark SQL on views of the same files."""
    from pyspark.sql import SparkSession  # type: ignore[import-not-found]

    spark = SparkSession.builder.master("local[1]").config("spark.ui.enabled", "false").getOrCreate()
    try:
        for name in READ:
            frame = spark.read.parquet(str(lake / name))
            print(f"{name}: Spark reads {frame.count()} rows with {', '.join(frame.columns[-2:])} from the paths")
            frame.createOrReplaceTempView(name)
        (query,) = sqlglot.transpile(roll_up_text(), read="duckdb", write="spark")
        rows = spark.sql(query).collect()
        return pd.DataFrame([row.asDict() for row in rows])
    finally:
        spark.stop()


def main() -> int:
    """The command; status 1 where the two differ."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "store")
        store.load(SAMPLE, load_day=last_recorded_day(SAMPLE, load_contract()))
        for club in ("one", "two"):
            write_lake(store, Path(folder) / "lake", club)
        here, there = roll_up(Path(folder) / "lake"), on_spark(Path(folder) / "lake")
    there = there.astype({"season": "int64", "metres_written": "float64"})[list(here.columns)]
    pd.testing.assert_frame_equal(here.astype({"season": "int64"}), there, check_dtype=False, rtol=1e-12)
    print(f"Equal: {len(here)} rows, {len(here.columns)} columns.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
