"""How long the server takes for a page: `python -m tests.dashboard.page_times [--store DIR | --big] [--times 50]`.

With `--paint` instead, on a served store and in Chromium, how long a visitor waits: first paint and first contentful
paint (W3C Paint Timing) of each page, median and longest of so many visits with an empty cache.

In: a store, else the sample is loaded, or with `--big` a made-up club of 500 players and five years with bench hours,
events, tickets and a shelf. Out, printed: for each page the median and the 90 % point of so many changes to it from
another page, in milliseconds, what a page of one table and one plot takes beside it, and every function of
`pipeline.fleet.frames` or of the store that was asked again though nothing had changed. Nothing is asserted. The time
is that of the page's script in this process with Streamlit's own test runner, so the runner's part is in it.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright
from streamlit.testing.v1 import AppTest

from pipeline.fleet import frames
from pipeline.refresh import refresh
from pipeline.store import Store
from tests.bench.big_club import LAST_DAY, write_club
from tests.dashboard.browser import launch_chromium, settle
from tests.dashboard.sample_store import SUNDAY_EVENING, make_sample_store
from tests.dashboard.server import running_dashboard

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
PAGES_ANSWERS = (
    "this_week", "racket", "inspect", "workload", "records", "track_record", "club", "choices", "messages",
)  # fmt: skip
BIG_SESSIONS, BIG_SQUADS = 625_000, 25
SCREENS = sorted(path.stem for path in (APP.parent / "screens").glob("[a-z]*.py"))


def make_big_store(folder: Path) -> Store:
    """500 players, 1,250 rackets, five years; bench, calendar and shelf of the weeks around its last day."""
    files = folder / "files"
    write_club(files, BIG_SESSIONS)
    days = [LAST_DAY + timedelta(days=day) for day in range(-60, 60)]
    (files / "bench.csv").write_text(
        "bench_on,stringer,minutes\n" + "".join(f"{day},Anna,480\n{day},Bruno,480\n" for day in days)
    )
    (files / "calendar.csv").write_text(
        "planned_on,squad,activity,event,minutes\n"
        + "".join(f"{day},Squad {n},singles,Round {n},90\n" for n, day in enumerate(days[62::2]) if n < BIG_SQUADS)
    )
    (files / "stock.csv").write_text(
        "counted_on,string_id,reels\n" + "".join(f"{LAST_DAY},S{n},20\n" for n in range(1, 5))
    )
    (files / "jobs.csv").write_text(
        "job_id,racket_id,handed_in_on,reason,state,state_on\n"
        + "".join(f"J{n},R{n},{LAST_DAY},scheduled,booked,{LAST_DAY}\n" for n in range(20))
    )
    store, now = Store(folder / "club"), datetime.combine(LAST_DAY, datetime.min.time(), UTC) + timedelta(hours=20)
    store.create("Big club")
    report = store.load(files, now=now)
    refresh(store, now=now)
    print(f"{report.total('new'):,} rows of a made-up club, {report.total('rejected')} rejected", flush=True)
    return store


def table_and_plot() -> None:
    """The least a page can be."""
    import pandas as pd
    import plotly.graph_objects as go
    import streamlit as st

    frame = pd.DataFrame({"a": range(100), "b": range(100)})
    st.dataframe(frame)
    st.plotly_chart(go.Figure(go.Scatter(x=frame["a"], y=frame["b"])), key="plot")


def counted(asked: Counter[str]) -> None:
    """Count every answer that `frames` makes anew and every reading of the facts."""

    def counting(name: str, answer: Callable[..., Any]) -> Callable[..., Any]:
        def count(*given: Any, **named: Any) -> Any:
            asked[name] += 1
            return answer(*given, **named)

        return count

    for name in PAGES_ANSWERS:
        setattr(frames, name, counting(f"frames.{name}", getattr(frames, name)))
    Store.facts = counting("Store.facts", Store.facts)  # type: ignore[method-assign]
    Store.view = counting("Store.view", Store.view)  # type: ignore[method-assign]
    Store.settings = property(counting("Store.settings", Store.settings.fget))  # type: ignore[attr-defined,assignment]


def times_of(app: AppTest, page: str, other: str, times: int) -> list[float]:
    """Milliseconds of each change to the page."""
    taken = []
    for _ in range(times):
        app.switch_page(f"screens/{other}.py").run()
        app.switch_page(f"screens/{page}.py")
        begun = time.perf_counter()
        app.run()
        taken.append(1000 * (time.perf_counter() - begun))
        if app.exception:
            raise SystemExit(f"{page}: {app.exception[0].value}")
    return taken


def paint_times(store: Path, today: str, times: int) -> None:
    """Print when a browser first paints each page, in seconds after it was asked for."""
    with sync_playwright() as playwright, running_dashboard(store, today) as address:
        browser = launch_chromium(playwright)
        print(f"Seconds to the first paint and the first contentful paint, {times} visits with an empty cache")
        print(f"{'page':16}{'paint':>8}{'longest':>9}{'content':>9}{'longest':>9}")
        for path in SCREENS:
            found: dict[str, list[float]] = {"first-paint": [], "first-contentful-paint": []}
            for _ in range(times):
                page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
                page.goto(f"{address}/{'' if path == 'this_week' else path.replace('_', '-')}")
                settle(page)
                for name, at in page.evaluate(
                    "performance.getEntriesByType('paint').map(entry => [entry.name, entry.startTime])"
                ):
                    found[name].append(at / 1000)
                page.context.close()
            cells = "".join(f"{statistics.median(v):8.2f}{max(v):9.2f} " for v in found.values())
            print(f"{path:16}{cells}", flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--store", type=Path, help="a store with a published view; else the sample")
    parser.add_argument("--big", action="store_true", help="a made-up club of 500 players and five years")
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--paint", action="store_true", help="in a browser: when a page is first painted")
    parser.add_argument("--today", help="the day it is; else the last day of the view, or the sample's")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        make = make_big_store if asked.big else make_sample_store
        folder = asked.store or make(Path(scratch) / "made").folder
        os.environ["RACKET_FLEET_STORE"] = str(folder)
        day = LAST_DAY if asked.big else SUNDAY_EVENING.date() if asked.store is None else datetime.now(UTC).date()
        os.environ["RACKET_FLEET_TODAY"] = asked.today or day.isoformat()
        if asked.paint:
            paint_times(folder, os.environ["RACKET_FLEET_TODAY"], asked.times)
            return
        counts: Counter[str] = Counter()
        counted(counts)
        least = AppTest.from_function(table_and_plot)
        least.run()
        bare = []
        for _ in range(asked.times):
            begun = time.perf_counter()
            least.run()
            bare.append(1000 * (time.perf_counter() - begun))
        print(f"Server time of a page change in ms, {asked.times} times")
        print(f"{'a table, a plot':16}{statistics.median(bare):8.0f}")
        print(f"{'page':16}{'median':>8}{'90 %':>8}  asked again at each change")
        app = AppTest.from_file(str(APP), default_timeout=600)
        app.run()
        for page in SCREENS:
            other = "records" if page != "records" else "workload"
            times_of(app, page, other, 2)
            counts.clear()
            taken = times_of(app, page, other, asked.times)
            again = ", ".join(f"{name} {number / asked.times:.1f}" for name, number in sorted(counts.items()))
            ends = statistics.quantiles(taken, n=10) if len(taken) > 1 else taken
            print(f"{page:16}{statistics.median(taken):8.0f}{ends[-1]:8.0f}  {again}", flush=True)


if __name__ == "__main__":
    main()
