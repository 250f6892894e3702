"""A big club from files to the published view, beside the same reads, dedup and ASOF join in bare DuckDB.

In: how many sessions (`python -m tests.bench.scale SESSIONS`, one size a process, so that the peak of memory is its
own). Out: Scaled as JSON on standard output. The first refresh learns everything; the one after the day more stands on
what was learned, as every refresh does until much has ended since.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from pipeline.refresh import refresh
from pipeline.store import Store
from tests.bench import bare
from tests.bench.big_club import LAST_DAY, write_club, write_one_more_day
from tests.bench.measuring import Taken, Timed, time_of

MEGABYTE = 1024.0


@dataclass(frozen=True)
class Scaled:
    """One size: (clock, processor) seconds of each piece of work, megabytes at the peak after it."""

    sessions: int
    rackets: int
    restrings: int
    bare: tuple[float, float]
    load: tuple[float, float]
    first_refresh: tuple[float, float]
    one_day: tuple[float, float]
    refresh: tuple[float, float]
    peak_load_mb: float
    peak_mb: float


def peak_mb() -> float:
    """The most memory this process has held so far. Linux counts a parent's into `getrusage`, so its own book is read
    where there is one."""
    book = Path("/proc/self/status")
    if book.exists():
        lines = book.read_text(encoding="ascii", errors="replace").splitlines()
        return float(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / MEGABYTE
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MEGABYTE


def measure(sessions: int) -> Scaled:
    """One size, once."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        size = write_club(folder / "club", sessions)
        more = write_one_more_day(folder / "more", size)
        now = datetime.combine(LAST_DAY, datetime.min.time(), UTC) + timedelta(hours=20)
        alone = time_of(lambda: bare.build(folder / "club", folder / "bare.duckdb"), 1)
        store = Store(folder / "store")
        loaded = time_of(lambda: store.load(folder / "club", now=now), 1)
        peak_load = peak_mb()
        first = time_of(lambda: refresh(store, now=now), 1)
        day = time_of(lambda: store.load(more, now=now), 1)
        again = time_of(lambda: refresh(store, now=now), 1)
        with store.facts() as con:
            (count,) = con.execute(
                "select (select count(*) from facts.practices) + (select count(*) from facts.matches)"
            ).fetchall()[0]
    assert count == sessions + sessions // (5 * 365), "not all sessions were loaded"
    pairs = [(t.clock, t.processor) for t in (alone, loaded, first, day, again)]
    return Scaled(sessions, size.rackets, size.restrings, *pairs, peak_load, peak_mb())


def in_a_process(sessions: int) -> Scaled:
    """The same in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.scale", str(sessions)], check=True, capture_output=True, text=True
    )
    made = json.loads(done.stdout)
    return Scaled(**{name: tuple(value) if isinstance(value, list) else value for name, value in made.items()})


def timed(s: Scaled) -> list[Timed]:
    """Its lines of the table."""
    against, alone = "bare DuckDB: read, dedup, ASOF join", Taken(*s.bare)
    both = Taken(s.load[0] + s.refresh[0], s.load[1] + s.refresh[1])
    anew = Taken(s.load[0] + s.first_refresh[0], s.load[1] + s.first_refresh[1])
    return [
        Timed(f"{s.sessions:,} sessions: load ({s.peak_load_mb:,.0f} MB)", Taken(*s.load), against, alone),
        Timed("  first refresh, with learning", Taken(*s.first_refresh), against, alone),
        Timed("  load one day more", Taken(*s.one_day), against, alone),
        Timed("  refresh on what was learned", Taken(*s.refresh), against, alone),
        Timed("  load and first refresh", anew, against, alone),
        Timed(f"  load and refresh ({s.peak_mb:,.0f} MB)", both, against, alone),
    ]


def exponents(made: Sequence[Scaled]) -> dict[str, float]:
    """By piece of work, the exponent with which processor time grows with sessions: the slope of a line through the
    logarithms of all sizes."""
    at = np.log([s.sessions for s in made])
    pieces = ("bare", "load", "first_refresh", "one_day", "refresh")
    return {p: float(np.polyfit(at, [math.log(getattr(s, p)[1]) for s in made], 1)[0]) for p in pieces}


if __name__ == "__main__":
    print(json.dumps(asdict(measure(int(float(sys.argv[1]))))))
