"""Parameter recovery in small: `python -m tests.trial.recovery` is the whole of it."""

from __future__ import annotations

import pandas as pd

from tests.trial.recovery import allowed, recover, summary


def test_bands_hold_the_truth_as_often_as_they_say() -> None:
    """Truths drawn from the fitting priors, five clubs: the pooled 90 % bands within what chance allows (1 in 1000)."""
    rows = pd.concat([recover(seed, count_players=24, span_days=330) for seed in range(5)], ignore_index=True)
    low, _ = allowed(len(rows))
    assert len(rows) > 150
    assert rows["is_inside"].mean() >= low, summary(rows).to_string()
    weights = rows[rows["kind"] == "weight"]
    assert weights["is_inside"].mean() >= allowed(len(weights))[0]
    assert abs(weights["score"].mean()) < 4 / len(weights) ** 0.5
    assert (rows["spread"] > 0).all()


def test_the_learned_follow_the_truth() -> None:
    """Not merely wide bands: over clubs the estimate of a shape goes with the shape that was put in."""
    rows = pd.concat([recover(seed, count_players=16, span_days=300) for seed in range(20, 26)], ignore_index=True)
    shapes = rows[rows["kind"] == "shape"]
    assert shapes["truth"].corr(shapes["estimate"]) > 0.7
    assert (shapes["spread"] < 0.2).mean() > 0.5
