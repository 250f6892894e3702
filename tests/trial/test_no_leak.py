"""What is dated after the origin does not touch the origin's forecast, not by a bit; what is dated before it does."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.trial.kinds import generators, settings
from tests.trial.other_future import write_other_future
from tests.trial.product import open_club

ORIGIN = date(2026, 9, 13)


def forecast(folder: Path, origin: date) -> tuple[pd.DataFrame, np.ndarray]:
    with open_club(folder) as snapshot_at:
        at = snapshot_at(origin)
        return at.rank(days=14).reset_index(drop=True), np.asarray(at.forecast_draws(4, 300, 7))


@pytest.mark.parametrize("name", ["fatigue", "compartment"])
def test_another_future_same_forecast_to_the_bit(name: str, tmp_path: Path) -> None:
    generators()[name](
        tmp_path / "club", seed=3, **settings(name, "messy") | {"players": 14, "days": 320, "inspect_every": 14}
    )
    changed = write_other_future(tmp_path / "club", tmp_path / "other", ORIGIN)
    assert changed > 300
    rank, draws = forecast(tmp_path / "club", ORIGIN)
    other_rank, other_draws = forecast(tmp_path / "other", ORIGIN)
    pd.testing.assert_frame_equal(rank, other_rank, check_exact=True)
    np.testing.assert_array_equal(draws, other_draws)


def test_another_past_another_forecast(tmp_path: Path) -> None:
    """The test above would be idle if the forecast did not listen: altered from a fortnight before, it differs."""
    generators()["fatigue"](tmp_path / "club", seed=3, players=14, days=320)
    write_other_future(tmp_path / "club", tmp_path / "other", ORIGIN - timedelta(days=14))
    rank, draws = forecast(tmp_path / "club", ORIGIN)
    other_rank, other_draws = forecast(tmp_path / "other", ORIGIN)
    assert not rank["p_end"].equals(other_rank["p_end"])
    assert not np.array_equal(draws, other_draws)
