"""Metres a job takes: geometry over the usual frames, overridden by what the club wrote down."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.fleet.reels.metres import metres_per_job, racket_metres
from pipeline.fleet.snapshot import snapshot
from pipeline.sql import relation_text
from pipeline.store.schema import create_tables
from tests.fleet.clubs import ORIGIN
from tests.fleet.reels.club import club

DAY = date(2026, 3, 1)


@pytest.fixture
def con() -> duckdb.DuckDBPyConnection:
    made = duckdb.connect()
    create_tables(made, schema="facts")
    for racket_id, frame, head in (("R1", "A", 645), ("R2", "A", 645), ("R3", "B", None), ("R4", "B", 613)):
        made.execute(
            "insert into facts.rackets (racket_id, frame, head_cm2, mains, crosses, role, in_service_on) "
            "values (?, ?, ?, 16, 19, 'match', '2025-01-01')",
            [racket_id, frame, head],
        )
    return made


def cut(con: duckdb.DuckDBPyConnection, racket_id: str, mains_m: float | None, crosses_m: float | None) -> None:
    (count,) = con.execute("select count(*) from facts.restrings").fetchall()[0]
    con.execute(
        "insert into facts.restrings (restring_id, racket_id, strung_on, mains_m, crosses_m) values (?, ?, ?, ?, ?)",
        [f"T{count}", racket_id, "2026-01-01", mains_m, crosses_m],
    )


def test_larger_heads_and_denser_patterns_take_more() -> None:
    totals = [metres_per_job(head, 16, 19).total_m for head in (580, 632, 645, 710)]
    assert totals == sorted(totals)
    assert metres_per_job(632, 18, 20).mains_m > metres_per_job(632, 16, 20).mains_m
    assert metres_per_job(632, 16, 20).crosses_m > metres_per_job(632, 16, 19).crosses_m
    assert metres_per_job(632, 16, 19, pieces=1).total_m < metres_per_job(632, 16, 19).total_m


def test_a_head_size_that_is_missing_is_taken_as_the_usual_one() -> None:
    assert metres_per_job(None, 16, 19) == metres_per_job(645, 16, 19) == metres_per_job(float("nan"), 16, 19)


def test_a_pattern_without_strings_is_refused() -> None:
    with pytest.raises(ValueError, match="0 mains and 19 crosses cannot be strung"):
        metres_per_job(632, 0, 19)


def test_without_a_record_the_geometry_speaks(con: duckdb.DuckDBPyConnection) -> None:
    found = racket_metres(con, DAY).set_index("racket_id")
    assert set(found["metres_from"]) == {"head and pattern"}
    assert found.loc["R1", "mains_m"] == pytest.approx(metres_per_job(645, 16, 19).mains_m)


def test_what_the_club_cut_goes_before_geometry(con: duckdb.DuckDBPyConnection) -> None:
    for _ in range(5):
        cut(con, "R1", 6.5, 5.5)
    found = racket_metres(con, DAY).set_index("racket_id")
    assert found["metres_from"].tolist() == ["this racket", "this frame", "this club", "this club"]
    assert found.loc["R2", "mains_m"] == pytest.approx(6.5)
    geometry = metres_per_job(613, 16, 19)
    ratio = 6.5 / metres_per_job(645, 16, 19).mains_m
    assert found.loc["R4", "mains_m"] == pytest.approx(geometry.mains_m * ratio)


def test_the_relation_of_the_view_has_the_same_geometry() -> None:
    con = club(players=2, weeks=10)
    con.execute("update facts.rackets set head_cm2 = null, crosses = 20 where racket_id = 'P00-1'")
    found = snapshot(con, ORIGIN).con.execute(relation_text("racket_strings")).df().set_index("racket_id")
    for racket_id, head, crosses in (("P00-1", None, 20), ("P01-1", 632, 19)):
        expected = metres_per_job(head, 16, crosses)
        assert found.loc[racket_id, "mains_metres"] == pytest.approx(expected.mains_m)
        assert found.loc[racket_id, "crosses_metres"] == pytest.approx(expected.crosses_m)


def test_a_whole_bed_written_as_mains_is_split(con: duckdb.DuckDBPyConnection) -> None:
    cut(con, "R1", 11.6, None)
    row = racket_metres(con, DAY).set_index("racket_id").loc["R1"]
    assert row["mains_m"] + row["crosses_m"] == pytest.approx(11.6)
    assert row["mains_m"] < 6.5


def test_later_jobs_are_not_known_yet(con: duckdb.DuckDBPyConnection) -> None:
    cut(con, "R1", 6.5, 5.5)
    assert set(racket_metres(con, date(2025, 12, 31))["metres_from"]) == {"head and pattern"}
