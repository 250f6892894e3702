"""Closed days at the bench, rackets that stand in for each other, the level of one's own past: directions, identities.

Sources: closed-form values worked out beside each check; that play goes on with what is left in the bag is common
practice.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.hand_over import HandOver, hand_over
from pipeline.fleet.outlook import unseen_days
from pipeline.fleet.own_past import own_past
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.fleet.takeover import Takeover, takeover_of
from pipeline.fleet.unseen import expected_at_steps, over_unseen
from tests.fleet.clubs import ORIGIN, academy

AS_OF = pd.Timestamp("2026-03-29")  # a Sunday


@pytest.fixture(scope="module")
def usual() -> Snapshot:
    return snapshot(academy(), ORIGIN)


def beds_strung_on(days: list[date]) -> pd.DataFrame:
    return pd.DataFrame(
        {"ended_on": [d - timedelta(days=1) for d in days], "restrung_on": days, "cause": ["breaks"] * len(days),
         "handed_in_on": None, "is_retired": False}
    )  # fmt: skip


def working_days(weeks: int) -> list[date]:
    """Two jobs each Tuesday and Friday before the origin."""
    every = [AS_OF.date() - timedelta(days=n) for n in range(7 * weeks)]
    return [d for d in every if d.weekday() in (1, 4) for _ in range(2)]


def test_no_job_on_closed_days_where_the_club_kept_to_them() -> None:
    shut = {AS_OF.date() - timedelta(days=n) for n in (*range(60, 74), *range(120, 134))}
    ahead = {AS_OF.date() + timedelta(days=n) for n in range(1, 8)}
    kept = [d for d in working_days(40) if d not in shut]
    way = hand_over(beds_strung_on(kept), np.zeros(1), shut | ahead, AS_OF)
    rng = np.random.default_rng(0)
    day = way.restrung(np.full(4000, 1.5), np.zeros(4000, dtype=bool), rng)
    # the first bench day after the closed week is the Tuesday of the next: day 8
    assert (day >= 7).mean() > 0.85 and set(np.unique(day[day >= 7])) == {8.0}
    ignored = hand_over(beds_strung_on(working_days(40)), np.zeros(1), shut | ahead, AS_OF)
    assert (ignored.restrung(np.full(4000, 1.5), np.zeros(4000, dtype=bool), rng) < 7).mean() > 0.75


def test_without_closed_days_the_delays_are_those_on_file_and_end_on_a_bench_day() -> None:
    way = hand_over(beds_strung_on(working_days(20)), np.array([0.0, 2.0]), (), AS_OF)
    day = way.restrung(np.full(5000, 3.7), np.zeros(5000, dtype=bool), np.random.default_rng(1))
    # over on Thursday: handed in at once, strung on Friday; two days in the bag, strung on the next Tuesday
    assert set(np.unique(day)) == {4.0, 8.0}
    assert (day == 4.0).mean() == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(5000))


def test_rackets_that_wait_while_nobody_strings_tell_of_an_absence() -> None:
    """Away for a fortnight twice before, and since ten days ago: four rackets wait, and the week ahead may be empty."""
    gone = {AS_OF.date() - timedelta(days=n) for n in (*range(10), *range(100, 114), *range(200, 214))}
    done = beds_strung_on([d for d in working_days(40) for _ in range(2) if d not in gone])
    done["handed_in_on"] = [
        d - timedelta(days=1) if d + timedelta(days=4) not in gone else d for d in done["restrung_on"]
    ]
    back = [AS_OF.date() - timedelta(days=98), AS_OF.date() - timedelta(days=198)]
    for day in back:  # what piled up meanwhile
        late = done["restrung_on"].map(lambda d, day=day: day <= d <= day + timedelta(days=4))
        done.loc[late, ["handed_in_on", "ended_on"]] = day - timedelta(days=12)
    waits = beds_strung_on([AS_OF.date() - timedelta(days=8)] * 4).assign(restrung_on=None)
    waits["handed_in_on"] = waits["ended_on"]
    way = hand_over(pd.concat([done, waits], ignore_index=True), np.zeros(1), (), AS_OF)
    assert way.is_idle > 0.9
    drawn = way.drawn(500, np.random.default_rng(0))
    day = drawn.still_waiting(np.array([8.0]), 500, np.random.default_rng(1))
    assert 0.05 < (day < 7).mean() < 0.95 and (day < 28).mean() > 0.9
    usual = hand_over(beds_strung_on(working_days(40)), np.zeros(1), (), AS_OF)
    assert usual.is_idle == 0.0 and usual.drawn(500, np.random.default_rng(0)).bench is usual.bench


def way_of(lag: float) -> HandOver:
    return HandOver(np.array([lag]), np.array([0.0]), np.zeros(1), np.zeros(5), np.arange(5.0))


def test_what_one_racket_leaves_the_other_takes() -> None:
    """Two rackets in equal parts, one certain to end on the first day and away for good: the other has all of it."""
    never_back = Takeover(np.ones(30), np.zeros(2), np.zeros(2), ())
    ended = np.array([[1.0] * 4, [0.0] * 4])
    factor = never_back.factors(np.array([0.5, 0.5]), np.array([0, 0]), ended)
    np.testing.assert_allclose(factor[1], 2.0)
    np.testing.assert_allclose(factor[0], 1.0)  # given that it is in, the other is too
    single = Takeover(np.ones(30), np.zeros(1), np.zeros(1), ())
    alone = single.factors(np.array([1.0]), np.array([0]), ended[:1])
    np.testing.assert_allclose(alone, 1.0)


def test_a_racket_that_comes_back_takes_its_part_back() -> None:
    rackets = pd.DataFrame(
        {
            "bed_id": ["A", "B"], "player_id": ["P", "P"], "status": ["in_play", "broken"], "share": [1.0, 0.5],
            "waiting_days": [np.nan, 1.0],
        }
    )  # fmt: skip
    takeover = takeover_of(rackets, ("P",), (np.zeros(1), np.zeros(1)), way_of(3.0))
    factor = takeover.factors(np.array([1.0]), np.array([0]), np.zeros((1, 4)))
    # usage 0.5 / (1 - 0.5) = as much as the one in play; back from the second day on
    np.testing.assert_allclose(factor[0], [1.0, 0.5, 0.5, 0.5])


def test_chances_of_being_over_are_chances(usual: Snapshot) -> None:
    h, learned, beds = usual.estimate.history, usual.estimate.learned, usual.beds
    chance, since = over_unseen(h, learned, beds.index, beds.share)
    assert ((chance >= 0) & (chance < 1)).all() and (since >= 0).all()
    assert expected_at_steps(h, learned, np.arange(len(h.day))).min() >= -1e-12
    assert unseen_days(h).min() >= 0


def test_a_certain_stand_in_brings_an_earlier_end(usual: Snapshot) -> None:
    assert usual.takeover is not None
    plain = replace(usual, takeover=None, seen={}).outlook(14)
    gone = np.zeros(len(usual.beds.index))
    gone[0] = 0.99
    far = replace(usual, takeover=Takeover(np.ones(40), gone, np.zeros(len(gone)), ()), seen={}).outlook(14)
    mate = np.flatnonzero((usual.beds.player == usual.beds.player[0]) & (np.arange(len(gone)) != 0))
    assert len(mate)
    ended, alone = far.p_break + far.p_feel, plain.p_break + plain.p_feel
    assert (ended[mate, 13] > alone[mate, 13] * 1.1).all()


def test_levels_are_near_one_where_the_past_went_as_foretold(usual: Snapshot) -> None:
    """Eight players' beds, some 200 endings: within a half of 1, and the same twice."""
    levels = own_past(usual.estimate.history, usual.estimate.learned).levels
    assert set(levels) == {"breaks", "goes_dead"}
    for level in levels.values():
        assert 0.5 < level.level < 1.8 and level.spread > 0
    again = own_past(usual.estimate.history, usual.estimate.learned).levels
    assert {k: v.level for k, v in again.items()} == {k: v.level for k, v in levels.items()}
