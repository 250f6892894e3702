"""One table of times on the sample academy: `python -m tests.bench`.

In: sample_data. Out, on standard output: the machine and the versions, then for each piece of work the median seconds
of a few runs, and the ratio to as much work without the project (see bare.py). Nothing is asserted. Run it alone:
anything else at work on the machine is in the figures.
"""

from __future__ import annotations

import itertools
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
WEEKS, DRAWS = 6, 2000
PACKAGES = ("duckdb", "numpy", "pandas", "scipy", "streamlit")
RUNS = 5
NEW_ROW = "practice_id,player_id,played_on,activity,minutes\nBENCH{number},P01,{day},drills,60\n"


@dataclass(frozen=True)
class Taken:
    """Medians of a few runs: seconds on the clock, and seconds of processor time, which other work disturbs less."""

    clock: float
    processor: float


@dataclass(frozen=True)
class Timed:
    """A piece of work and what it took, what it is held against and what that took."""

    work: str
    taken: Taken
    against: str
    bare: Taken


def time_of(work: Callable[[], object], runs: int = RUNS, prepare: Callable[[], object] | None = None) -> Taken:
    """What `work` takes; `prepare` is run before each run and not counted."""
    clock, processor = [], []
    for _ in range(runs):
        if prepare is not None:
            prepare()
        clock_start, processor_start = time.perf_counter(), time.process_time()
        work()
        processor.append(time.process_time() - processor_start)
        clock.append(time.perf_counter() - clock_start)
    return Taken(statistics.median(clock), statistics.median(processor))


def measured(folder: Path) -> tuple[list[Timed], str]:
    """Every piece of work, and the size of the academy in words. folder: for the stores."""
    day = last_recorded_day(SAMPLE, load_contract())
    assert day is not None
    now = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
    numbers = itertools.count()

    def load() -> Store:
        store = Store(folder / f"store-{next(numbers)}")
        store.load(SAMPLE, now=now)
        return store

    def write_new_row() -> None:
        text = NEW_ROW.format(number=next(numbers), day=day)
        (folder / "practices.csv").write_text(text, encoding="utf-8")

    def load_new_row() -> None:
        report = store.load(folder / "practices.csv", now=now)
        assert report.total("new") == 1

    def new_row() -> None:
        write_new_row()
        load_new_row()

    files = time_of(lambda: bare.read_files(SAMPLE))
    rows = [Timed("load the sample into an empty store", time_of(load, 3), "DuckDB reads the files", files)]
    store = load()
    refresh(store, now=now)
    tables = time_of(lambda: bare.read_tables(store.facts_path))
    loading = time_of(load_new_row, prepare=write_new_row)
    refreshing = time_of(lambda: refresh(store, now=now), prepare=new_row)
    rows.append(Timed("load one new row", loading, "DuckDB reads the tables", tables))
    rows.append(Timed("refresh after one new row", refreshing, "DuckDB reads the tables", tables))
    with store.facts() as con:
        as_of = last_logged_day(con)
        assert as_of is not None
        fitting = time_of(lambda: snapshot(con, as_of, store.settings), 3)
        rows.append(Timed("snapshot with a fit of its own", fitting, "DuckDB reads the tables", tables))
        made = snapshot(con, as_of, store.settings)
        count_beds = int(made.rackets["bed_id"].notna().sum())
        draws, against = time_of(lambda: bare.draw_lives(count_beds, WEEKS, DRAWS, 0), 3), "NumPy draws as many lives"
        rows.append(Timed("rank", time_of(made.rank), against, draws))
        # a seed of its own each time: a snapshot keeps what it has simulated
        forecasting = time_of(lambda: made.forecast(weeks=WEEKS, draws=DRAWS, seed=next(numbers)), 3)
        rows.append(Timed(f"forecast of {WEEKS} weeks x {DRAWS} draws", forecasting, against, draws))
        size = f"{len(made.rackets)} rackets, {made.estimate.history.n_beds} beds"
    count_rows = sum(len(path.read_text(encoding="utf-8").splitlines()) - 1 for path in SAMPLE.glob("*.csv"))
    return rows, f"sample academy: {count_rows} rows, {size}"


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
    for heading in ("work", "seconds", "processor", "held against", "its seconds", "ratio"):
        table.add_column(heading, justify="left" if heading in ("work", "held against") else "right", no_wrap=True)
    for row in rows:
        figures = [f"{value:.3f}" for value in (row.taken.clock, row.taken.processor, row.bare.clock)]
        table.add_row(row.work, *figures[:2], row.against, figures[2], f"{row.taken.clock / row.bare.clock:.1f}")
    Console(file=sys.stdout, width=None if sys.stdout.isatty() else 120, highlight=False).print(table)


if __name__ == "__main__":
    main()
