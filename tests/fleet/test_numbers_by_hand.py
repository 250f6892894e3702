"""Days left, what a look may show, plans put together, what a row held, the numbers in force: worked out by hand.

Source: by hand, beside each check; bands of a gamma and of a normal law by SciPy and by tables (z = 1.645).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.fleet.bench.problem import Assignment, BenchProblem
from pipeline.fleet.bench.together import put_together
from pipeline.fleet.frames.club import club
from pipeline.fleet.frames.writing import history_of
from pipeline.fleet.look_first import _chance, _life_used, every_look
from pipeline.fleet.outlook import HORIZON_CAP_DAYS, _step_hazard, days_left
from pipeline.fleet.snapshot import snapshot
from pipeline.store.people import NotAllowedError, Person
from pipeline.wear.decision import decide_nothing, decide_trade, decided
from pipeline.wear.estimate import Estimate, Kept
from pipeline.wear.fitting import Fit
from pipeline.wear.learning import learn
from pipeline.wear.parameters import COLUMNS, parameters
from pipeline.wear.reference import session_weight_rows
from tests.fleet.clubs import ORIGIN, academy
from tests.wear.hand_made import Bed, history

DAY = date(2026, 3, 1)


def test_a_day_s_hazard_is_what_the_log_of_survival_falls() -> None:
    assert _step_hazard(np.array([[0.9, 0.9, 0.45]]))[0] == pytest.approx([-np.log(0.9), 0.0, np.log(2.0)])
    # what cannot be, survival that rises, is no hazard below nothing
    assert _step_hazard(np.array([[0.5, 0.6]]))[0] == pytest.approx([np.log(2.0), 0.0])


def test_days_left_lie_between_two_days_as_survival_does() -> None:
    """0.9 on day 1, 0.6 on day 2, 0.2 from day 3 on: a half is reached a quarter of the way from day 2 to day 3, a
    tenth on day 1. Day 0 has the whole. Survival of 0.1 is beyond the 20 days, where nothing falls any more."""
    wear = np.array([[0.9, 0.6, *[0.2] * 18]])
    found: Any = SimpleNamespace(survive_wear=wear)
    left = days_left(found, (0.05, 0.1, 0.5, 0.9))[0]
    assert left == pytest.approx([0.5, 1.0, 2.25, HORIZON_CAP_DAYS])


def test_a_sign_that_one_of_two_beds_shows_has_that_bed_s_own_word() -> None:
    """Two beds, one sign of two grades; the second bed's cannot be graded: it shows nothing, and nothing follows."""
    chance = np.array([[[0.7, 0.3]], [[0.1, 0.9]]])
    looks = {"breaks": np.array([[[0.5, 2.0]], [[0.4, 3.0]]]), "goes_dead": np.array([[[0.8, 1.5]], [[0.6, 4.0]]])}
    out, breaks, dead = every_look(chance, looks, np.array([[True], [False]]))
    assert out.tolist() == [[0.7, 0.3], [1.0, 0.0]]
    assert breaks.tolist() == [[0.5, 2.0], [1.0, 1.0]]
    assert dead.tolist() == [[0.8, 1.5], [1.0, 1.0]]
    none = every_look(chance, looks, np.zeros((2, 1), dtype=bool))
    assert [part.tolist() for part in none] == [[[1.0], [1.0]]] * 3


def test_the_last_grade_comes_again_as_far_as_its_word_is_fresh() -> None:
    """Three tenths fresh, last seen clear (2): 0.3 of it, and 0.7 of what the life used says. Never looked at: that
    alone."""
    grades: Any = SimpleNamespace(chances=lambda material, sign, used: np.array([[0.4, 0.3, 0.2, 0.1]] * 2))
    used = {"breaks": np.ones(2), "goes_dead": np.ones(2)}
    found = _chance(grades, np.array(["polyester"] * 2), 1, used, pd.Series([2.0, np.nan]), np.array([0.3, 0.9]))
    assert found[0] == pytest.approx([0.28, 0.21, 0.3 + 0.14, 0.07])
    assert found[1] == pytest.approx([0.4, 0.3, 0.2, 0.1])


def test_the_life_used_is_against_what_such_strings_last_in_this_club() -> None:
    """A family twice as quick as the reference has used 2 ** (1 / shape) of what the reference says, of breaking."""
    made = snapshot(academy(players=3, weeks=12), ORIGIN)
    learned = made.estimate.learned
    twice = {**learned.family, "breaks": np.full_like(learned.family["breaks"], 2.0)}
    made = replace(made, estimate=replace(made.estimate, learned=replace(learned, family=twice)))
    steps = made.estimate.history.last[:4]
    used = _life_used(made, steps)
    factor = 2.0 ** (1.0 / learned.shapes.shape_breaks)
    assert used["breaks"] == pytest.approx(learned.exposure.x["breaks"][steps] * factor)
    assert used["goes_dead"] == pytest.approx(learned.exposure.x["goes_dead"][steps])


def test_a_stringer_who_cannot_do_a_job_is_not_dealt_it() -> None:
    """Two jobs of one player with two stringers on one day. The first stringer cannot do the second job: both go to
    the second. Where neither can do both, they stay apart."""
    inf = np.inf
    hours, cost = np.full((2, 1), 120.0), np.ones((2, 1))
    for minutes, dealt in (
        ([[30.0, 30.0], [inf, 30.0]], [1, 1]),
        ([[30.0, inf], [30.0, 30.0]], [0, 0]),
        ([[30.0, inf], [inf, 30.0]], [0, 1]),
    ):
        of = BenchProblem(np.array(minutes), cost, hours, np.full(2, 50.0))
        plan = Assignment(np.zeros(2, dtype=int), np.array([0, 1]), 2.0, 2.0, 0.0, True)
        assert put_together(of, plan, np.zeros(2, dtype=int)).stringer.tolist() == dealt


def test_jobs_stay_apart_where_the_hours_of_one_do_not_hold_them() -> None:
    of = BenchProblem(np.full((2, 2), 30.0), np.ones((2, 1)), np.full((2, 1), 59.0), np.full(2, 50.0))
    plan = Assignment(np.zeros(2, dtype=int), np.array([0, 1]), 2.0, 2.0, 0.0, True)
    assert put_together(of, plan, np.zeros(2, dtype=int)).stringer.tolist() == [0, 1]
    room = replace(of, hours=np.full((2, 1), 60.0))
    assert len(set(put_together(room, plan, np.zeros(2, dtype=int)).stringer.tolist())) == 1
    # of two players each has one: nothing to put together
    assert put_together(room, plan, np.array([0, 1])).stringer.tolist() == [0, 1]


def test_what_a_row_held_before_is_found_by_the_whole_key_newest_first() -> None:
    """Bench hours have a day and a stringer as key; who strings may be left open."""
    frame = pd.DataFrame(
        {
            "replaced_at": pd.to_datetime(["2026-03-01", "2026-03-02", "2026-03-03", "2026-03-04"]),
            "replaced_by": ["Ada", "Bo", None, "Cy"],
            "bench_on": pd.to_datetime(["2026-03-09", "2026-03-09", "2026-03-09", "2026-03-10"]),
            "stringer": ["Kim", "Kim", None, "Kim"],
            "minutes": [30.0, 40.0, None, 60.0],
        }
    )
    kims = history_of(frame, "bench", {"bench_on": date(2026, 3, 9), "stringer": "Kim"})
    assert kims["changed by"].tolist() == ["Bo", "Ada"] and kims["minutes"].tolist() == [40.0, 30.0]
    nobody = history_of(frame, "bench", {"bench_on": "2026-03-09T10:00", "stringer": None})
    assert list(nobody.columns) == ["until", "bench_on"]  # the columns that hold anything
    later = history_of(frame, "bench", {"bench_on": "2026-03-10", "stringer": "Kim"})
    assert later["changed by"].tolist() == ["Cy"]


def test_the_club_s_line_has_what_the_view_says_and_nothing_where_it_says_nothing() -> None:
    con = duckdb.connect()
    con.execute("create table meta (key varchar, value varchar)")
    con.execute("insert into meta values ('as_of', '2026-03-01')")
    bare = club(con, DAY)
    assert (bare.name, bare.tension_unit, bare.count_rackets, bare.stale_note) == ("", "kg", 0, "")
    assert (bare.learned_note, bare.idle_note) == ("", "")
    con.execute(
        "insert into meta values ('club_name', 'Elm Court'), ('tension_unit', 'lb'), ('count_rackets', '7'), "
        "('learning', 'Learned.'), ('idle_bench', 'Away.'), ('last_log_on', '2026-02-28')"
    )
    full = club(con, DAY)
    assert (full.name, full.tension_unit, full.count_rackets, full.stale_note) == ("Elm Court", "lb", 7, "")
    assert (full.learned_note, full.idle_note, full.last_log_on) == ("Learned.", "Away.", date(2026, 2, 28))


def estimate_of(fits: dict[str, Fit], mishits: int = 0) -> Estimate:
    causes = ["mishit"] * mishits + ["breaks"] * (12 - mishits)
    h = history([Bed(f"P{n}", cause, (10, 20), (6.0, 14.0)) for n, cause in enumerate(causes)])
    return Estimate(DAY, h, learn(h), tuple(session_weight_rows()), fits, Kept(DAY, 12.0, fits))


def row(e: Estimate, name: str) -> dict[str, Any]:
    frame = parameters(e)
    assert tuple(frame.columns) == COLUMNS
    (found,) = frame[frame["name"] == name].to_dict("records")
    return {str(k): v for k, v in found.items()}


def test_the_band_of_a_family_is_that_of_its_gamma_law() -> None:
    e = estimate_of({})
    found = row(e, "family polyester/polyester, breaking")
    value, endings = float(e.learned.family["breaks"][0]), e.learned.shapes.strength_family + 12.0
    law = stats.gamma(endings, scale=value / endings)
    assert (found["trade_value"], found["value"], found["is_assumption"]) == (1.0, value, False)
    assert (found["value_p05"], found["value_p95"]) == pytest.approx((law.ppf(0.05), law.ppf(0.95)))
    assert found["evidence"] == "12 endings by breaking" and found["since"] == pd.Timestamp(DAY)
    level = row(e, "level now, breaking")
    assert level["value_p05"] < level["value"] < level["value_p95"] and not level["is_assumption"]
    rest = row(e, "rest_scale")
    assert (rest["trade_value"], rest["is_assumption"]) == (1.0, True) and np.isnan(rest["value_p05"])


def test_the_hours_to_a_mishit_are_one_in_the_trade_s_hours_and_those_of_the_club() -> None:
    """3 mishits in the club's hours, and 1 in the trade's 2000: the rate is gamma of 4 events."""
    e = estimate_of({}, mishits=3)
    hours = 2000.0 + e.history.hours[e.history.last].sum()
    found, law = row(e, "mishit_hours"), stats.gamma(4.0, scale=1.0 / hours)
    assert (found["trade_value"], found["evidence"], found["is_assumption"]) == (2000.0, "mishits: 3", True)
    assert found["value"] == pytest.approx(hours / 4.0)
    assert (found["value_p05"], found["value_p95"]) == pytest.approx((1.0 / law.ppf(0.95), 1.0 / law.ppf(0.05)))


def test_the_band_of_a_fitted_number_is_that_of_its_spread_on_its_scale() -> None:
    """Of a shape a tenth on the log scale: times or over exp(0.1645). Of an exponent a tenth as it is."""
    spreads = {"shape": 0.1, "gauge_exponent": 0.1, "shaped_life": 0.2, "family polyester/polyester": 0.3}
    fit = Fit("breaks", 2.5, 5.0, 1.0, np.ones(1), {}, {}, 0.0, 0.0, 12.0, spreads)
    e = estimate_of({"breaks": fit})
    shape = row(e, "shape_breaks")
    assert shape["value_p05"] == pytest.approx(shape["value"] / np.exp(0.16449), rel=1e-4)
    assert shape["value_p95"] == pytest.approx(shape["value"] * np.exp(0.16449), rel=1e-4)
    gauge = row(e, "gauge_exponent")
    assert gauge["value_p95"] - gauge["value"] == pytest.approx(0.16449, rel=1e-4)
    assert gauge["value"] - gauge["value_p05"] == pytest.approx(0.16449, rel=1e-4)
    family = row(e, "family polyester/polyester, breaking")
    assert family["value_p95"] == pytest.approx(family["value"] * np.exp(0.49346), rel=1e-4)
    assert family["value_p05"] == pytest.approx(family["value"] / np.exp(0.49346), rel=1e-4)
    assert np.isnan(row(e, "shape_goes_dead")["value_p05"])  # that limit stands on its trade values


def test_who_may_not_learn_may_not_decide(tmp_path: Path) -> None:
    reader = Person("somebody", "reader")
    with pytest.raises(NotAllowedError):
        decide_trade(tmp_path, DAY, reader)
    assert decided(tmp_path) is None
    decide_trade(tmp_path, DAY)
    found = decided(tmp_path)
    assert found is not None and found.since == DAY
    with pytest.raises(NotAllowedError):
        decide_nothing(tmp_path, reader)
    assert decided(tmp_path) == found
    decide_nothing(tmp_path)
    decide_nothing(tmp_path)  # where nobody decided there is nothing to take back
    assert decided(tmp_path) is None
