"""Taking times and showing them: medians of a few runs on the clock and of the processor, in one table.

In: pieces of work as functions. Out: Taken, Timed, and the table on standard output. Nothing is asserted.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version

from rich.console import Console
from rich.table import Table

PACKAGES = ("duckdb", "numpy", "pandas", "scipy", "streamlit")
RUNS = 5


@dataclass(frozen=True)
class Taken:
    """Medians of a few runs: seconds on the clock, and seconds of processor time, which other work disturbs less."""

    clock: float
    processor: float


@dataclass(frozen=True)
class Timed:
    """A piece of work and what it took, what it is held against and what that took; nothing where to nothing."""

    work: str
    taken: Taken
    against: str = ""
    bare: Taken | None = None


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


def machine() -> str:
    """The machine and what runs on it, in two lines."""
    threads = os.environ.get("OMP_NUM_THREADS", "as many as it likes")
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores{load}, threads for arrays: {threads}\n"
        f"Python {platform.python_version()}, {packages}"
    )


def show(title: str, rows: list[Timed]) -> None:
    """The table. Ratios are of the clock and, in brackets, of the processor."""
    table = Table(title=title, title_justify="left", title_style="", box=None, pad_edge=False)
    for heading in ("work", "seconds", "processor", "held against", "its seconds", "processor", "ratio"):
        table.add_column(heading, justify="left" if heading in ("work", "held against") else "right", no_wrap=True)
    for row in rows:
        figures = [f"{value:.3f}" for value in (row.taken.clock, row.taken.processor)]
        if row.bare is None:
            table.add_row(row.work, *figures)
            continue
        ratio = f"{row.taken.clock / row.bare.clock:.1f} ({row.taken.processor / max(row.bare.processor, 1e-9):.1f})"
        bare = [f"{value:.3f}" for value in (row.bare.clock, row.bare.processor)]
        table.add_row(row.work, *figures, row.against, *bare, ratio)
    Console(file=sys.stdout, width=None if sys.stdout.isatty() else 160, highlight=False).print(table)
