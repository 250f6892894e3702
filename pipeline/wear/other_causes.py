"""Restrings that wear did not force: scheduled, after an inspection, another string, a faulty frame.

In: History, and how much of each bed's ending is such a restring. Out: OtherCauses, a rate a day that depends on the
squad, the bed's age, how worn it is, and the player's habit. Rates are learned as counts over exposure with gamma
priors; the factors of age and wear are fitted in turn (iterative proportional fitting).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.wear.history import History

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


def learn_other_causes(h: History, e: Exposure, ended: np.ndarray) -> OtherCauses:
    """Fit the rates. ended: (n_beds,) between 0 and 1."""
    n_squads, n_players = len(h.squads), len(h.players)
    squad = np.where(h.squad >= 0, h.squad, n_squads)
    player = np.where(h.player >= 0, h.player, n_players)
    age_factor, wear_factor = np.ones(len(AGE_EDGES_DAYS) + 1), np.ones(len(WEAR_EDGES) + 1)
    player_factor = np.ones(n_players + 1)
    squad_rate = np.full(n_squads + 1, PRIOR_RATE_PER_DAY)
    if h.n_beds == 0:
        return OtherCauses(squad_rate, age_factor, wear_factor, player_factor, np.zeros(0))
    chosen = np.arange(h.n_beds)[-MAX_BEDS:] if h.n_beds > MAX_BEDS else np.arange(h.n_beds)
    wear_at_step = np.maximum(e.x["breaks"], e.x["goes_dead"])
    # one cell a bed and day at risk
    life_days = np.maximum((h.age_hours[h.last][chosen] - 12.0) / 24.0, 0.0).astype(np.int64) + 1
    cell_bed = np.repeat(chosen, life_days)
    offset = np.repeat(np.cumsum(life_days) - life_days, life_days)
    age = np.arange(len(cell_bed)) - offset
    end_day = h.day[h.last]
    day = end_day[cell_bed] - (life_days[np.searchsorted(chosen, cell_bed)] - 1) + age
    span = int(h.day.max() - h.day.min() + 2)
    base = int(h.day.min())
    key = h.bed.astype(np.int64) * span + (h.day - base)
    at = np.searchsorted(key, cell_bed.astype(np.int64) * span + np.maximum(day - base, 0), side="right") - 1
    same = (at >= 0) & (h.bed[np.maximum(at, 0)] == cell_bed)
    wear = np.where(same, wear_at_step[np.maximum(at, 0)], 0.0)
    age_bin = np.searchsorted(AGE_EDGES_DAYS, age.astype(float), side="right")
    wear_bin = np.searchsorted(WEAR_EDGES, wear, side="right")
    s, p = squad[cell_bed], player[cell_bed]
    # cells collapse to a small table: everything below works on it
    n_a, n_w = len(age_factor), len(wear_factor)
    code = ((s * (n_players + 1) + p) * n_a + age_bin) * n_w + wear_bin
    is_last = age == life_days[np.searchsorted(chosen, cell_bed)] - 1
    table, index = np.unique(code, return_inverse=True)
    days = np.bincount(index, minlength=len(table)).astype(float)
    endings = np.bincount(index, np.where(is_last, ended[cell_bed], 0.0), len(table))
    t_w, rest = table % n_w, table // n_w
    t_a, rest = rest % n_a, rest // n_a
    t_p, t_s = rest % (n_players + 1), rest // (n_players + 1)

    def ratio(group: np.ndarray, size: int, expected: np.ndarray, prior: float) -> np.ndarray:
        return (prior + np.bincount(group, endings, size)) / (prior + np.bincount(group, expected, size))

    for _ in range(12):
        relative = days * player_factor[t_p] * age_factor[t_a] * wear_factor[t_w]
        squad_rate = (PRIOR_ENDINGS + np.bincount(t_s, endings, n_squads + 1)) / (
            PRIOR_ENDINGS / PRIOR_RATE_PER_DAY + np.bincount(t_s, relative, n_squads + 1)
        )
        age_factor = ratio(t_a, n_a, days * squad_rate[t_s] * player_factor[t_p] * wear_factor[t_w], 3.0)
        wear_factor = ratio(t_w, n_w, days * squad_rate[t_s] * player_factor[t_p] * age_factor[t_a], 3.0)
        player_factor = ratio(t_p, n_players + 1, days * squad_rate[t_s] * age_factor[t_a] * wear_factor[t_w], 2.0)
    fitted = OtherCauses(squad_rate, age_factor, wear_factor, player_factor, np.zeros(0))
    at_end = fitted.rate(squad, player, (h.age_hours[h.last] - 12.0) / 24.0, wear_at_step[h.last])
    return OtherCauses(squad_rate, age_factor, wear_factor, player_factor, at_end)
