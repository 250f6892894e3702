"""What moved a racket's date: the steps add up exactly to the bed's own median."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from pipeline.fleet.breakdown import COLUMNS, STEPS, breakdown
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.wear.limits import LN2
from pipeline.wear.looks import group_of
from pipeline.wear.reference import MATERIALS
from tests.fleet.clubs import ORIGIN, academy
from tests.sql.club_rows import empty_club, put


@pytest.fixture(scope="module")
def made() -> Snapshot:
    con = academy(players=8, weeks=30)
    look = {"inspected_on": str(ORIGIN - timedelta(days=1)), "notching": 3, "misalignment": 2}
    put(con, "inspections", [look | {"inspection_id": f"S-{r}", "racket_id": r} for r in ("P00-1", "P01-1", "P03-2")])
    return snapshot(con, ORIGIN)


@pytest.fixture(scope="module")
def steps(made: Snapshot) -> pd.DataFrame:
    return breakdown(made)


def own_median_hours(s: Snapshot, row: int, limit: str) -> float:
    """Hours of play at which half of such beds, having lasted so far, are ended by one limit: by numerical integration
    of the hazard and a root finder, from the learned numbers alone."""
    h, learned, now = s.estimate.history, s.estimate.learned, s.beds
    bed, player = now.index[row], now.player[row]
    is_break = limit == "breaks"
    shape = learned.shapes.shape_breaks if is_break else learned.shapes.shape_dead
    lives = learned.exposure.lives
    life = float((lives.break_hours if is_break else lives.dead_hours)[bed])
    rest = 0.0 if is_break else float(learned.shapes.rest_scale * lives.rest[bed])
    done = float((now.abrasion if is_break else now.playability)[row])
    hours, age = float(h.hours[h.last[bed]]), float(now.age_hours[row])
    coming = s.play.hours[list(s.play.players).index(h.players[player])][:42].sum() * now.share[row]
    pace = (hours + coming) / (age / 24.0 + 42)
    played = s.play.abrasion if is_break else s.play.playability
    at = list(s.play.players).index(h.players[player])
    weight = done / hours if hours >= 1.0 else played[at].sum() / s.play.hours[at].sum()

    def x(more: float) -> float:
        return (done + more * weight) / life + rest * np.log10(1.0 + age + 24.0 * more / pace)

    x0, log_look = x(0.0), float((now.factor_breaks if is_break else now.factor_dead)[row])

    def hazard(at_x: float) -> float:
        look = np.exp(log_look * 0.5 ** ((at_x - x0) / learned.shapes.look_fade))
        return float(look * LN2 * shape * at_x ** (shape - 1.0))

    a, b = learned.a[limit][player], learned.b[limit][player]
    mean = a / b
    family = learned.family[limit][h.family[bed]] * learned.racket[bed]
    warp, level = learned.baseline[limit], learned.level[limit].level
    u0 = float((now.expected_breaks if is_break else now.expected_dead)[row])

    def left(more: float) -> float:
        u = u0 + family * mean * quad(hazard, x0, x(more), epsabs=1e-12, epsrel=1e-12)[0]
        added = float(warp.warped(np.array(u)) - warp.warped(np.array(u0))) / mean * level
        return float((b / (b + added)) ** a) - 0.5

    return hours + brentq(left, 0.0, 1500.0, xtol=1e-9)


def test_the_steps_add_up_exactly_to_the_beds_own_median(made: Snapshot, steps: pd.DataFrame) -> None:
    total = steps.groupby("racket_id")["hours"].sum()
    limit = steps.groupby("racket_id")["limit"].first()
    assert set(total.index) == set(made.beds.racket_id)
    for row, racket in enumerate(made.beds.racket_id):
        assert total[racket] == pytest.approx(own_median_hours(made, row, limit[racket]), rel=1e-6), racket


def test_the_limit_is_the_rankings(made: Snapshot, steps: pd.DataFrame) -> None:
    ranked = made.ranking().set_index("racket_id")["limit_first"]
    for racket, limit in steps.groupby("racket_id")["limit"].first().items():
        assert ranked[racket] == limit


def test_the_first_step_is_the_reference_life_of_the_string(made: Snapshot, steps: pd.DataFrame) -> None:
    material = made.estimate.history.beds.groupby("racket_id")["mains_material"].last()
    for row in steps[steps["order"] == 1].to_dict("records"):
        reference = MATERIALS[material[row["racket_id"]]]
        life = reference.break_hours if row["limit"] == "breaks" else reference.dead_hours
        assert (row["step"], row["hours"]) == ("string", life)


def test_every_step_has_its_words_and_place(steps: pd.DataFrame) -> None:
    assert tuple(steps.columns) == COLUMNS
    assert (steps["label"] == steps["step"].map(STEPS)).all()
    assert (steps.groupby("racket_id")["order"].apply(list).map(lambda o: o == list(range(1, len(o) + 1)))).all()
    assert np.isfinite(steps["hours"]).all()


def test_spin_moves_breaking_the_way_the_trade_says(made: Snapshot, steps: pd.DataFrame) -> None:
    """Topspin wears faster than flat hitting (common practice)."""
    spin = made.rackets.set_index("racket_id")["spin"]
    rows = steps[(steps["step"] == "spin") & (steps["limit"] == "breaks")]
    for row in rows.to_dict("records"):
        sign = {"flat": 1, "moderate": 0, "heavy": -1}[spin[row["racket_id"]]]
        assert np.sign(round(row["hours"], 6)) == sign, row


def test_rest_takes_from_the_hours_to_dead(steps: pd.DataFrame) -> None:
    """The loss at rest adds to that from impacts (USRSA, instruction page on tension loss)."""
    rest = steps[steps["step"] == "rest"]
    assert (rest["hours"] < 0).all()
    assert set(rest["limit"]) <= {"goes_dead"}


def test_no_look_moves_nothing_and_a_severe_one_takes(made: Snapshot, steps: pd.DataFrame) -> None:
    by_look = steps[steps["step"] == "look"].set_index("racket_id")["hours"]
    seen = made.rackets.set_index("racket_id")["looked_on"].notna()
    for racket, hours in by_look.items():
        if not seen[racket]:
            assert hours == pytest.approx(0.0, abs=1e-6)
    looks = made.estimate.learned.looks
    limit = steps.groupby("racket_id")["limit"].first()
    for racket in ("P00-1", "P01-1", "P03-2"):
        if racket in by_look.index:
            mains = made.estimate.history.beds.set_index("racket_id").loc[[racket], "mains_material"]
            by_sign = looks[limit[racket]][int(group_of(mains)[-1])]
            severe = by_sign[1, 3] * by_sign[2, 2]
            assert (by_look[racket] < 0) == (severe > 1), racket


def test_an_empty_club_has_no_steps() -> None:
    found = breakdown(snapshot(empty_club(), ORIGIN))
    assert found.empty and tuple(found.columns) == COLUMNS
