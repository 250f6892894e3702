"""One table of times on the sample academy: `python -m tests.bench`.

In: sample_data. Out, on standard output: the machine and the versions, then for each piece of work the median seconds
of a few runs, and the ratio to as much work without the project (see bare.py). Nothing is asserted. Run it alone:
anything else at work on the machine is in the figures.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from rich.console import Console
from rich.table import Table

from pipeline.command.demo import last_recorded_day
from pipeline.contract import load_contract
from pipeline.fleet.snapshot import snapshot
from pipeline.refresh import refresh
from pipeline.sql import last_logged_day
from pipeline.store import Store
from tests.bench import bare

SAMPLE = Path(__file__).parents[2] / "sample_data"
WEEKS, DRAWS, SEED = 6, 2000, 0
PACKAGES = ("duckdb", "numpy", "pandas", "scipy", "streamlit")
RUNS = 5
NEW_ROW = "practice_id,player_id,played_on,activity,minutes\nBENCH{number},P01,{day},drills,60\n"


@dataclass(frozen=True)
class Timed:
    """A piece of work, its seconds, what it is held against and that one's seconds."""

    work: str
    seconds: float
    against: str
    bare_seconds: float


def seconds_of(work: Callable[[], object], runs: int = RUNS) -> float:
    """Median seconds of a few runs."""
    taken = []
    for _ in range(runs):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def measured(folder: Path) -> tuple[list[Timed], str]:
    """Every piece of work, and the size of the academy in words. folder: for the stores."""
    day = last_recorded_day(SAMPLE, load_contract())
    assert day is not None
    now = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
    loads = iter(range(1000))

    def load() -> Store:
        store = Store(folder / f"load-{next(loads)}")
        store.load(SAMPLE, now=now)
        return store

    bare_files = seconds_of(lambda: bare.read_files(SAMPLE))
    rows = [Timed("load the sample into an empty store", seconds_of(load, 3), "DuckDB reads the files", bare_files)]
    store = load()
    refresh(store, now=now)
    bare_tables = seconds_of(lambda: bare.read_tables(store.facts_path))
    new_rows = iter(range(1000))

    def write_new_row() -> Path:
        path = folder / "practices.csv"
        path.write_text(NEW_ROW.format(number=next(new_rows), day=day), encoding="utf-8")
        return path

    rows.append(Timed("load one new row", seconds_of(lambda: store.load(write_new_row(), now=now)),
                      "DuckDB reads the tables", bare_tables))  # fmt: skip

    def refresh_seconds() -> float:
        store.load(write_new_row(), now=now)
        return seconds_of(lambda: refresh(store, now=now), 1)

    after_new_row = statistics.median(refresh_seconds() for _ in range(RUNS))
    rows.append(Timed("refresh after one new row", after_new_row, "DuckDB reads the tables", bare_tables))
    with store.facts() as con:
        as_of = last_logged_day(con)
        assert as_of is not None
        taken = seconds_of(lambda: snapshot(con, as_of, store.settings))
        rows.append(Timed("snapshot with a fit of its own", taken, "DuckDB reads the tables", bare_tables))
        made, seeds = snapshot(con, as_of, store.settings), iter(range(SEED, SEED + 1000))
        count_beds = int(made.rackets["bed_id"].notna().sum())
        bare_draws = seconds_of(lambda: bare.draw_lives(count_beds, WEEKS, DRAWS, SEED), 3)
        rows.append(Timed("rank", seconds_of(made.rank), f"NumPy, {DRAWS} draws of {count_beds} beds", bare_draws))
        rows.append(Timed(
            f"forecast of {WEEKS} weeks x {DRAWS} draws",
            # a seed of its own each time: a snapshot keeps what it has simulated
            seconds_of(lambda: made.forecast(weeks=WEEKS, draws=DRAWS, seed=next(seeds)), 3),
            f"NumPy, {DRAWS} draws of {count_beds} beds", bare_draws,
        ))  # fmt: skip
    count = sum(1 for path in SAMPLE.glob("*.csv") for _ in path.open(encoding="utf-8")) - len(
        list(SAMPLE.glob("*.csv"))
    )
    return rows, f"sample academy: {count} rows, {len(made.rackets)} rackets, {made.estimate.history.n_beds} beds"


def machine() -> str:
    """The machine and what runs on it, in two lines."""
    threads = os.environ.get("OMP_NUM_THREADS", "as many as it likes")
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores{load}, threads for arrays: {threads}\n"
        f"Python {platform.python_version()}, {packages}"
    )


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as scratch:
        rows, size = measured(Path(scratch))
    table = Table(title=f"{machine()}\n{size}", title_justify="left", title_style="", box=None, pad_edge=False)
    for heading in ("work", "seconds", "held against", "its seconds", "ratio"):
        table.add_column(heading, justify="left" if heading in ("work", "held against") else "right", no_wrap=True)
    for row in rows:
        ratio = row.seconds / row.bare_seconds
        table.add_row(row.work, f"{row.seconds:.3f}", row.against, f"{row.bare_seconds:.3f}", f"{ratio:.1f}")
    Console(file=sys.stdout, width=None if sys.stdout.isatty() else 120, highlight=False).print(table)


if __name__ == "__main__":
    main()
