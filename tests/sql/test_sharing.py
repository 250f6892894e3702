"""session_beds: play without a racket shared out over what the player held and could play that day."""

from __future__ import annotations

import duckdb
import pytest

from pipeline.wear.reference import value
from tests.sql.club_rows import STRINGS, empty_club, players, practised, put, rackets, read, relations, strung


def club_of(*roles: str, strung_on: str = "2026-01-01") -> duckdb.DuckDBPyConnection:
    """P1 with rackets R1, R2, ... of these roles, each strung on one day."""
    con = empty_club()
    put(con, "strings", STRINGS)
    players(con, "P1")
    for i, role in enumerate(roles, start=1):
        rackets(con, (f"R{i}", "P1"), role=role)
        strung(con, f"J{i}", f"R{i}", strung_on)
    return con


def shares(con: duckdb.DuckDBPyConnection, session_id: str, as_of: str = "2026-01-31") -> dict[str, float]:
    relations(con, as_of)
    query = f"""
        select x.racket_id, x.share from session_beds as x join session_hours as h using (session_row)
        where h.session_id = '{session_id}'
    """
    return {str(r): float(s) for r, s in read(con, query)}  # type: ignore[arg-type]


def test_alike_rackets_share_evenly() -> None:
    con = club_of("match", "match", "match")
    practised(con, "T1", "P1", "2026-01-05")
    assert shares(con, "T1") == pytest.approx({"R1": 1 / 3, "R2": 1 / 3, "R3": 1 / 3})
    assert read(con, "select bool_and(is_shared) from session_beds") == [(True,)]


def test_a_spare_takes_less_by_its_role() -> None:
    con = club_of("match", "spare")
    practised(con, "T1", "P1", "2026-01-05")
    match, spare = value("usage_role_match"), value("usage_role_spare")
    assert shares(con, "T1") == pytest.approx({"R1": match / (match + spare), "R2": spare / (match + spare)})


def test_a_racket_that_was_written_down_takes_it_all() -> None:
    con = club_of("match", "match")
    practised(con, "T1", "P1", "2026-01-05", racket_id="R2")
    assert shares(con, "T1") == {"R2": 1.0}
    assert read(con, "select is_shared from session_beds") == [(False,)]


def test_known_use_draws_the_unnamed_play() -> None:
    con = club_of("match", "match")
    for day in range(5, 13):
        practised(con, f"N{day}", "P1", f"2026-01-{day:02}", racket_id="R2")
    practised(con, "T1", "P1", "2026-01-20")
    got = shares(con, "T1")
    assert got["R2"] > 0.6
    assert sum(got.values()) == pytest.approx(1.0)


def test_restrings_for_wear_are_evidence_of_use() -> None:
    con = club_of("match", "match")
    strung(con, "J3", "R2", "2026-01-12", "broke")
    strung(con, "J4", "R2", "2026-01-22", "broke")
    for day in (5, 10, 15, 20):
        practised(con, f"N{day}", "P1", f"2026-01-{day:02}")
    practised(con, "T1", "P1", "2026-01-25")
    got = shares(con, "T1")
    assert got["R2"] > got["R1"]


def test_a_racket_in_the_shop_collects_no_play() -> None:
    con = club_of("match", "match")
    ticket = {
        "job_id": "T1",
        "racket_id": "R1",
        "reason": "scheduled",
        "state": "handed_back",
        "state_on": "2026-01-14",
    }
    put(con, "jobs", [ticket | {"handed_in_on": "2026-01-10", "restring_id": "J3"}])
    strung(con, "J3", "R1", "2026-01-13", "scheduled")
    for day in (9, 10, 11, 12, 13, 15):
        practised(con, f"S{day}", "P1", f"2026-01-{day:02}")
    relations(con, "2026-01-31")
    query = """
        select h.played_on::varchar, list(x.racket_id order by x.racket_id)
        from session_beds as x join session_hours as h using (session_row) group by 1 order by 1
    """
    seen = read(con, query)
    assert [(str(d)[-2:], r) for d, r in seen] == [
        ("09", ["R1", "R2"]),
        ("10", ["R1", "R2"]),
        ("11", ["R2"]),
        ("12", ["R2"]),
        ("13", ["R1", "R2"]),
        ("15", ["R1", "R2"]),
    ]


def test_a_broken_racket_collects_no_play() -> None:
    con = club_of("match", "match")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-01-10", "racket_id": "R1", "broken": True}])
    practised(con, "S09", "P1", "2026-01-09")
    practised(con, "S12", "P1", "2026-01-12")
    assert set(shares(con, "S09")) == {"R1", "R2"}
    assert shares(con, "S12") == {"R2": 1.0}


def test_a_racket_written_down_that_cannot_have_been_played_is_shared_out() -> None:
    con = club_of("match", "match")
    put(con, "inspections", [{"inspection_id": "I1", "inspected_on": "2026-01-10", "racket_id": "R1", "broken": True}])
    practised(con, "S12", "P1", "2026-01-12", racket_id="R1")
    assert shares(con, "S12") == {"R2": 1.0}


def test_a_racket_written_down_while_at_the_bench_is_shared_out() -> None:
    con = club_of("match", "match")
    ticket = {"job_id": "T1", "racket_id": "R1", "reason": "scheduled", "state": "booked", "state_on": "2026-01-10"}
    put(con, "jobs", [ticket | {"handed_in_on": "2026-01-10"}])
    practised(con, "S12", "P1", "2026-01-12", racket_id="R1")
    assert shares(con, "S12") == {"R2": 1.0}


def test_a_racket_without_a_bed_takes_its_part() -> None:
    con = club_of("match")
    rackets(con, ("R2", "P1"))
    practised(con, "T1", "P1", "2026-01-05")
    assert shares(con, "T1") == pytest.approx({"R1": 0.5, "R2": 0.5})
    assert read(con, "select racket_id, bed_id from session_beds order by 1") == [("R1", "J1"), ("R2", None)]
    assert read(con, "select bed_id, hours from bed_days") == [("J1", 0.5)]


def test_a_racket_follows_its_holder() -> None:
    con = club_of("match", "match")
    players(con, "P2")
    put(con, "holders", [{"racket_id": "R2", "from_on": "2026-01-10", "player_id": "P2"}])
    practised(con, "A", "P1", "2026-01-09")
    practised(con, "B", "P1", "2026-01-10")
    practised(con, "C", "P2", "2026-01-10")
    assert set(shares(con, "A")) == {"R1", "R2"}
    assert shares(con, "B") == {"R1": 1.0}
    assert shares(con, "C") == {"R2": 1.0}


def test_a_racket_handed_back_to_the_club_is_nobody_s() -> None:
    con = club_of("match", "match")
    put(con, "holders", [{"racket_id": "R2", "from_on": "2026-01-10", "player_id": None}])
    practised(con, "B", "P1", "2026-01-12")
    assert shares(con, "B") == {"R1": 1.0}
    assert read(con, "select racket_id, player_id, share from rackets_now where racket_id = 'R2'") == [
        ("R2", None, 0.0)
    ]


def test_nothing_is_shared_to_a_racket_before_its_service_or_after_it() -> None:
    con = club_of("match", "match", "match")
    con.execute("update facts.rackets set in_service_on = '2026-01-10' where racket_id = 'R2'")
    con.execute("update facts.rackets set retired_on = '2026-01-10' where racket_id = 'R3'")
    practised(con, "A", "P1", "2026-01-09")
    practised(con, "B", "P1", "2026-01-10")
    assert set(shares(con, "A")) == {"R1", "R3"}
    assert set(shares(con, "B")) == {"R1", "R2"}


def test_shares_sum_to_one_and_hours_are_kept() -> None:
    con = club_of("match", "match", "spare", "loan")
    strung(con, "J9", "R1", "2026-01-14", "broke", ended_on="2026-01-12")
    for day in range(2, 29):
        practised(con, f"S{day}", "P1", f"2026-01-{day:02}", racket_id=f"R{day % 4 + 1}" if day % 3 == 0 else None)
    relations(con, "2026-01-31")
    query = """
        select s.session_row, coalesce(sum(x.share), 0)
        from session_hours as s left join session_beds as x using (session_row) group by 1
    """
    sums = read(con, query)
    assert [s for _, s in sums] == pytest.approx([1.0] * len(sums))
    played = read(con, "select sum(hours) from session_hours")[0][0]
    on_beds = read(con, "select sum(hours) from bed_days")[0][0]
    assert on_beds == pytest.approx(played)


def test_shared_hours_widen_the_band_and_named_hours_do_not() -> None:
    con = club_of("match", "match")
    practised(con, "N", "P1", "2026-01-05", racket_id="R1")
    practised(con, "S", "P1", "2026-01-06")
    relations(con, "2026-01-31")
    rows = read(
        con,
        "select day::varchar, hours, hours_shared, share_variance_hours2 from bed_days where bed_id = 'J1' order by 1",
    )
    assert rows[0][1:] == (1.0, None, None)
    assert rows[1][1] == rows[1][2]
    assert float(rows[1][3]) > 0.0  # type: ignore[arg-type]


def test_known_use_fades_by_half_every_four_months() -> None:
    """Four hours with R1 in January: two of them are left in May, and 4 x 0.5 ** (1/2) in March. R2 broke in January:
    that stands for half of the two hours that nobody named (one break in all), and fades alike. What the roles say is
    the same of both rackets and of R3, of which nothing is known."""
    con = club_of("match", "match", "match")
    for day in (5, 7, 9, 12):
        practised(con, f"N{day}", "P1", f"2026-01-{day:02}", racket_id="R1")
    strung(con, "J9", "R2", "2026-01-20", "broke")
    for month in ("03", "05"):
        practised(con, f"U{month}", "P1", f"2026-{month}-10")
    relations(con, "2026-05-31")
    found: dict[tuple[str, str], float] = {
        (str(racket), str(month)[:7]): float(hours)  # type: ignore[arg-type]
        for racket, month, hours in read(con, "select racket_id, month_on, usage_hours from usage_months")
    }
    for month, left in (("2026-01", 1.0), ("2026-03", 0.5**0.5), ("2026-05", 0.5)):
        assert found["R1", month] - found["R3", month] == pytest.approx(4.0 * left), month
        assert found["R2", month] - found["R3", month] == pytest.approx(0.5 * 2.0 * left), month
