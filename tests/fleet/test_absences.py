"""Spells without a stringer, in clubs that are drawn here: found, told from quiet days, and carried ahead.

Sources: the recursions against a sum over all paths, worked out beside them; that a stringer is ill or away at times is
common practice.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from pipeline.fleet.absences import LONGEST, Absences, _smoothed, absences


def club(spells: list[tuple[int, int]], days: int = 150, waiting: int = 5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """is_done, left, taken of a bench that takes nearly all that waits, but for its spells."""
    left = np.full(days, float(waiting))
    is_done = np.ones(days, dtype=bool)
    for first, length in spells:
        is_done[first : first + length] = False
    return is_done, left, np.where(is_done, waiting - 0.5, 0.0)


def test_a_club_that_always_strings_has_none() -> None:
    assert absences(*club([])) is None
    assert absences(np.zeros(0, dtype=bool), np.zeros(0), np.zeros(0)) is None


def test_days_on_which_nothing_waits_say_nothing() -> None:
    is_done, left, taken = club([(20, 8), (90, 8)])
    left[~is_done] = 0.0
    assert absences(is_done, left, taken) is None


def test_spells_are_found_with_their_length() -> None:
    found = absences(*club([(30, 8), (100, 8)]))
    assert found is not None
    idle = np.zeros(150, dtype=bool)
    idle[30:38] = idle[100:108] = True
    assert ((found.idle > 0.5) == idle).all()
    assert found.is_away < 0.02
    # two spells begun in 136 days at work, with a prior of 0.2 in 50
    assert found.begins == pytest.approx(2.2 / (134 + 50), rel=0.05)
    # both ended on the day after the eighth: (2 + 0.25) / (2 + 1), and never before: 0.25 / 3
    assert found.ends[8] == pytest.approx(0.75, abs=0.02)
    assert found.ends[4] == pytest.approx(0.25 / 3.0, abs=0.02)


def test_a_spell_that_lasts_is_known_while_it_does() -> None:
    found = absences(*club([(30, 8), (147, 3)]))
    assert found is not None and found.is_away > 0.95
    assert int(np.argmax(found.now)) == 3


def test_ahead_it_ends_when_the_others_did() -> None:
    """Away for three of eight bench days: five more without, then the bench is at work in most draws."""
    found = absences(*club([(30, 8), (70, 8), (100, 8), (147, 3)]))
    assert found is not None
    ahead = found.ahead(np.ones(40, dtype=bool), 4000, np.random.default_rng(0))
    assert ahead[:, 0].mean() < 0.15 and ahead[:, 4].mean() < 0.35
    assert ahead[:, 5].mean() > 0.75
    assert not found.ahead(np.zeros(40, dtype=bool), 10, np.random.default_rng(0)).any()  # no bench day, no work


def test_in_the_long_run_the_bench_is_away_as_often_as_its_rates_say() -> None:
    """Renewal: of the bench days, mean length / (mean length + 1 / begins) are idle (Ross, Introduction to Probability
    Models, alternating renewal; from memory). Spells of geometric length 4, one begun on 20 days: 4 / 24."""
    steady = Absences(np.zeros(0), np.eye(LONGEST + 1)[0], 1.0 / 20.0, np.full(LONGEST + 1, 0.25))
    ahead = steady.ahead(np.ones(400, dtype=bool), 600, np.random.default_rng(3))
    assert 1.0 - ahead[:, 100:].mean() == pytest.approx(4.0 / 24.0, abs=0.01)


def test_forward_and_backward_are_the_sum_over_all_paths() -> None:
    """Five days, states at work and idle for 1 or 2 and more: every path's weight added up."""
    rng = np.random.default_rng(5)
    begins, ends, seen = 0.2, np.array([0.0, 0.3, 0.6]), rng.uniform(0.1, 1.0, (5, 3))
    step = np.array([[0.8, 0.2, 0.0], [0.3, 0.0, 0.7], [0.6, 0.0, 0.4]])
    weight = np.zeros((5, 3))
    begun, total = 0.0, 0.0
    for path in product(range(3), repeat=5):
        p = step[0, path[0]]
        for t in range(5):
            p *= seen[t, path[t]] * (step[path[t - 1], path[t]] if t else 1.0)
        total += p
        begun += p * sum(a == 0 and b == 1 for a, b in zip((0, *path), path, strict=False))
        for t in range(5):
            weight[t, path[t]] += p
    chance, found_begun, over, at_risk, now = _smoothed(seen, begins, ends)
    assert chance == pytest.approx(weight / total)
    assert found_begun == pytest.approx(begun / total)
    assert now == pytest.approx(weight[-1] / total)
    assert at_risk == pytest.approx(weight[:-1].sum(axis=0) / total)
    assert over[0] == 0.0 and (over <= at_risk + 1e-12).all()
