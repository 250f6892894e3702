"""Scatter of weeks, scores, plans and the kept record: each on a case that is worked out beside it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import dispersion, hand_over, record_table, track_record
from pipeline.fleet.backtest import Backtest
from pipeline.fleet.bench.problem import Assignment, BenchProblem
from pipeline.fleet.bench.together import put_together
from pipeline.fleet.bench_days import every_day
from pipeline.fleet.frames.inspect import standing
from pipeline.fleet.what_if.simulator import Policy, _planned
from pipeline.wear.learning import OTHER
from tests.wear.hand_made import FIRST_DAY, Bed, history


def test_restrings_of_the_origins_day_count_in_the_last_week(monkeypatch: pytest.MonkeyPatch) -> None:
    """14 expected a week, 20 and 8 came by turns, the newest 20 all today: Pearson's sum is 30 x 36 / 14, and eight
    weeks of 1.7 lean on it."""
    monkeypatch.setattr(dispersion, "expected_by_day", lambda h, learned, n: np.full(n, 2.0))
    ago = np.repeat(7 * np.arange(30), np.tile([20, 8], 15))
    nothing: Any = None
    found = dispersion.dispersion(nothing, nothing, ago, np.zeros(5))
    assert found == pytest.approx((30 * 36 / 14 + 8 * 1.7) / 38)


def test_weeks_out_of_the_usual_do_not_count_as_scatter() -> None:
    """The newest ten weeks brought 14 each, as expected; before that a stringer was away by turns. Left out with the
    weeks that follow, ten usual weeks are left: 8 x 1.7 / 18, which is below the least."""
    usual = np.ones(7 * 31, dtype=bool)
    usual[7 * np.arange(0, 20, 2)] = False
    kept = dispersion._usual_weeks(usual)
    assert kept.tolist() == [False] * 19 + [True] * 11
    assert dispersion._usual_weeks(None).all() and dispersion._usual_weeks(usual[-14:]).all()


def test_where_nothing_is_known_a_long_wait_ends_within_five_days() -> None:
    one = np.ones(1, dtype=np.int64)
    found = every_day(one, one)
    assert found.more_turns == 5 and found.calendar.ahead.all() and found.most_a_day == float("inf")


def test_chances_are_scored_on_the_fortnights_that_every_way_has_one_for() -> None:
    """The fourth racket has no chance by the calendar, so the model's sure miss there is not held against it:
    (1/2)^2 on the three others."""
    r = pd.DataFrame(
        {
            "p_end": [0.5, 0.5, 0.5, 1.0], "came_true": [1.0, 0.0, 1.0, 0.0], "rule_used": 0.5, "p_rule": 0.5,
            "days_since": 9.0, "p_days": [0.5, 0.5, 0.5, np.nan], "hours_played": 9.0, "p_hours": 0.5,
        }
    )  # fmt: skip
    rows: record_table.Rows = {}
    record_table._racket_scores(r, rows)
    assert rows["brier"]["model"] == pytest.approx(0.25)
    assert rows["brier"]["days_since"] == pytest.approx(0.25)


def test_the_mean_rank_is_between_its_two_ends() -> None:
    """Weeks that came in from 0.2 to 0.4 and from 0.4 to 0.6 of what was foreseen: 0.4 on the mean."""
    columns = {"mean": 5.0, "crps": 1.0, "p10": 3.0, "p50": 5.0, "p90": 8.0}
    w = pd.DataFrame({"real": [4.0, 6.0], **columns, **{f"recent_{k}": v for k, v in columns.items()}, "rule": np.nan})
    w = w.assign(pit_low=[0.2, 0.4], pit_high=[0.4, 0.6], recent_pit_low=0.0, recent_pit_high=[0.5, 0.7])
    rows: record_table.Rows = {}
    record_table._week_scores(w, rows)
    assert rows["pit_mean"] == pytest.approx({"model": 0.4, "recent_average": 0.3})


def test_a_policy_before_events_cuts_nothing_out_where_there_is_no_event() -> None:
    beds: Any = SimpleNamespace(day=np.zeros(1))
    found = _planned(Policy(None, None, 0.5), beds, np.array([[0.0, 1.0, 2.0]]), np.zeros((1, 0)))
    assert found.tolist() == [np.inf]


def test_a_dear_plan_is_put_together_too() -> None:
    """A hundred million points a job, where a billionth more is lost among the digits: two jobs of one player go on
    one day, as it costs the same."""
    of = BenchProblem(np.full((2, 1), 30.0), np.full((2, 2), 1e8), np.full((1, 2), 60.0), np.full(2, 5e8))
    plan = Assignment(np.array([0, 1]), np.zeros(2, dtype=int), 2e8, 2e8, 0.0, True)
    found = put_together(of, plan, np.zeros(2, dtype=int))
    assert found.day[0] == found.day[1] and found.cost == 2e8


def test_a_record_with_an_endless_number_is_not_kept(tmp_path: Any) -> None:
    """JSON has no infinity (RFC 8259, section 6)."""
    day = date(2026, 3, 2)
    rackets = pd.DataFrame({"origin": [day], "p_end": [np.inf]})
    weeks = pd.DataFrame({"origin": [day], "starts_on": [day]})
    record = track_record.TrackRecord(Backtest(day, 1, rackets, weeks, 0, 0), datetime(2026, 3, 2, tzinfo=UTC), None)
    store: Any = SimpleNamespace(folder=tmp_path)
    with pytest.raises(ValueError, match="JSON"):
        track_record.keep(store, record)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("keep", "count"), [(1.0, 2), (0.0, 0)])
def test_closed_days_are_left_out_of_the_bench_days_of_a_club_that_keeps_them(
    keep: float, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """12 and 5 January 2026, days 20,465 and 20,458 since 1970 (56 years with 14 leap days are 20,454)."""
    seen = []
    monkeypatch.setattr(hand_over, "bench_days", lambda *given: seen.append(given[5]))
    monkeypatch.setattr(hand_over, "_closed_days", lambda *given: (keep, np.zeros(1), np.zeros(1)))
    beds = pd.DataFrame({"ended_on": ["2026-02-01"], "restrung_on": ["2026-02-02"], "cause": ["breaks"]})
    beds = beds.assign(handed_in_on=None, is_retired=False)
    hand_over.hand_over(beds, np.zeros(1), [date(2026, 1, 12), date(2026, 1, 5)], pd.Timestamp("2026-03-01"))
    assert seen[0].tolist() == [20_458, 20_465][:count]


def test_beds_taken_out_for_other_reasons_are_expected_evenly_over_the_days() -> None:
    """Four days, wear of 0.3 on the last and 0.2 two days before it, 9 five days before; two beds ended otherwise,
    one on the last day and one five days ago: a quarter of one a day, and the older one not at all."""
    beds = [Bed("P1", "other", (15, 18, 20), (1.0, 2.0, 3.0)), Bed("P2", "other", (15,), (1.0,))]
    h = history(beds, as_of=20)
    ended = np.zeros((2, OTHER + 1))
    ended[:, OTHER] = 1.0
    expected = {18: 0.2, 20: 0.3, 15: 9.0}
    learned: Any = SimpleNamespace(responsibility=ended)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(
            dispersion,
            "expected_at_steps",
            lambda h, learned, steps: np.array([expected[d - FIRST_DAY] for d in h.day[steps]]),
        )
        found = dispersion.expected_by_day(h, learned, 4)
    assert found == pytest.approx([0.25, 0.45, 0.25, 0.55])


@pytest.mark.parametrize(
    ("status", "due_on", "when", "band"),
    [("in_play", date(2026, 3, 9), True, "3 to 9 days"), ("broken", None, False, "")],
)
def test_only_a_bed_that_is_in_has_a_day(status: str, due_on: date | None, when: bool, band: str) -> None:
    row = {
        "racket_id": "R1", "status": status, "due_on": date(2026, 3, 9), "days_left_p10": 3.0, "days_left_p90": 9.0,
        "break_used": 0.4, "dead_used": 0.55, "limit_first": "breaks", "days_left_p50": 6.0, "p_end": 0.9,
        "is_past_life": False, "urgency": 1.0, "call": "breaks", "handed_in_on": None,
    }  # fmt: skip
    found = standing(row, date(2026, 3, 3))
    assert (found.due_on, bool(found.when), found.band) == (due_on, when, band)
    assert (found.breaking_pct, found.dead_pct) == (40, 55)
