"""The big club of the benchmark is whole, and the small end of the benchmark runs. Times are printed, not asserted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import duckdb
import pytest

from pipeline.store import Store
from tests.bench import bare, growth, scale
from tests.bench.big_club import LAST_DAY, write_club, write_one_more_day

SESSIONS = 20_000
NOW = datetime.combine(LAST_DAY, datetime.min.time(), UTC) + timedelta(hours=20)


def test_a_big_club_loads_whole_and_holds_what_bare_duckdb_reads(tmp_path: Path) -> None:
    size = write_club(tmp_path / "club", SESSIONS)
    store = Store(tmp_path / "store")
    report = store.load(tmp_path / "club", now=NOW)
    assert (report.total("rejected"), report.total("corrected")) == (0, 0)
    named = bare.build(tmp_path / "club", tmp_path / "bare.duckdb")
    with store.facts() as con, duckdb.connect(str(tmp_path / "bare.duckdb"), read_only=True) as alone:
        for name in bare.BARE_KEYS:
            counted = f"select count(*), count(distinct {bare.BARE_KEYS[name]}) from "
            assert con.execute(f"{counted} facts.{name}").fetchall() == alone.execute(counted + name).fetchall()
        assert con.execute("select count(*) from facts.restrings").fetchall() == [(size.restrings,)]
    assert 0 < named <= SESSIONS
    more = store.load(write_one_more_day(tmp_path / "more", size), now=NOW)
    assert more.total("new") == SESSIONS // (5 * 365)


def test_the_benchmark_measures_a_small_club(capsys: pytest.CaptureFixture[str]) -> None:
    made = scale.measure(2_000)
    assert min(made.bare + made.load + made.refresh) > 0.0
    assert len(scale.timed(made)) == 6
    growth = scale.exponents([made, made.__class__(**{**made.__dict__, "sessions": 20_000})])
    assert growth["load"] == pytest.approx(0.0)


def test_the_growth_plot_shows_every_size_and_the_power_it_was_given() -> None:
    # seconds made by a power law of our own: the picture must name that power, and place its points on a line
    sizes, powers = (100_000, 1_000_000, 10_000_000), {"bare": 1.0, "load": 1.1, "first_refresh": 0.9, "one_day": 0.5}
    made = []
    for n in sizes:
        taken = {piece: (0.0, 0.01 * (n / 1e5) ** powers.get(piece, 1.3)) for piece in growth.PIECES}
        made.append(scale.Scaled(n, n // 500, n // 20, **taken, peak_load_mb=1.0, peak_mb=1.0))
    root = ElementTree.fromstring(growth.growth_svg(made[::-1], "a machine, 2 < 3 cores"))
    named = {"{http://www.w3.org/2000/svg}" + tag: tag for tag in ("text", "circle", "polyline")}
    found = {tag: [e for e in root if named.get(e.tag) == tag] for tag in named.values()}
    assert len(found["circle"]) == 3 * len(growth.PIECES)
    said = [e.text for e in found["text"]]
    assert {"bare DuckDB: power 1.00", "load: power 1.10", "load one day more: power 0.50"} <= set(said)
    assert "refresh on what was learned: power 1.30" in said and "2 < 3 cores" in said
    for line in found["polyline"]:
        (x0, y0), (x1, y1), (x2, y2) = (map(float, p.split(",")) for p in line.attrib["points"].split())
        assert x1 - x0 == pytest.approx(x2 - x1, abs=0.2) and y1 - y0 == pytest.approx(y2 - y1, abs=0.2)
        assert x0 < x1 and y0 > y1
