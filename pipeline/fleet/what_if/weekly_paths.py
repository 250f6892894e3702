"""Paths that rise week by week, and the random loads on them: the arithmetic under the what-if simulator.

In: arrays by bed and week, a random generator. Out: arrays. A path holds a running total at the ends of weeks, from 0;
days count from the origin, and inside a week play is taken as even.
"""

from __future__ import annotations

import numpy as np

from pipeline.fleet.outlook import SHARE_SPREAD
from pipeline.fleet.play import ComingPlay

SMALL = 1e-9


def load_draws(play: ComingPlay, count: int, draws: int, n_weeks: int, rng: np.random.Generator) -> np.ndarray:
    """(count, draws, weeks) multipliers with mean 1: a player's level, the player's week, the whole club's weeks."""
    level = around_one(play.spread_level, (count, draws, 1), rng)
    week = around_one(play.spread_week, (count, draws, n_weeks), rng)
    # the club's error is partly lasting, partly each week's own
    club = around_one(play.spread_club * 0.7, (1, draws, 1), rng)
    club = club * around_one(play.spread_club * 0.7, (1, draws, n_weeks), rng)
    return np.asarray(level * week * club)


def share_draws(
    share: np.ndarray, player: np.ndarray, n_players: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """(rackets, draws) part of the player's play a racket takes; what the player's rackets take together is kept."""
    drawn = share[:, None] * around_one(SHARE_SPREAD, (len(share), draws), rng)
    total = np.zeros((n_players, draws))
    np.add.at(total, player, drawn)
    whole = np.bincount(player, share, n_players)
    return np.asarray(drawn * (whole[:, None] / np.maximum(total, SMALL))[player])


def around_one(spread: float, size: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Gamma draws with mean 1 and that standard deviation."""
    shape = 1.0 / max(spread, 1e-3) ** 2
    return np.asarray(rng.gamma(shape, 1.0 / shape, size))


def gamma_draws(a: np.ndarray, b: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(len(a), draws) draws of Gamma(a, rate b)."""
    return np.maximum(rng.gamma(a[:, None], 1.0, (len(a), draws)) / b[:, None], SMALL)


def value_at(path: np.ndarray, day: np.ndarray) -> np.ndarray:
    """(m,) value of paths (m, weeks + 1) at days (m,); beyond the last week, its end."""
    n_weeks = path.shape[1] - 1
    week = np.minimum((day // 7).astype(np.int64), n_weeks - 1)
    part = np.minimum(day / 7.0 - week, 1.0)
    row = np.arange(len(day))
    return np.asarray(path[row, week] * (1.0 - part) + path[row, week + 1] * part)


def day_reached(path: np.ndarray, target: np.ndarray) -> np.ndarray:
    """(m,) day on which rising paths (m, weeks + 1) reach targets (m,); inf beyond the last week."""
    reached = path >= target[:, None]
    week = np.argmax(reached, axis=1)
    row = np.arange(len(target))
    before = np.maximum(week - 1, 0)
    low, high = path[row, before], path[row, week]
    part = np.where(high > low, (target - low) / np.maximum(high - low, 1e-12), 0.0)
    day = 7.0 * (before + np.clip(part, 0.0, 1.0))
    return np.where(reached[:, -1], np.where(week == 0, 0.0, day), np.inf)
