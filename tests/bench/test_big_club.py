"""The big club of the benchmark is whole, and the small end of the benchmark runs. Times are printed, not asserted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.store import Store
from tests.bench import bare, scale
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
    assert len(scale.timed(made)) == 5
    growth = scale.exponents([made, made.__class__(**{**made.__dict__, "sessions": 20_000})])
    assert growth["load"] == pytest.approx(0.0)
