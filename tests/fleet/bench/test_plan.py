"""The plan of a club: hours, minutes, what is late and the mends, walk-ins, the kept document, what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.bench.document import from_document, to_document
from pipeline.fleet.bench.hours import bench_hours
from pipeline.fleet.bench.jobs import bench_jobs
from pipeline.fleet.bench.plan import CSV_COLUMNS, make_plan
from pipeline.fleet.bench.sentences import answer, gap_line, late_lines, mend_lines, pull_lines
from pipeline.fleet.bench.source import BenchSource, source_of
from pipeline.fleet.bench_minutes import DEFAULT_MINUTES, GUT, HYBRID, KIND_FACTORS, bench_times, kind_of_bed
from pipeline.fleet.snapshot import snapshot
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings
from tests.fleet.bench.hand_made_plan import MONDAY, TICKET, day, made, tickets_due
from tests.fleet.clubs import ORIGIN, academy
from tests.sql.club_rows import STRINGS, empty_club, put, relations

FREE_WEEK = [90.0] * 7


def test_everything_fits_and_is_said() -> None:
    plan = made(tickets_due(0, 1, 2), {"Kim": FREE_WEEK})
    assert plan.late.empty
    assert answer(plan) == "All 3 jobs of the next week fit, with about 9 h left for walk-ins"
    assert mend_lines(plan) == []


def test_a_week_that_is_too_full_says_what_is_late_and_the_smallest_mends() -> None:
    plan = made(tickets_due(0, 0, 0, 0), {"Kim": [60.0, 0, 60.0, 0, 0, 0, 0]})
    assert plan.late["late_days"].tolist() == [2, 2]
    assert answer(plan) == "2 of 4 jobs in the next week are late, by up to 2 days"
    assert late_lines(plan)[0].endswith("is 2 days late: due Mon 2 Mar, strung Wed 4 Mar.")
    extra, out = mend_lines(plan)
    assert "60 min more on Mon 2 Mar (Kim)" in extra
    assert out.count("Player") == 2
    assert plan.mends is not None and plan.mends.extra is not None
    assert plan.mends.extra.sum() == pytest.approx(60.0)


def test_the_mend_works() -> None:
    """With the extra minutes nothing is late; with the jobs sent out neither."""
    jobs, hours = tickets_due(0, 0, 1, 1, 1, 2), [60.0, 45.0, 20.0, 0, 0, 90.0, 0]
    plan = made(jobs, {"Kim": hours})
    assert not plan.late.empty and plan.mends is not None and plan.mends.extra is not None
    mended = made(jobs, {"Kim": list(np.array(hours) + plan.mends.extra[0])})
    assert mended.late.empty
    kept = [job for k, job in enumerate(jobs) if k not in plan.mends.sent_out]
    assert len(kept) < len(jobs)
    assert made(kept, {"Kim": hours}).late.empty


def test_what_finds_no_place_is_listed_last_and_never_dropped() -> None:
    plan = made(tickets_due(0, 1, 2), {"Kim": [30.0, 30.0, 0, 0, 0, 0, 0]})
    frame = plan.csv_frame()
    assert tuple(frame.columns) == CSV_COLUMNS
    assert len(frame) == 3
    assert frame["day"].isna().tolist() == [False, False, True]
    assert answer(plan) == "1 of 3 jobs in the next week finds no place"
    assert "finds no place" in " ".join(late_lines(plan))


def test_a_job_longer_than_any_day_is_said() -> None:
    plan = made(tickets_due(0), {"Kim": [25.0] * 7})
    assert "takes about 30 min, longer than any day at the bench: it has no place" in late_lines(plan)[0]


def test_no_capacity_at_all_is_said() -> None:
    plan = made(tickets_due(0, 0), {"Kim": [0.0] * 7})
    assert answer(plan) == "2 jobs in the next week, and no hours at the bench"
    assert len(plan.csv_frame()) == 2


def test_nothing_to_do_is_said() -> None:
    plan = made([], {"Kim": FREE_WEEK})
    assert answer(plan) == "Nothing is booked and nothing is likely to be due in the next week"
    assert plan.csv_frame().empty


def test_an_event_comes_before_a_practice_racket() -> None:
    jobs = tickets_due(0, 0)
    jobs[0] |= {"role": "spare"}
    jobs[1] |= {"is_for_event": True, "due_for": "Winter Cup"}
    plan = made(jobs, {"Kim": [30.0, 30.0, 0, 0, 0, 0, 0]})
    assert plan.jobs.set_index("racket_id").loc["R2", "day"] == MONDAY


def test_strings_are_not_cut_out_long_before_they_end_unless_the_bench_is_full() -> None:
    racket = {"source": "forecast", "job_id": None, "state": None, "due_on": day(4), "ends_on": day(4)}
    job = TICKET | racket | {"life_a_day": 1 / 30}
    assert made([job], {"Kim": FREE_WEEK}).jobs["day"].tolist() == [day(4)]
    # hours on Monday alone: pulled forward, and said
    plan = made([job], {"Kim": [60.0, 0, 0, 0, 0, 0, 0]})
    assert plan.jobs["day"].tolist() == [MONDAY]
    assert pull_lines(plan)[0].startswith("Ask for R1 (Ana Reed) by Mon 2 Mar")


def test_room_is_kept_for_walk_ins_in_proportion_and_gives_way_to_lateness() -> None:
    free = made([], {"Kim": FREE_WEEK}, walk_ins=(7.0,))
    assert free.hours["kept"].tolist() == pytest.approx([30.0] * 7)  # 7 x 30 min over 7 days of the same length
    full = made(tickets_due(0, 0, 0), {"Kim": FREE_WEEK}, walk_ins=(7.0,))
    assert full.jobs["day"].tolist() == [MONDAY] * 3  # 90 of 90 minutes: the tickets are here
    assert full.hours["kept"].iloc[0] == 0.0


def test_no_overtime_unless_asked_for() -> None:
    jobs, hours = tickets_due(0, 0), {"Kim": [45.0, 45.0, 0, 0, 0, 0, 0]}
    assert made(jobs, hours).hours["planned"].max() <= 45.0
    asked = made(jobs, hours, overtime_minutes=20.0)
    assert asked.hours["planned"].iloc[0] == 60.0
    assert asked.late.empty


def test_the_kept_document_is_the_plan() -> None:
    plan = made(tickets_due(0, 0, 3), {"Kim": [30.0, 0, 30.0, 0, 0, 0, 0], "Lee": [0.0] * 7})
    again = from_document(json.loads(json.dumps(to_document(plan), allow_nan=False)))
    pd.testing.assert_frame_equal(again.csv_frame(), plan.csv_frame(), check_dtype=False)
    pd.testing.assert_frame_equal(again.hours, plan.hours, check_dtype=False)
    assert (answer(again), late_lines(again), mend_lines(again)) == (answer(plan), late_lines(plan), mend_lines(plan))


def test_a_gap_is_said() -> None:
    plan = made(tickets_due(0), {"Kim": FREE_WEEK})
    assert gap_line(plan) == ""
    assert "by more than 3 %" in gap_line(replace(plan, gap=0.03, is_proven=False))


# --- the club's files


def test_minutes_lean_on_the_trade_default_and_move_to_what_was_written() -> None:
    con = empty_club()
    put(con, "strings", [*STRINGS, {"string_id": "gut", "material": "natural_gut", "gauge_mm": 1.3}])
    put(con, "restrings", [])
    relations(con, date(2026, 3, 1).isoformat())
    unknown = bench_times(con)
    assert unknown.minutes("full", "Kim") == DEFAULT_MINUTES
    assert unknown.minutes(GUT) == pytest.approx(DEFAULT_MINUTES * KIND_FACTORS[GUT])
    rows = [
        {"restring_id": f"J{k}", "racket_id": "R1", "strung_on": "2026-02-01", "mains_string_id": "poly"}
        | {"crosses_string_id": "multi" if k % 2 else "poly"}
        | {"stringer": "Kim", "minutes": 50 if k % 2 else 20}
        for k in range(80)
    ]
    put(con, "restrings", rows)
    relations(con, date(2026, 3, 1).isoformat())
    learned = bench_times(con)
    assert 20 < learned.minutes("full", "Kim") < 22  # 40 jobs of 20 minutes, leaning on 35
    assert 46 < learned.minutes(HYBRID, "Kim") < 50
    assert learned.minutes("full", "Lee") < 25  # a new stringer works like the others
    assert learned.jobs_on_file == {"Kim": 80}


def test_a_bed_is_of_one_kind() -> None:
    assert kind_of_bed("a", "a", "polyester", "polyester") == "full"
    assert kind_of_bed("a", None, "polyester", None) == "full"
    assert kind_of_bed("a", "b", "polyester", "multifilament") == HYBRID
    assert kind_of_bed("g", "b", "natural_gut", "polyester") == GUT


def test_hours_are_those_written_else_the_usual_of_the_weekday_else_none() -> None:
    con = empty_club()
    put(con, "strings", STRINGS)
    mondays = [date(2026, 3, 2) - timedelta(days=7 * k) for k in range(1, 13)]
    rows = [{"bench_on": on.isoformat(), "stringer": "Kim", "minutes": 120} for on in mondays]
    put(con, "bench", [*rows, {"bench_on": "2026-03-09", "stringer": "Kim", "minutes": 45}])
    put(
        con,
        "restrings",
        [{"restring_id": "J1", "racket_id": "R1", "strung_on": "2026-03-02", "stringer": "Kim", "minutes": 30}],
    )
    put(con, "calendar", [{"planned_on": "2026-03-16", "activity": "closed", "event": "holiday"}])
    relations(con, date(2026, 3, 2).isoformat())
    hours = bench_hours(con, MONDAY, 21, date(2026, 3, 1))
    by_day = dict(zip(hours.days, hours.minutes[0], strict=True))
    assert by_day[MONDAY] == 120 - 30  # usual, less what is strung already
    assert by_day[date(2026, 3, 3)] == 0
    assert by_day[date(2026, 3, 9)] == 45
    assert by_day[date(2026, 3, 16)] == 0  # the club is closed
    assert hours.is_written[0].tolist().count(True) == 1


def club_with(**tables: list[dict[str, object]]):  # type: ignore[no-untyped-def]
    con = academy(players=4, weeks=20)
    for name, rows in tables.items():
        put(con, name, rows)
    return con


def source(con: duckdb.DuckDBPyConnection) -> BenchSource:
    return source_of(snapshot(con, ORIGIN), 14)


HOURS = [
    {"bench_on": (ORIGIN + timedelta(days=k)).isoformat(), "stringer": "Kim", "minutes": 120} for k in range(1, 15)
]


def test_a_club_without_hours_is_told_so() -> None:
    with pytest.raises(StoreError, match=r"no hours at the bench are on file.*load bench\.csv"):
        make_plan(source(academy(players=2, weeks=10)), ClubSettings())


def test_a_racket_booked_twice_is_planned_once_and_said() -> None:
    con = club_with(bench=HOURS)
    racket = con.execute("select min(racket_id) from facts.rackets").fetchone()[0]
    for job in ("T1", "T2"):
        put(con, "jobs", [{"job_id": job, "racket_id": racket, "handed_in_on": ORIGIN.isoformat(), "state": "booked",
                           "state_on": ORIGIN.isoformat()}])  # fmt: skip
    plan = make_plan(source(con), ClubSettings())
    assert plan.jobs["racket_id"].tolist().count(racket) == 1
    assert any(f"{racket} is booked twice, by tickets T1 and T2" in note for note in plan.notes)


def test_a_match_ahead_makes_it_due_as_the_club_wants() -> None:
    con = club_with(bench=HOURS)
    racket, player = con.execute("select racket_id, player_id from facts.rackets order by 1 limit 1").fetchone()
    match_on = ORIGIN + timedelta(days=6)
    put(
        con,
        "calendar",
        [{"planned_on": match_on.isoformat(), "player_id": player, "activity": "singles", "event": "Cup"}],
    )
    put(con, "jobs", [{"job_id": "T1", "racket_id": racket, "handed_in_on": ORIGIN.isoformat(), "state": "booked",
                       "state_on": ORIGIN.isoformat()}])  # fmt: skip
    s = source(con)
    days = tuple(ORIGIN + timedelta(days=k) for k in range(1, 15))
    for rule, due in ((1, 5), (0, 6), (2, 4)):  # the evening before, that morning, a day's rest
        jobs = bench_jobs(s, replace(ClubSettings(), ready_days_before_match=rule), days).rows.set_index("racket_id")
        assert jobs.loc[racket, "due_on"] == ORIGIN + timedelta(days=due)
        assert jobs.loc[racket, "due_for"] == "Cup"


def test_forecast_and_tickets_and_walk_ins_add_up_to_the_forecast() -> None:
    s = source(club_with(bench=HOURS))
    days = tuple(ORIGIN + timedelta(days=k) for k in range(1, 15))
    jobs = bench_jobs(s, ClubSettings(), days)
    expected = s.weekly_jobs[:2].sum()
    assert len(jobs.rows) + jobs.walk_ins.sum() >= expected - 1e-6
    assert (jobs.walk_ins >= 0).all()


def test_a_squad_may_restring_by_the_calendar() -> None:
    s = source(club_with(bench=HOURS))
    days = tuple(ORIGIN + timedelta(days=k) for k in range(1, 15))
    settings = replace(ClubSettings(), restring_policy={"default": "every_7_days"})
    found = bench_jobs(s, settings, days).rows
    assert set(found["racket_id"]) >= set(bench_jobs(s, ClubSettings(), days).rows["racket_id"])
    assert "the squad's turn" in set(found["due_for"])


def test_a_frame_on_hold_has_no_place_and_that_is_said() -> None:
    con = club_with(bench=HOURS)
    racket = con.execute("select min(racket_id) from facts.rackets").fetchone()[0]
    day_one = ORIGIN.isoformat()
    put(
        con,
        "jobs",
        [{"job_id": "T1", "racket_id": racket, "handed_in_on": day_one, "state": "booked", "state_on": day_one}],
    )
    put(
        con,
        "inspections",
        [{"inspection_id": "H", "inspected_on": day_one, "racket_id": racket, "frame": "do_not_string"}],
    )
    plan = make_plan(source(con), ClubSettings())
    assert racket not in set(plan.jobs["racket_id"])
    assert any("says not to string it" in note and racket in note for note in plan.notes)


def test_extra_minutes_are_spread_before_one_day_gets_very_long() -> None:
    plan = made(tickets_due(*[3] * 10), {"Kim": [60.0, 60.0, 60.0, 0, 0, 0, 0]})
    assert plan.mends is not None and plan.mends.extra is not None
    assert plan.mends.extra.max() <= 60.0
    assert plan.mends.extra.sum() == pytest.approx(120.0)
