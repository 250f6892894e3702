"""How long the server takes for a page: `python -m tests.dashboard.page_times [--store DIR] [--times 50]`.

In: a store, else the sample is loaded. Out, printed: for each page the median and the 90 % point of so many changes to
it from another page, in milliseconds, what a page of one table and one plot takes beside it, and every function of
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
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

from pipeline.fleet import frames
from pipeline.store import Store
from tests.dashboard.sample_store import SUNDAY_EVENING, make_sample_store

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
PAGES_ANSWERS = (
    "this_week", "racket", "inspect", "workload", "records", "track_record", "club", "choices", "messages",
)  # fmt: skip
SCREENS = sorted(path.stem for path in (APP.parent / "screens").glob("[a-z]*.py"))


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


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--store", type=Path, help="a store with a published view; else the sample")
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--today", help="the day it is; else the last day of the view, or the sample's")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.store or make_sample_store(Path(scratch) / "sample").folder
        os.environ["RACKET_FLEET_STORE"] = str(folder)
        sample_day = SUNDAY_EVENING if asked.store is None else datetime.now(UTC)
        os.environ["RACKET_FLEET_TODAY"] = asked.today or sample_day.date().isoformat()
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
        app = AppTest.from_file(str(APP), default_timeout=120)
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
