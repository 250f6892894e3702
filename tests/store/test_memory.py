"""What a database may hold grows with the club beyond ten million sessions, and never past the machine.

Source: by hand; what DuckDB itself says of its limit (`current_setting`).
"""

from __future__ import annotations

import duckdb
import pytest

from pipeline.store import memory
from pipeline.store.memory import bound_memory, bound_relations, of_so_many


def limit_of(con: duckdb.DuckDBPyConnection) -> str:
    (limit,) = con.execute("select current_setting('memory_limit')").fetchall()[0]
    return str(limit)


@pytest.mark.parametrize(
    ("sessions", "size"),
    [(0, "768 MiB"), (10_000_000, "768 MiB"), (15_000_000, "1152 MiB"), (100_000_000, "7680 MiB")],
)
def test_ten_times_the_sessions_may_hold_ten_times_as_much(sessions: int, size: str) -> None:
    assert of_so_many(sessions, 768) == size


def test_the_limit_is_set_and_may_be_raised_again() -> None:
    with duckdb.connect() as con:
        bound_memory(con, of_so_many(1, 128))
        assert limit_of(con) == "128.0 MiB"
        bound_memory(con, of_so_many(1, 256))
        assert limit_of(con) == "256.0 MiB"


def test_a_small_machine_gives_what_it_has(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_machines_limit", lambda: "512.0 MiB")
    with duckdb.connect() as con:
        bound_memory(con, "7680 MiB")
        assert limit_of(con) == "512.0 MiB"


def test_the_relations_of_a_larger_club_may_hold_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty sessions where ten are a large club: twice the size, both while building and while waiting."""
    monkeypatch.setattr(memory, "LARGE_SESSIONS", 10)
    with duckdb.connect() as con:
        con.execute("attach ':memory:' as facts")
        con.execute("create table facts.matches as from range(5)")
        con.execute("create table facts.practices as from range(15)")
        bound_relations(con, is_building=True)
        assert limit_of(con) == "1.5 GiB"
        bound_relations(con, is_building=False)
        assert limit_of(con) == "256.0 MiB"
