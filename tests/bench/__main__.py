"""One table of times: `python -m tests.bench`.

In: sample_data, and big clubs of the sizes asked for (`--sessions 1e5 1e6 1e7`). Out, on standard output: the machine
and the versions, then for each piece of work the seconds on the clock and of the processor, and their ratio to as much
work without the project (see bare.py). With `--plot FILE.svg` and two sizes or more, a picture of how time grows with
sessions. Nothing is asserted. Run it alone: anything else at work on the machine is in the figures.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from pipeline.command.demo import last_recorded_day
from pipeline.contract import load_contract
from pipeline.fleet.snapshot import snapshot
from pipeline.refresh import refresh
from pipeline.sql import last_logged_day
from pipeline.store import Store
from tests.bench import bare, forecast, growth, pages, scale
from tests.bench.measuring import Timed, machine, show, time_of

SAMPLE = Path(__file__).parents[2] / "sample_data"
WEEKS, DRAWS = 6, 2000
NEW_ROW = "practice_id,player_id,played_on,activity,minutes\nBENCH{number},P01,{day},drills,60\n"


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
        rows.append(forecast.timed(made))
        size = f"{len(made.rackets)} rackets, {made.estimate.history.n_beds} beds"
    rows += pages.timed(store, day)
    count_rows = sum(len(path.read_text(encoding="utf-8").splitlines()) - 1 for path in SAMPLE.glob("*.csv"))
    return rows, f"sample academy: {count_rows} rows, {size}"


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    asked.add_argument("--sessions", type=float, nargs="*", default=[1e5], help="sizes of a big club, such as 1e5 1e7")
    asked.add_argument("--plot", type=Path, help="where to write the picture of growth, an SVG; needs two sizes")
    given = asked.parse_args()
    sizes = [int(size) for size in given.sessions]
    if given.plot and len(set(sizes)) < 2:
        asked.error("--plot needs two sizes or more after --sessions")
    with tempfile.TemporaryDirectory() as scratch:
        rows, size = measured(Path(scratch))
    made = [scale.in_a_process(sessions) for sessions in sizes]
    show(f"{machine()}\n{size}", rows + [line for s in made for line in scale.timed(s)])
    if len(set(sizes)) > 1:
        found = ", ".join(f"{work.replace('_', ' ')} {value:.2f}" for work, value in scale.exponents(made).items())
        print(f"processor time grows with sessions to the power of: {found}")
    if given.plot:
        given.plot.write_text(growth.growth_svg(made, machine()), encoding="utf-8")
        print(f"growth plot: {given.plot}")


if __name__ == "__main__":
    main()
