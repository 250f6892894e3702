"""A large fleet is gone through in parts: the numbers are those of the whole, whatever the parts.

Source: identities; the standard error of a quantile from its density (Kendall & Stuart, from memory), of a chance from
the binomial.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.fleet import own_past as past_of
from pipeline.fleet.own_past import own_past
from pipeline.fleet.snapshot import LEAST_DRAWS, MOST_DRAWS, Snapshot, snapshot
from pipeline.fleet.unseen import added_at_steps, expected_at_steps
from pipeline.wear import learning
from pipeline.wear.history import SIGNS, named_play
from tests.fleet.clubs import ORIGIN, academy


@pytest.fixture(scope="module")
def usual() -> Snapshot:
    return snapshot(academy(), ORIGIN)


@pytest.mark.parametrize("most_steps", [1, 50, 333])
def test_what_is_learned_does_not_depend_on_the_parts(
    usual: Snapshot, monkeypatch: pytest.MonkeyPatch, most_steps: int
) -> None:
    h, whole = usual.estimate.history, usual.estimate.learned
    monkeypatch.setattr(learning, "PART_STEPS", most_steps)
    parts = learning._parts(h)
    assert len(parts) > len(h.day) / max(most_steps, 100) / 2
    assert [p.start for p, _ in parts[1:]] == [p.stop for p, _ in parts[:-1]]
    assert parts[0][0].start == 0 and parts[-1][0].stop == len(h.day) and parts[-1][1].stop == h.n_beds
    again = learning.learn(h, whole.shapes)
    for limit in learning.LIMITS:
        assert again.b[limit] == pytest.approx(whole.b[limit], rel=1e-9)
        assert again.expected[limit] == pytest.approx(whole.expected[limit], rel=1e-9, abs=1e-12)
        assert again.baseline[limit].slopes == pytest.approx(whole.baseline[limit].slopes, rel=1e-9)
        assert again.level[limit].level == pytest.approx(whole.level[limit].level, rel=1e-9)


def test_the_past_does_not_depend_on_the_blocks(usual: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    h, learned = usual.estimate.history, usual.estimate.learned
    whole = own_past(h, learned)
    monkeypatch.setattr(past_of, "BLOCK_STEPS", 100)
    blocks = list(past_of._blocks(h))
    assert len(blocks) > 3
    assert np.sort(np.concatenate(blocks)).tolist() == list(range(h.n_beds))
    assert all(len(set(h.player[b]) & set(h.player[np.setdiff1d(np.arange(h.n_beds), b)])) == 0 for b in blocks)
    again = own_past(h, learned)
    for limit in learning.LIMITS:
        assert again.levels[limit].level == pytest.approx(whole.levels[limit].level, rel=1e-9)
        assert again.levels[limit].spread == pytest.approx(whole.levels[limit].spread, rel=1e-9)
        assert again.young[limit] == pytest.approx(whole.young[limit], rel=1e-9)


def test_what_is_asked_of_some_steps_is_what_all_of_them_say(usual: Snapshot) -> None:
    """Sums within a bed come to its expected hazard, and what one step adds is the difference of two."""
    h, learned = usual.estimate.history, usual.estimate.learned
    every = np.arange(len(h.day))
    some = np.random.default_rng(4).choice(every, 200, replace=False)
    assert expected_at_steps(h, learned, some) == pytest.approx(expected_at_steps(h, learned, every)[some])
    added = added_at_steps(h, learned, "breaks", every)
    at_end = learned.baseline["breaks"].warped(learned.expected["breaks"][h.last])
    assert np.add.reduceat(added, h.first) == pytest.approx(at_end)
    played, is_named = named_play(h, every)
    assert np.add.reduceat(played, h.first) == pytest.approx(h.hours[h.last])
    assert np.array_equal(named_play(h, some)[1], is_named[some])


@pytest.mark.parametrize(("rackets", "draws"), [(0, 2000), (160, 2000), (2000, 2000), (4000, 1000), (20_000, 500)])
def test_thousands_of_rackets_are_drawn_less_often(usual: Snapshot, rackets: int, draws: int) -> None:
    few = usual.rackets.head(1)
    assert replace(usual, rackets=pd.concat([few] * rackets) if rackets else few.head(0)).draws == draws


def test_how_far_off_a_band_of_so_many_draws_is() -> None:
    """As the comment beside the numbers has it: 0.04 and 0.08 standard deviations, 1 and 2 %."""
    density = stats.norm.pdf(stats.norm.ppf(0.1))
    for draws, of_band, of_chance in ((MOST_DRAWS, 0.04, 0.01), (LEAST_DRAWS, 0.08, 0.02)):
        assert math.sqrt(0.1 * 0.9 / draws) / density == pytest.approx(of_band, abs=0.005)
        assert math.sqrt(0.25 / draws) == pytest.approx(of_chance, abs=0.0025)


def test_words_are_shared_and_stay_what_they_are(usual: Snapshot) -> None:
    beds = usual.estimate.history.beds
    assert len({id(word) for word in beds["squad"]}) == beds["squad"].nunique(dropna=False)
    assert beds["bed_id"].is_unique and len(SIGNS) == 4
