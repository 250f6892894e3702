"""What goes into a look, a load and a busy week: inputs put in by hand, results that follow from them alone."""

from __future__ import annotations

import importlib
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from pipeline.fleet import play
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.wear.history import SIGNS
from tests.fleet.clubs import ORIGIN, academy

# the packages name functions like these modules
look_first: Any = importlib.import_module("pipeline.fleet.look_first")
outlook: Any = importlib.import_module("pipeline.fleet.outlook")


@pytest.fixture(scope="module")
def made() -> Snapshot:
    return snapshot(academy(players=3, weeks=20), ORIGIN)


def test_the_sign_to_look_at_is_the_one_whose_look_is_worth_most(
    made: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each sign is made worth more than the one before it, and less likely to change anything."""
    seen = []

    def value(stakes: object, chance: object, looks: object, applies: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        seen.append(applies)
        first = int(np.flatnonzero(applies.any(axis=0))[0]) if applies.any() else 0
        return np.full(len(applies), first + 1.0), np.full(len(applies), 0.9 - first / 10)

    monkeypatch.setattr(look_first, "every_look", lambda chance, looks, applies: (chance, looks, applies))
    monkeypatch.setattr(look_first, "value_of_look", value)
    frame = look_first.look_first(made).set_index("racket_id")
    applies = seen[-1]
    assert (applies.sum(axis=1) > 1).any()
    for racket, ones in zip(made.beds.racket_id, applies, strict=True):
        assert frame.loc[racket, "sign"] == SIGNS[int(np.flatnonzero(ones).max())]


def test_the_load_scatters_by_level_week_club_and_share(made: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    """0.3 for good, 0.4 a week, of which half in square stays over the weeks, the club 0.1, a share 0.45: in square
    0.09 + 0.08 + 0.01 + 0.2025 = 0.3825, the scale of a gamma of mean 1."""
    real, scales = outlook._outlook, []

    def ppf(at: np.ndarray, shape: float, scale: float) -> np.ndarray:
        scales.append((shape * scale, scale))
        return np.asarray(stats.gamma.ppf(at, shape, scale=scale))

    def with_spreads(h: Any, learned: Any, beds: Any, coming: Any, *rest: Any) -> Any:
        return real(h, learned, beds, replace(coming, spread_level=0.3, spread_week=0.4, spread_club=0.1), *rest)

    monkeypatch.setattr(outlook, "_outlook", with_spreads)
    monkeypatch.setattr(outlook, "stats", SimpleNamespace(gamma=SimpleNamespace(ppf=ppf)))
    made.outlook(9)
    assert scales and np.array(scales) == pytest.approx(np.tile([1.0, 0.3825], (len(scales), 1)))


def test_a_squads_week_leans_on_the_clubs_by_fifteen_parts_in_a_hundred(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two squads of one player, 2 and 1 hours, 1 and 2 hours, both of level L as no week counts more. The club's index
    is 3 / 2L in both weeks; the first squad's are (2 + 0.15 x 1.5) and (1 + 0.15 x 1.5) over 1.15 L."""
    seen = []

    def kernel(at: Any, past: Any, observed: np.ndarray, weight: np.ndarray) -> np.ndarray:
        seen.append(observed)
        return np.ones_like(at[0])

    monkeypatch.setattr(play, "_kernel", kernel)
    monkeypatch.setattr(play, "LEVEL_HALF_LIFE_WEEKS", 1e12)
    none = np.zeros((2, 2))
    weeks = play._Weeks(np.array([[2.0, 1.0], [1.0, 2.0]]), none, none, np.ones((2, 2), dtype=bool), np.arange(2))
    play.forecast_weeks(weeks, np.zeros((2, 1)), np.zeros((2, 1)))
    assert seen[0][0, 0] / seen[0][0, 1] == pytest.approx(2.225 / 1.225)


def test_a_week_without_a_job_is_as_busy_as_its_beds(made: Snapshot) -> None:
    """Busy is a factor on the beds' own jobs: 1 where there are none."""
    found = made.simulate(4, 50, 0)
    n_weeks = found.busy.shape[1]
    own = np.bincount(found.draw * n_weeks + found.week, minlength=found.busy.size).reshape(found.busy.shape)
    assert (own == 0).any() and (found.busy[own == 0] == 1.0).all()
