"""A player's play stays the same when a racket is away: the others take it over until it is back.

In: shares of the player's play, the chance that each bed has ended by each day, how long rackets stay away. Out: by how
much more or less than its share each bed is played, given that it is still in. A racket is away from the end of its bed
until its restring; those at the bench now, and those in the bag with a bed that has ended unseen, come back by and by.
Expected values stand for the other rackets' chances (1 / E in place of E of 1 /, a little too low).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.hand_over import HandOver


@dataclass(frozen=True)
class Takeover:
    """still_away: (k,) chance that a racket whose bed ended so many days ago is not back. over: (n,) chance that a bed
    that counts as in play has ended; over_days: (n,) how long ago, if so. waits: for each racket away now its player's
    row, its usage in parts of what the player's rackets in play take together, and (k,) chance to be back by each day.
    """

    still_away: np.ndarray
    over: np.ndarray
    over_days: np.ndarray
    waits: tuple[tuple[int, float, np.ndarray], ...]

    def factors(self, share: np.ndarray, player: np.ndarray, ended: np.ndarray) -> np.ndarray:
        """(n, days) play of each bed over its share. share, player: (n,). ended: (n, days) chance of having ended by
        the end of each day ahead."""
        n, days = ended.shape
        if n == 0:
            return np.ones((n, days))
        new, away = np.diff(ended, axis=1, prepend=0.0), np.zeros((n, days))
        longest = len(self.still_away) - 1
        for lag in range(min(days, longest + 1)):
            away[:, lag:] += new[:, : days - lag] * self.still_away[lag]
        start = np.minimum(np.round(self.over_days).astype(np.int64), longest)
        later = np.minimum(start[:, None] + np.arange(1, days + 1), longest)
        hidden = self.over[:, None] * self.still_away[later] / np.maximum(self.still_away[start], 1e-9)[:, None]
        active = share[:, None] * (1.0 - np.clip(hidden + (1.0 - self.over[:, None]) * away, 0.0, 1.0))
        size = int(max(player.max(), max((row for row, _, _ in self.waits), default=0))) + 1
        whole, together, back = np.bincount(player, share, size), np.zeros((size, days)), np.zeros((size, days))
        np.add.at(together, player, active)
        for row, usage, by_day in self.waits:
            back[row] += usage * by_day[np.minimum(np.arange(days), len(by_day) - 1)]
        whole_of = whole[player][:, None]
        left = share[:, None] + (together[player] - active) + back[player] * whole_of
        return np.asarray(np.where(left > 1e-9, whole_of / np.maximum(left, 1e-9), 1.0))


def takeover_of(
    rackets: pd.DataFrame, players: tuple[str, ...], over: tuple[np.ndarray, np.ndarray], way: HandOver
) -> Takeover:
    """rackets: all in service: bed_id, player_id, share, status, waiting_days. over: chance and days of the beds in
    play."""
    bag = np.bincount(way.unseen.astype(np.int64)) / len(way.unseen)
    bench = np.bincount(way.after_wear.astype(np.int64)) / len(way.after_wear)
    still_away = np.clip(1.0 - np.cumsum(np.convolve(bag, bench)), 0.0, 1.0)
    row = {p: i for i, p in enumerate(players)}
    away = rackets[rackets["bed_id"].notna() & (rackets["status"] != "in_play") & rackets["player_id"].isin(players)]
    ahead = np.arange(1, len(bench) + 8)
    waits = []
    for player, share, waited in zip(away["player_id"], away["share"], away["waiting_days"], strict=True):
        so_far = 0.0 if pd.isna(waited) else float(waited)
        left = way.after_wear[way.after_wear > so_far] - so_far
        left = left if len(left) else np.arange(1.0, 6.0)
        usage = float(share) / max(1.0 - float(share), 0.05)
        waits.append((row[player], usage, (left[:, None] <= ahead).mean(axis=0)))
    return Takeover(still_away, over[0], over[1], tuple(waits))
