"""What a plan is made from, by hand: hours day by day, jobs with their windows, what a day late costs, minutes.

Sources: the house's own rules as DEVELOPERS and the modules state them; the sums are done by hand beside each check.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.bench.costs import PlanCosts, day_costs, late_weight
from pipeline.fleet.bench.hours import bench_hours
from pipeline.fleet.bench.jobs import BenchJobs, bench_jobs
from pipeline.fleet.bench.source import NEEDED, BenchSource
from pipeline.fleet.bench_minutes import MinutesPerJob, bench_times, minutes_per_job
from pipeline.sql import relation_text
from pipeline.store.settings import ClubSettings
from tests.sql.club_rows import STRINGS, Row, empty_club, players, put, rackets

AS_OF = date(2026, 3, 1)  # a Sunday
FIRST = AS_OF + timedelta(days=1)


def on(days: int) -> date:
    """So many days after the plan's first day, Monday 2 March."""
    return FIRST + timedelta(days=days)


def relations(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """The few relations that a plan reads, as known on a day."""
    con.execute("create table origin as select ?::date as as_of", [as_of])
    con.execute("create table session_weights (feature varchar, level varchar, abrasion double, playability double)")
    for name in NEEDED:
        con.execute(f"create table {name} as\n{relation_text(name)}")


# --- hours


def hours(bench: list[Row], first: date = FIRST, n_days: int = 14, as_of: date = AS_OF, **more: list[Row]):  # type: ignore[no-untyped-def]
    con = empty_club()
    players(con, "P1", squad="U16")
    players(con, "P2", squad="U18")
    put(con, "strings", STRINGS)
    put(con, "bench", bench)
    for name, rows in more.items():
        put(con, name, rows)
    relations(con, first)
    found = bench_hours(con, first, n_days, as_of)
    return {s: dict(zip(found.days, row, strict=True)) for s, row in zip(found.stringers, found.minutes, strict=True)}


def row(day: date, minutes: float, stringer: str = "Kim") -> Row:
    return {"bench_on": str(day), "stringer": stringer, "minutes": minutes}


def test_the_usual_is_the_mean_of_twelve_weeks_with_those_without_a_row_as_none() -> None:
    """Three Mondays of 120, 60 and 60 minutes: 240 / 12 = 20 minutes on every Monday without a row."""
    found = hours([row(on(-7), 120), row(on(-14), 60), row(on(-77), 60)])["Kim"]
    assert (found[on(0)], found[on(7)], found[on(1)]) == (20.0, 20.0, 0.0)


def test_the_window_of_the_usual_is_open_at_its_far_end_and_closed_at_the_origin() -> None:
    assert hours([row(AS_OF - timedelta(days=84), 120), row(on(1), 5)])["Kim"][on(6)] == 0.0  # twelve weeks ago: out
    assert hours([row(AS_OF - timedelta(days=77), 120)])["Kim"][on(6)] == 10.0
    assert hours([row(AS_OF, 120)])["Kim"][on(6)] == 10.0  # the origin's own day counts
    assert hours([row(on(0), 120)])["Kim"][on(7)] == 0.0  # what is still to come teaches nothing


def test_the_plans_last_day_is_read_and_the_day_after_is_not() -> None:
    found = hours([row(on(13), 45), row(on(14), 99, "Lee")])
    assert found["Kim"][on(13)] == 45.0
    assert "Lee" not in found


def test_two_rows_of_one_day_add_up_and_stringers_stand_apart() -> None:
    found = hours([row(on(2), 30, "Lee"), row(on(2), 45), row(on(3), 0)])
    assert found["Kim"][on(2)] == 45.0 and found["Lee"][on(2)] == 30.0
    assert found["Kim"][on(3)] == 0.0


def test_a_row_of_none_is_written_all_the_same() -> None:
    """A day off, though the weekday has its usual hours."""
    found = hours([*(row(on(-7 * k), 120) for k in range(1, 13)), row(on(0), 0)])["Kim"]
    assert (found[on(0)], found[on(7)]) == (0.0, 120.0)


def closed(day: date, **cells: Any) -> Row:
    return {"planned_on": str(day), "activity": "closed", "event": "holiday"} | cells


@pytest.mark.parametrize(
    ("calendar", "is_closed"),
    [
        ([closed(on(7))], True),
        ([closed(on(7), squad="U16")], False),  # the other squad plays
        ([closed(on(7), squad="U16"), closed(on(7), squad="U18")], True),
        ([closed(on(5), until_on=str(on(7)))], True),
        ([closed(on(5), until_on=str(on(6)))], False),
        ([closed(on(-3), until_on=str(on(20)))], True),
        ([closed(on(7), cancelled=True)], False),
        ([closed(on(7), player_id="P1")], False),
        ([closed(on(8))], False),
    ],
)
def test_the_usual_hours_fall_out_where_the_whole_club_is_closed(calendar: list[Row], is_closed: bool) -> None:
    bench = [row(on(-7 * k), 120) for k in range(1, 13)]
    assert hours(bench, calendar=calendar)["Kim"][on(7)] == (0.0 if is_closed else 120.0)


def test_a_closed_day_with_a_row_of_its_own_is_worked() -> None:
    assert hours([row(on(7), 60)], calendar=[closed(on(7))])["Kim"][on(7)] == 60.0


def test_what_is_strung_already_is_taken_off_the_first_day_alone_and_never_below_none() -> None:
    done: list[Row] = [
        {"restring_id": f"J{k}", "racket_id": "R1", "strung_on": str(FIRST), "stringer": who, "minutes": minutes}
        for k, (who, minutes) in enumerate([("Kim", 30), ("Lee", 40), ("Lee", 40), ("Moe", 30), ("Kim", None)])
    ]
    bench = [row(on(0), 120), row(on(0), 60, "Lee"), row(on(1), 120)]
    con = empty_club()
    players(con, "P1")
    rackets(con, *[(f"R{k}", "P1") for k in range(5)])
    put(con, "strings", STRINGS)
    put(con, "bench", bench)
    put(con, "restrings", [r | {"racket_id": f"R{k}"} for k, r in enumerate(done)])
    relations(con, FIRST)
    found = bench_hours(con, FIRST, 7, FIRST)
    by = dict(zip(found.stringers, found.minutes, strict=True))
    assert (by["Kim"][0], by["Kim"][1], by["Lee"][0]) == (90.0, 120.0, 0.0)


# --- minutes of a job


def written(*jobs: tuple[str | None, str, str | None, float]) -> duckdb.DuckDBPyConnection:
    """Restrings of (stringer, mains, crosses, minutes)."""
    con = empty_club()
    put(con, "strings", [*STRINGS, {"string_id": "gut", "material": "natural_gut", "gauge_mm": 1.3}])
    players(con, "P1")
    rackets(con, *[(f"R{k}", "P1") for k in range(len(jobs))])
    put(
        con,
        "restrings",
        [
            {"restring_id": f"J{k}", "racket_id": f"R{k}", "strung_on": "2026-02-01", "stringer": who, "minutes": took}
            | {"mains_string_id": mains, "crosses_string_id": crosses}
            for k, (who, mains, crosses, took) in enumerate(jobs)
        ],
    )
    relations(con, AS_OF)
    return con


def test_minutes_lean_on_five_jobs_of_the_trade() -> None:
    """Two jobs of 20 and 30 minutes beside five of 35: (50 + 175) / 7."""
    con = written(("Kim", "poly", None, 20), ("Kim", "poly", None, 30))
    found = minutes_per_job(con)
    assert found.mean == pytest.approx((50 + 5 * 35) / 7)
    assert found.spread == 8.0  # too few for a spread of the club's own
    assert bench_times(con).minutes("full") == pytest.approx((50 + 5 * 35) / 7)


def test_the_spread_is_the_clubs_own_from_six_jobs_on() -> None:
    took = [20.0, 30.0, 40.0, 50.0, 60.0]
    assert minutes_per_job(written(*[("Kim", "poly", None, m) for m in took])).spread == 8.0
    six = [*took, 70.0]
    assert minutes_per_job(written(*[("Kim", "poly", None, m) for m in six])).spread == pytest.approx(
        float(np.std(six, ddof=1))
    )


def test_slips_of_the_pen_teach_nothing_and_the_edges_do() -> None:
    """5 and 180 minutes count, 4 and 181 do not."""
    jobs = [("Kim", "poly", None, m) for m in (4.0, 5.0, 180.0, 181.0)]
    expected = (185 + 5 * 35) / 7
    assert minutes_per_job(written(*jobs)).mean == pytest.approx(expected)
    assert bench_times(written(*jobs)).minutes("full") == pytest.approx(expected)
    assert bench_times(written(*jobs)).jobs_on_file == {"Kim": 2}


def test_a_kind_leans_on_the_clubs_full_beds_times_its_factor_and_a_stringer_on_the_pace() -> None:
    """By hand: full (30 + 175) / 6; hybrid (2 x 50 + 8 x 1.1 full) / 10; Kim's pace from all three jobs."""
    con = written(("Kim", "poly", None, 30), ("Kim", "poly", "multi", 50), (None, "poly", "multi", 50))
    full = (30 + 5 * 35) / 6
    hybrid = (100 + 8 * 1.1 * full) / 10
    gut = 1.3 * full
    found = bench_times(con)
    assert [found.minutes(kind) for kind in ("full", "hybrid", "natural_gut")] == pytest.approx([full, hybrid, gut])
    pace = (80 + 8 * full) / (full + hybrid + 8 * full)
    assert found.minutes("full", "Kim") == pytest.approx((30 + 8 * full * pace) / 9)
    assert found.minutes("hybrid", "Kim") == pytest.approx((50 + 8 * hybrid * pace) / 9)
    assert found.minutes("natural_gut", "Kim") == pytest.approx(gut * pace)
    assert found.minutes("full", "nobody") == found.minutes("full")
    with pytest.raises(ValueError, match="A bed is full, hybrid, natural_gut; 'odd' was given"):
        found.minutes("odd")


def test_gut_in_the_crosses_is_gut() -> None:
    """Eight jobs of 60 minutes weigh as much as the prior: half of each."""
    found = bench_times(written(*[("Kim", "poly", "gut", 60.0)] * 8))
    assert found.minutes("natural_gut") == pytest.approx((60 + 1.3 * 35) / 2)


def test_totals_of_minutes_have_their_mean_and_spread() -> None:
    """Independent jobs: mean n m, spread sqrt(n) s; within four standard errors; never below none."""
    made = MinutesPerJob(30.0, 10.0)
    totals = made.draw_totals(np.full(20_000, 16.0), np.random.default_rng(1))
    assert totals.mean() == pytest.approx(480.0, abs=4 * 40 / np.sqrt(20_000))
    assert totals.std() == pytest.approx(40.0, rel=4 / np.sqrt(2 * 20_000))
    few = MinutesPerJob(5.0, 100.0).draw_totals(np.ones(500), np.random.default_rng(1))
    assert few.min() == 0.0


# --- what a day costs


def test_a_day_late_costs_by_role_by_event_and_by_chance() -> None:
    costs = PlanCosts(late_day=100.0, event=3.0)
    assert late_weight("match", False, 1.0, costs) == 100.0
    assert late_weight("match", True, 0.5, costs) == 150.0
    assert late_weight("no such role", False, 1.0, costs) == late_weight(None, False, 1.0, costs) == pytest.approx(60.0)
    assert late_weight("spare", False, 1.0, costs) < 100.0


def test_costs_of_days_by_hand() -> None:
    """A racket here since before the plan, due on day 2, without live strings: waiting a day is 1 point, late 10."""
    costs = PlanCosts(waiting_day=1.0, not_placed_days=7)
    points, out = day_costs(5, -3, 2, 10.0, 0.0, -3, costs)
    assert points.tolist() == [0.0, 1.0, 2.0, 13.0, 24.0]
    assert out == 10.0 * (5 + 7 - 2)


def test_costs_of_cutting_out_by_hand() -> None:
    """A bed in play, free from day 1 on, that ends on day 3, a tenth of its life a day at 40 points a life."""
    points, out = day_costs(5, 1, 3, 10.0, 0.1, 3, PlanCosts(life=40.0))
    assert points.tolist() == [np.inf, 8.0, 4.0, 0.0, 10.0]
    assert out == 10.0 * (5 + 7 - 3)
    _, least = day_costs(5, 0, 40, 10.0, 0.1, 40)
    assert least == 10.0  # due long after the plan: still a day's worth


def test_waiting_is_counted_from_the_day_a_racket_can_be_strung() -> None:
    points, _ = day_costs(4, 2, 9, 10.0, 0.0, 0)
    assert points.tolist() == [np.inf, np.inf, 0.0, 1.0]


# --- jobs


RACKET: dict[str, Any] = {
    "racket_id": "R1", "player_id": "P1", "player_name": "Ana", "squad": "U16", "role": "match", "status": "in_play",
    "strung_on": on(-20), "days_left_p50": 5.0, "p_end": 0.6,
}  # fmt: skip
DAYS = tuple(on(k) for k in range(14))


def jobs(
    changes: dict[str, Any] | None = None,
    settings: ClubSettings | None = None,
    weekly: tuple[float, ...] = (0.0,),
    days: tuple[date, ...] = DAYS,
    **tables: list[Row],
) -> BenchJobs:
    """The jobs of one racket, R1 of P1 in U16; weekly: the forecast's jobs by week."""
    con = empty_club()
    players(con, "P1", squad="U16")
    rackets(con, ("R1", "P1"))
    put(con, "strings", STRINGS)
    put(con, "restrings", [{"restring_id": "J1", "racket_id": "R1", "strung_on": str(on(-20)), "reason": "first",
                            "mains_string_id": "poly", "mains_kg": 23.0}])  # fmt: skip
    for name, rows in tables.items():
        put(con, name, rows)
    relations(con, AS_OF)
    ranking = pd.DataFrame([RACKET | (changes or {})])
    return bench_jobs(BenchSource(con, AS_OF, ranking, np.array(weekly), 30.0), settings or ClubSettings(), days)


def only(found: BenchJobs) -> dict[Any, Any]:
    (job,) = found.rows.to_dict("records")
    return job


def cup(start: int, end: int | None = None, **cells: Any) -> Row:
    until = {} if end is None else {"until_on": str(on(end))}
    return {"planned_on": str(on(start)), "player_id": "P1", "activity": "singles", "event": "Cup"} | until | cells


EVE = ClubSettings(ready_days_before_match=1)


def test_a_bed_that_ends_within_the_plan_is_due_on_its_day() -> None:
    """Strung 20 days before the plan, five days left: one 25th of its life a day."""
    job = only(jobs())
    assert (job["source"], job["due_on"], job["ends_on"], job["is_for_event"]) == ("forecast", on(5), on(5), False)
    assert job["life_a_day"] == pytest.approx(1 / 25)
    assert (job["chance"], job["free_on"], job["bed_kind"]) == (0.6, on(0), "full")


@pytest.mark.parametrize(("left", "is_in"), [(4.2, True), (13.0, True), (13.1, False), (0.0, True)])
def test_the_last_day_of_the_plan_is_in_it(left: float, is_in: bool) -> None:
    found = jobs({"days_left_p50": left})
    assert len(found.rows) == is_in
    if left == 4.2:
        assert only(found)["due_on"] == on(5)  # parts of a day are rounded up


def test_chances_are_kept_from_nothing_and_missing_days_make_no_job() -> None:
    assert only(jobs({"p_end": 0.001}))["chance"] == 0.05
    assert only(jobs({"p_end": 1.0}))["chance"] == 1.0
    assert jobs({"days_left_p50": None}).rows.empty
    assert jobs({"strung_on": None}).rows.empty
    assert jobs({"status": "in_shop"}).rows.empty
    assert only(jobs({"strung_on": on(0), "days_left_p50": 0.0}))["life_a_day"] == 1.0


def test_a_bed_that_ends_before_or_in_a_match_is_due_for_it() -> None:
    job = only(jobs({"days_left_p50": 7.0}, EVE, calendar=[cup(6, 7)]))
    assert (job["due_on"], job["due_for"], job["is_for_event"]) == (on(5), "Cup", True)
    later = only(jobs({"days_left_p50": 8.0}, EVE, calendar=[cup(6, 7)]))
    assert (later["due_on"], later["is_for_event"]) == (on(8), False)  # it ends after the match
    sooner = only(jobs({"days_left_p50": 3.0}, EVE, calendar=[cup(6, 7)]))
    assert (sooner["due_on"], sooner["due_for"], sooner["is_for_event"]) == (on(3), "Cup", False)
    same = only(jobs({"days_left_p50": 5.0}, EVE, calendar=[cup(6, 7)]))
    assert (same["due_on"], same["is_for_event"]) == (on(5), True)


def test_a_match_too_near_to_be_strung_for_leaves_the_likely_day() -> None:
    job = only(jobs({"days_left_p50": 2.0}, EVE, calendar=[cup(0, 2)]))
    assert (job["due_on"], job["is_for_event"]) == (on(2), False)
    just = only(jobs({"days_left_p50": 2.0}, EVE, calendar=[cup(1, 2)]))
    assert (just["due_on"], just["is_for_event"]) == (on(0), True)
    last = only(jobs({"days_left_p50": 14.0}, EVE, calendar=[cup(14, 15)]))
    assert (last["due_on"], last["is_for_event"]) == (on(13), True)
    assert jobs({"days_left_p50": 15.0}, EVE, calendar=[cup(15, 16)]).rows.empty  # its day lies beyond the plan


def test_a_player_away_brings_the_racket_the_day_after() -> None:
    """A cup that began before the plan; one that begins with it does not hold the racket back."""
    assert only(jobs(calendar=[cup(-2, 3)]))["free_on"] == on(4)
    assert only(jobs(calendar=[cup(0, 3)]))["free_on"] == on(0)
    assert only(jobs(calendar=[cup(-2, 0)]))["free_on"] == on(1)


def test_only_matches_and_days_that_ask_for_fresh_rackets_set_the_day() -> None:
    drill = cup(4) | {"activity": "drills", "minutes": 90}
    assert only(jobs(calendar=[drill]))["due_on"] == on(5)
    asks = only(jobs(None, EVE, calendar=[drill | {"fresh_rackets": 1}]))
    assert asks["due_on"] == on(5)  # it ends on day 5, after day 4
    assert only(jobs({"days_left_p50": 4.0}, EVE, calendar=[drill | {"fresh_rackets": 1}]))["due_on"] == on(3)


def test_a_broken_racket_is_due_tomorrow_or_for_the_match() -> None:
    broken = {"status": "broken", "days_left_p50": 0.0}
    job = only(jobs(broken))
    assert (job["due_on"], job["due_for"], job["is_for_event"]) == (on(1), "broken, not handed in", False)
    assert (job["chance"], job["life_a_day"], job["ends_on"]) == (1.0, 0.0, on(0))
    for_cup = only(jobs(broken, EVE, calendar=[cup(1)]))
    assert (for_cup["due_on"], for_cup["due_for"], for_cup["is_for_event"]) == (on(0), "Cup", True)
    assert only(jobs(broken, EVE, calendar=[cup(9)]))["due_on"] == on(1)


def ticket(**cells: Any) -> Row:
    row: Row = {"job_id": "T1", "racket_id": "R1", "handed_in_on": str(on(-2)), "state": "booked"}
    return row | {"state_on": str(on(-2))} | cells


def test_a_ticket_is_due_on_its_day_else_in_three_days_else_for_the_match() -> None:
    job = only(jobs(jobs=[ticket(stringer="Kim")]))
    assert (job["source"], job["job_id"], job["state"]) == ("ticket", "T1", "booked")
    assert (job["due_on"], job["due_for"]) == (on(1), "three days after it was handed in")
    assert (job["free_on"], job["ends_on"], job["life_a_day"], job["chance"]) == (on(-2), on(-2), 0.0, 1.0)
    assert (job["booked_stringer"], job["is_for_event"]) == ("Kim", False)
    own = only(jobs(jobs=[ticket(due_on=str(on(6)))]))
    assert (own["due_on"], own["due_for"], own["booked_stringer"]) == (on(6), "the ticket's day", None)


@pytest.mark.parametrize(
    ("due", "match", "is_for_match"),
    [(6, 5, True), (4, 5, True), (3, 5, False), (None, 5, True), (None, -1, True), (None, -2, False)],
)
def test_a_match_comes_before_the_tickets_day_where_it_is_no_later(
    due: int | None, match: int, is_for_match: bool
) -> None:
    """Ready on the eve; a match whose eve lies before the day of handing in cannot be meant."""
    cells = {} if due is None else {"due_on": str(on(due))}
    job = only(jobs(None, EVE, jobs=[ticket(**cells)], calendar=[cup(match, 8)]))
    assert job["is_for_event"] == is_for_match
    assert job["due_on"] == on(match - 1 if is_for_match else 1 if due is None else due)


def test_tickets_that_are_strung_or_still_to_come_are_no_jobs() -> None:
    def sources(*rows: Row, **more: list[Row]) -> list[str]:
        return jobs({"days_left_p50": 99.0}, jobs=list(rows), **more).rows["source"].tolist()

    assert sources(ticket(state="strung")) == []
    assert sources(ticket(handed_in_on=str(on(0)))) == ["ticket"]  # handed in on the plan's first day
    assert sources(ticket(handed_in_on=str(on(1)))) == []
    done: Row = {"restring_id": "J2", "racket_id": "R1", "mains_string_id": "poly", "reason": "broke"}
    assert sources(ticket(), restrings=[done | {"strung_on": str(on(-1))}]) == []  # strung since
    assert sources(ticket(), restrings=[done | {"strung_on": str(on(-2))}]) == ["ticket"]  # of the same day
    assert sources(ticket(restring_id="J2"), restrings=[done | {"strung_on": str(on(-2))}]) == []


def test_odd_tickets_are_said() -> None:
    hold: Row = {"inspection_id": "I1", "inspected_on": str(AS_OF), "racket_id": "R1", "frame": "do_not_string"}
    held = jobs(jobs=[ticket()], inspections=[hold])
    assert held.rows.empty
    assert held.notes == (
        "R1 (ticket T1) has no place in the plan: the inspection of Sun 1 Mar says not to string it.",
    )
    assert jobs(inspections=[hold]).rows.empty and jobs(inspections=[hold]).notes == ()
    # the last look in force is the last, and one of tomorrow is not known
    sound = hold | {"inspection_id": "I2", "frame": "ok"}
    assert len(jobs(inspections=[hold, sound]).rows) == 1
    assert len(jobs(inspections=[hold | {"inspected_on": str(on(0))}]).rows) == 1
    gone = jobs(jobs=[ticket(racket_id="R9")])
    assert gone.notes == ("R9 has an open ticket, T1, and is not in service: it is left out of the plan.",)


def test_a_squads_turn_by_the_calendar() -> None:
    """Strung 20 days before the plan: every 30 days is day 10; every 34 the day after the plan's last."""
    far = {"days_left_p50": 60.0}

    def every(days: int) -> BenchJobs:
        return jobs(far, replace(ClubSettings(), restring_policy={"default": f"every_{days}_days"}))

    job = only(every(30))
    assert (job["source"], job["due_on"], job["due_for"], job["chance"]) == ("policy", on(10), "the squad's turn", 1.0)
    assert (job["ends_on"], job["is_for_event"]) == (on(10), False)
    assert only(every(33))["due_on"] == on(13)
    assert every(34).rows.empty
    assert only(every(7))["due_on"] == on(0)  # overdue: now


def test_a_squad_that_restrings_before_events() -> None:
    policy = replace(EVE, restring_policy={"default": "before_events"})
    far = {"days_left_p50": 60.0}
    job = only(jobs(far, policy, calendar=[cup(6)]))
    assert (job["source"], job["due_on"], job["due_for"], job["is_for_event"]) == ("policy", on(5), "Cup", True)
    assert (job["chance"], job["ends_on"]) == (1.0, on(5))
    assert jobs(far, policy).rows.empty
    assert jobs(far | {"role": "spare"}, policy, calendar=[cup(6)]).rows.empty
    assert jobs(far, policy, calendar=[cup(15)]).rows.empty
    assert len(jobs(far, policy, calendar=[cup(14)]).rows) == 1 and len(jobs(far, policy, calendar=[cup(1)]).rows) == 1
    assert jobs(far, policy, calendar=[cup(0)]).rows.empty
    # strung seven days before it is fresh enough, eight days are not
    assert jobs(far | {"strung_on": on(-2)}, policy, calendar=[cup(6)]).rows.empty
    assert len(jobs(far | {"strung_on": on(-3)}, policy, calendar=[cup(6)]).rows) == 1


def test_walk_ins_are_the_forecast_less_the_jobs_with_a_row() -> None:
    """Seven a week expected, from the day after the origin; the job of day 8 belongs to the second week."""
    assert jobs({"days_left_p50": 8.0}, weekly=(7.0, 7.0)).walk_ins.tolist() == pytest.approx([7.0, 6.0])
    assert jobs({"days_left_p50": 6.0}, weekly=(7.0, 14.0)).walk_ins.tolist() == pytest.approx([6.0, 14.0])
    assert jobs({"days_left_p50": 7.0}, weekly=(7.0,)).walk_ins.tolist() == pytest.approx([7.0, 6.0])
    assert jobs(weekly=(0.5, 0.0)).walk_ins.tolist() == [0.0, 0.0]
    late = jobs(weekly=(7.0, 7.0), jobs=[ticket(due_on=str(on(9)))])
    assert late.walk_ins.tolist() == pytest.approx([6.0, 7.0])  # it is here: this week's work


def test_days_of_the_forecast_count_from_the_day_after_the_origin() -> None:
    source = BenchSource(empty_club(), AS_OF, pd.DataFrame(), np.array([7.0, 14.0]), 30.0)
    assert source.jobs_a_day(on(0), 8).tolist() == [1.0] * 7 + [2.0]
    assert source.jobs_a_day(on(6), 3).tolist() == [1.0, 2.0, 2.0]
    assert source.jobs_a_day(AS_OF, 8).tolist() == [1.0] * 7 + [2.0]
    none = BenchSource(empty_club(), AS_OF, pd.DataFrame(), np.zeros(0), 30.0)
    assert none.jobs_a_day(on(0), 3).tolist() == [0.0, 0.0, 0.0]
