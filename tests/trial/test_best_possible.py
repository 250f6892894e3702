"""The bound: looking into other futures leaves the club as it was, and nothing of the trial's rules comes near it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.trial.best_possible import BUILDERS, best_opener
from tests.trial.harness import judge_club
from tests.trial.kinds import generators, settings


@pytest.mark.parametrize("name", ["fatigue", "compartment"])
def test_a_fork_lives_on_by_itself(name: str) -> None:
    alone, watched = (BUILDERS[name](4, players=8, days=150) for _ in range(2))
    half = alone.today + timedelta(days=90)
    for club in (alone, watched):
        club.advance_to(half)
    futures = []
    for n in range(2):
        fork = watched.fork(np.random.default_rng(n))
        fork.advance_to(half + timedelta(days=28))
        futures.append(fork.all_endings())
    for club in (alone, watched):
        club.advance_to(half + timedelta(days=28))
    assert alone.all_endings() == watched.all_endings()
    assert futures[0] != futures[1]
    before = [e for e in alone.all_endings() if e.get("restrung_on") and e["restrung_on"] <= half]
    assert before, "nothing happened before the fork"


@pytest.mark.slow
def test_the_best_possible_is_calibrated_and_beats_the_rules(tmp_path: Path) -> None:
    folder = tmp_path / "fatigue-clean-5"
    generators()["fatigue"](folder, seed=5, **settings("fatigue", "clean"))
    best = judge_club(folder, "fatigue", "clean", 3, best_opener("fatigue", "clean", 5, 40), draws=400).figures()
    assert best["auc"] > 0.88
    assert best["skill"] > 0.4
    # some 85 endings: a standard error of about 0.1 x sqrt(1 - skill)
    assert best["ratio"] == pytest.approx(1.0, abs=0.25)
    assert best["crps_ratio"] < 0.8
