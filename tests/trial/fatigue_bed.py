"""How a string bed of the fatigue club wears: hits and their stress in, damage, stiffness and breaks out.

Assumptions, chosen so that lives come out at the usual size; none of it is a measurement:

- every hit uses up fatigue life by a power of its stress (Basquin's law) and the parts add up (Miner's sum); each
  string job has a capacity of its own, drawn from a lognormal; the bed breaks in the session that reaches it;
- stiffness relaxes at rest as a stretched exponential of the hours since stringing and softens with the energy of the
  hits; sawn mains add drag;
- a mishit breaks a bed of any age.

Units: hits, hours, kg; stress 1 = a regional player with moderate topspin in a singles match on a hard court.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

BASQUIN = 3.0


@dataclass(frozen=True)
class FatigueString:
    """A string on the shelf: capacity and softening in hits at stress 1, losses as fractions of stiffness."""

    name: str
    material: str
    gauge_mm: float
    profile: str
    reel_price: float
    capacity_hits: float
    soft_share: float
    soft_hits: float
    rest_share: float


SHELF = {
    "F-POLY-125": FatigueString("Plain 1.25", "polyester", 1.25, "round", 110.0, 17500, 0.40, 9000, 0.20),
    "F-POLY-120": FatigueString("Plain 1.20", "polyester", 1.20, "round", 115.0, 13800, 0.42, 8500, 0.21),
    "F-SHAPE-123": FatigueString("Edge 1.23", "polyester", 1.23, "shaped", 130.0, 11500, 0.42, 8000, 0.22),
    "F-MULTI-130": FatigueString("Fibre 1.30", "multifilament", 1.30, "round", 160.0, 7200, 0.17, 9000, 0.12),
    "F-MULTI-125": FatigueString("Fibre 1.25", "multifilament", 1.25, "round", 165.0, 6100, 0.18, 8500, 0.12),
    "F-NYLON-130": FatigueString("Core 1.30", "synthetic_gut", 1.30, "round", 80.0, 8600, 0.20, 8000, 0.13),
    "F-GUT-130": FatigueString("Gut 1.30", "natural_gut", 1.30, "round", 480.0, 8200, 0.12, 12000, 0.07),
}
# activity -> hits an hour, stress
PLAY = {
    "singles": (270.0, 1.06),
    "doubles": (150.0, 1.02),
    "drills": (560.0, 0.95),
    "rally": (620.0, 0.86),
    "sparring": (420.0, 1.03),
    "serve": (240.0, 1.12),
    "ball_machine": (640.0, 0.83),
}
INTENSITY_STRESS = {"light": 0.88, "normal": 1.0, "hard": 1.09}
SURFACE_STRESS = {"hard": 1.0, "clay": 1.05, "carpet": 0.97}


@dataclass
class FatigueBed:
    """One stringing of one racket: what it was given, and what has been done to it so far."""

    strung_on: date
    mains: str
    crosses: str
    capacity_hits: float
    damage_hits: float = 0.0
    worked_hits: float = 0.0
    fresh_stiffness: float | None = None
    ended_on: date | None = None
    true_cause: str | None = None

    @property
    def is_over(self) -> bool:
        return self.true_cause is not None

    def end(self, day: date, true_cause: str) -> None:
        self.ended_on, self.true_cause = day, true_cause

    def _blend(self, name: str) -> float:
        return 0.65 * float(getattr(SHELF[self.mains], name)) + 0.35 * float(getattr(SHELF[self.crosses], name))

    def stiffness(self, day: date) -> float:
        """Stiffness left at the end of a day, 1 = off the machine."""
        age_hours = 24.0 * (day - self.strung_on).days + 8.0
        at_rest = 1.0 - self._blend("rest_share") * (1.0 - math.exp(-((age_hours / 300.0) ** 0.4)))
        return at_rest * (
            1.0 - self._blend("soft_share") * (1.0 - math.exp(-self.worked_hits / self._blend("soft_hits")))
        )

    @property
    def drag(self) -> float:
        """Extra change that sawn mains make, as if it were stiffness."""
        return 0.09 * math.sqrt(self.damage_hits / SHELF[self.mains].capacity_hits)

    def play(
        self, rng: np.random.Generator, hits: float, stress: float, mishits_per_hit: float
    ) -> tuple[float, str | None]:
        """Play a session; gives the share of it that the bed lasted, and "breaks" or "mishit" if it did not."""
        cost = hits * stress**BASQUIN
        to_break = (self.capacity_hits - self.damage_hits) / cost
        to_mishit = rng.exponential(1.0 / mishits_per_hit) / hits if mishits_per_hit > 0 else math.inf
        share = min(1.0, to_break, to_mishit)
        self.damage_hits += cost * share
        self.worked_hits += hits * share * stress**2
        return share, None if share == 1.0 else "breaks" if to_break <= to_mishit else "mishit"


def string_bed(
    rng: np.random.Generator, strung_on: date, mains: str, crosses: str, frame: float, spread: float
) -> FatigueBed:
    """A new bed; `frame` scales its capacity (pattern and head), `spread` is the lognormal sd between string jobs."""
    capacity = SHELF[mains].capacity_hits * frame
    is_hard_main, is_hard_cross = (SHELF[s].material == "polyester" for s in (mains, crosses))
    if is_hard_cross and not is_hard_main:
        capacity *= 0.75
    if is_hard_main and not is_hard_cross:
        capacity *= 1.15
    return FatigueBed(strung_on, mains, crosses, capacity * math.exp(rng.normal(0.0, spread)))
