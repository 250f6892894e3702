"""What the dashboard's pages take the server: each page's frames from a published view, uncached.

In: a store with a view. Out: Timed lines, medians of 50.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from datetime import date

import duckdb

from pipeline.fleet import frames
from pipeline.store import Store
from tests.bench.measuring import Timed, time_of

RUNS = 50


def pages(racket_id: str, today: date, time_zone: str) -> dict[str, Callable[[duckdb.DuckDBPyConnection], object]]:
    """Page by page, what is asked of `frames`. Pages that work a plan out on demand are not among them."""
    return {
        "This week": lambda con: frames.this_week(con, frames.Filters(), today),
        "Racket": lambda con: frames.racket(con, racket_id, today),
        "Workload": lambda con: frames.workload(con, today),
        "Records": lambda con: frames.records(con, time_zone),
        "Inspect": lambda con: frames.inspect(con, racket_id, today),
        "head of every page": lambda con: (frames.club(con, today), frames.choices(con)),
    }


def timed(store: Store, today: date) -> list[Timed]:
    """The lines of the table."""
    with closing(store.view()) as view:
        (racket_id,) = view.execute("select racket_id from ranking order by rank limit 1").fetchall()[0]
    rows = []
    for name, ask in pages(racket_id, today, store.settings.time_zone).items():

        def once(ask: Callable[[duckdb.DuckDBPyConnection], object] = ask) -> None:
            with closing(store.view()) as con:
                ask(con)

        rows.append(Timed(f"page: {name}", time_of(once, RUNS)))
    return rows
