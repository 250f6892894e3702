"""Trees find what a forecast leaves over, and nothing where nothing is left; no row teaches before its time."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from tests.trial import metrics
from tests.trial.left_over import known_by, log_odds, scores, taught


def made_up(n: int, unused: float, slope: float = 1.0) -> pd.DataFrame:
    """n beds at each of 12 fortnights; log odds of ending: slope times those of p_end and `unused` times a number that
    the forecast does not know."""
    rng = np.random.default_rng(5)
    at = [date(2026, 1, 5) + timedelta(days=14 * k) for k in range(12)]
    told, other = rng.normal(-1.0, 1.2, 12 * n), rng.normal(0.0, 1.0, 12 * n)
    chance = 1.0 / (1.0 + np.exp(-(slope * told + unused * other)))
    return pd.DataFrame(
        {
            "p_end": 1.0 / (1.0 + np.exp(-told)),
            "other": other,
            "never_seen": np.nan,
            "happened": rng.random(12 * n) < chance,
            "origin": np.repeat(np.array(at, dtype=object), n),
        }
    )


def test_what_is_left_over_is_found_and_nothing_else() -> None:
    with_rest, without = scores(made_up(300, unused=1.5)), scores(made_up(300, unused=0.0))
    assert with_rest["trees"][0] > with_rest["ranking"][0] + 0.08
    assert without["trees"][0] < without["ranking"][0] + 0.005


def test_a_slope_is_put_right() -> None:
    """Chances that are too sure of themselves by half: the order stays, the Brier skill rises."""
    got = scores(made_up(300, unused=0.0, slope=0.5))
    assert got["slope"][0] == pytest.approx(got["ranking"][0], abs=0.01)
    assert got["slope"][1] > got["ranking"][1] + 0.02


def test_a_fortnight_teaches_when_it_is_over() -> None:
    past = made_up(3, unused=0.0)
    origins = sorted(past["origin"].unique())
    assert known_by(past, origins[4])["origin"].max() == origins[3]
    assert known_by(past, origins[4] - timedelta(days=1))["origin"].max() == origins[2]
    later = past["origin"] > origins[5]
    changed = past.assign(happened=past["happened"] ^ later)
    now = past[past["origin"] == origins[6]]
    same = [taught(known_by(rows, origins[6]), now)["trees"] for rows in (past, changed)]
    assert np.array_equal(*same)


def test_log_odds() -> None:
    """Log odds of a half are 0; metrics.auc does not mind them."""
    assert log_odds(pd.Series([0.5, 0.75])).to_numpy() == pytest.approx([0.0, np.log(3.0)])
    assert metrics.auc(log_odds(pd.Series([0.1, 0.9])), [False, True]) == 1.0
