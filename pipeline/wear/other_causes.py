"""Restrings that wear did not force: scheduled, after an inspection, another string, a faulty frame.

In: History, and how much of each bed's ending is such a restring. Out: OtherCauses, a rate a day that depends on the
squad, the bed's age, how worn it is, and the player's habit. Rates are learned as counts over exposure with gamma
priors; the factors of age and wear are fitted in turn (iterative proportional fitting).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.wear.history import History, player_or_nobody

if TYPE_CHECKING:
    from pipeline.wear.learning import Exposure

AGE_EDGES_DAYS = np.array([7, 14, 21, 28, 35, 42, 56, 84], dtype=float)
# edges of age are whole days, those of wear multiples of a step: a rate is looked up, not searched for
WEAR_STEP = 0.25
WEAR_EDGES = np.array([0.25, 0.5, 0.75, 1.0, 1.5], dtype=float)
PRIOR_RATE_PER_DAY = 1 / 250.0
PRIOR_ENDINGS = 2.0
MAX_BEDS = 6000


@dataclass(frozen=True)
class OtherCauses:
    """rate a day = squad[s] * age[bin] * wear[bin] * player[p]; rate_at_end: (n_beds,) that rate on each bed's last
    day.

    squad has one entry more than there are squads and player one more than players: the last is for the unknown.
    """

    squad: np.ndarray
    age: np.ndarray
    wear: np.ndarray
    player: np.ndarray
    rate_at_end: np.ndarray

    def rate(self, squad: np.ndarray, player: np.ndarray, age_days: np.ndarray, wear: np.ndarray) -> np.ndarray:
        """Rate a day (1/day); arguments of shapes that broadcast together."""
        days = np.clip(age_days, 0.0, AGE_EDGES_DAYS[-1]).astype(np.int64)
        steps = np.clip(wear / WEAR_STEP, 0.0, WEAR_EDGES[-1] / WEAR_STEP).astype(np.int64)
        by_day = self.age[np.searchsorted(AGE_EDGES_DAYS, np.arange(AGE_EDGES_DAYS[-1] + 1), side="right")]
        by_step = self.wear[
            np.searchsorted(WEAR_EDGES, np.arange(WEAR_EDGES[-1] / WEAR_STEP + 1) * WEAR_STEP, side="right")
        ]
        return np.asarray((self.squad[squad] * self.player[player]) * by_day[days] * by_step[steps])


class DaysAtRisk:
    """Every day of every bed (of the newest MAX_BEDS), gathered in a small table by squad, player, age and wear: days
    at risk, and in which row of it each bed's last day is. It is made once and asked for endings time and again.
    """

    def __init__(self, h: History, e: Exposure) -> None:
        self.n_squads, self.n_players, self.n_beds = len(h.squads), len(h.players), h.n_beds
        self.squad = np.where(h.squad >= 0, h.squad, self.n_squads)
        self.player = player_or_nobody(h)
        if h.n_beds == 0:
            return
        wear_at_step = np.maximum(e.x["breaks"], e.x["goes_dead"])
        self.wear_at_end = wear_at_step[h.last]
        self.age_at_end = (h.age_hours[h.last] - 12.0) / 24.0
        self.chosen = np.arange(h.n_beds)[-MAX_BEDS:]
        # one cell a bed and day at risk
        life_days = np.maximum(self.age_at_end[self.chosen], 0.0).astype(np.int64) + 1
        ends = np.cumsum(life_days)
        cell_bed = np.repeat(self.chosen, life_days)
        age = np.arange(len(cell_bed)) - np.repeat(ends - life_days, life_days)
        day = np.repeat(h.day[h.last][self.chosen] - (life_days - 1), life_days) + age
        span = int(h.day.max() - h.day.min() + 2)
        base = int(h.day.min())
        key = h.bed.astype(np.int64) * span + (h.day - base)
        at = np.searchsorted(key, cell_bed.astype(np.int64) * span + np.maximum(day - base, 0), side="right") - 1
        same = (at >= 0) & (h.bed[np.maximum(at, 0)] == cell_bed)
        wear = np.where(same, wear_at_step[np.maximum(at, 0)], 0.0)
        age_bin = np.searchsorted(AGE_EDGES_DAYS, age.astype(float), side="right")
        wear_bin = np.searchsorted(WEAR_EDGES, wear, side="right")
        # cells collapse to a small table: everything else works on it
        n_a, n_w = len(AGE_EDGES_DAYS) + 1, len(WEAR_EDGES) + 1
        code = ((self.squad[cell_bed] * (self.n_players + 1) + self.player[cell_bed]) * n_a + age_bin) * n_w + wear_bin
        table, index = np.unique(code, return_inverse=True)
        self.days = np.bincount(index, minlength=len(table)).astype(float)
        self.row_at_end = index[ends - 1]
        self.of_wear, rest = table % n_w, table // n_w
        self.of_age, rest = rest % n_a, rest // n_a
        self.of_player, self.of_squad = rest % (self.n_players + 1), rest // (self.n_players + 1)

    def learn(self, ended: np.ndarray) -> OtherCauses:
        """Fit the rates. ended: (n_beds,) between 0 and 1."""
        n_s, n_p = self.n_squads + 1, self.n_players + 1
        age, wear, player = np.ones(len(AGE_EDGES_DAYS) + 1), np.ones(len(WEAR_EDGES) + 1), np.ones(n_p)
        squad = np.full(n_s, PRIOR_RATE_PER_DAY)
        if self.n_beds == 0:
            return OtherCauses(squad, age, wear, player, np.zeros(0))
        days = self.days
        endings = np.bincount(self.row_at_end, ended[self.chosen], len(days))

        def ratio(group: np.ndarray, size: int, expected: np.ndarray, prior: float) -> np.ndarray:
            return (prior + np.bincount(group, endings, size)) / (prior + np.bincount(group, expected, size))

        for _ in range(12):
            relative = days * player[self.of_player] * age[self.of_age] * wear[self.of_wear]
            squad = (PRIOR_ENDINGS + np.bincount(self.of_squad, endings, n_s)) / (
                PRIOR_ENDINGS / PRIOR_RATE_PER_DAY + np.bincount(self.of_squad, relative, n_s)
            )
            by_squad = days * squad[self.of_squad]
            age = ratio(self.of_age, len(age), by_squad * player[self.of_player] * wear[self.of_wear], 3.0)
            wear = ratio(self.of_wear, len(wear), by_squad * player[self.of_player] * age[self.of_age], 3.0)
            player = ratio(self.of_player, n_p, by_squad * age[self.of_age] * wear[self.of_wear], 2.0)
        fitted = OtherCauses(squad, age, wear, player, np.zeros(0))
        at_end = fitted.rate(self.squad, self.player, self.age_at_end, self.wear_at_end)
        return OtherCauses(squad, age, wear, player, at_end)

    def log_likelihood(self, ended: np.ndarray) -> tuple[float, int]:
        """Of these endings under the rates fitted to them, players taken as alike, and how many factors of age and
        wear were free."""
        made = self.learn(ended)
        rate = made.squad[self.of_squad] * made.age[self.of_age] * made.wear[self.of_wear]
        endings = np.bincount(self.row_at_end, ended[self.chosen], len(self.days))
        free = len(np.unique(self.of_age)) + len(np.unique(self.of_wear)) - 2
        return float((endings * np.log(rate)).sum() - (rate * self.days).sum()), free
