"""What hits and time do to one string bed.

In: a bed as strung (strings, gauge, tension, pattern) and bouts of play: how many hits, how hard, with how much brush
for topspin, on how gritty a court. Out: notch depth (mm), broken filaments (share), tension (newtons), friction, and
whether the string parts. Units: mm, N, hours, hits. Every constant is an assumption of this simulation, chosen so that
beds live as long as the trade says they do; none is measured, none is shared with the forecast tested on it.

A hit drags the mains over the crosses. The work of that slip cuts a notch into a solid string, the deeper the wider its
floor, so that depth slows as it grows; or it saws filaments of a soft string, whose survivors then carry more each. The
string parts when the hardest blow of a bout pulls harder than what is left of its section can bear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

NEWTONS_PER_KG = 9.80665
IN_BED_SHARE_OF_PULL = 0.72
RELAXATION_HOURS = (0.1, 1.0, 10.0, 100.0, 1000.0, 10000.0)


@dataclass(frozen=True)
class Material:
    """How one kind of string behaves under the hits of this simulation."""

    strength_mpa: float
    hardness: float
    notch_rate: float
    saw_rate: float
    relaxation_per_decade: float
    creep_per_hit: float
    settling: float
    friction_gain: float
    density_g_cm3: float
    is_soft: bool


MATERIALS = {
    "polyester": Material(480, 1.0, 3.2e-5, 0.0, 0.030, 2.4e-5, 0.030, 0.100, 1.38, False),
    "aramid": Material(900, 1.4, 2.6e-5, 0.0, 0.028, 1.2e-5, 0.020, 0.080, 1.44, False),
    "synthetic_gut": Material(400, 0.7, 5.9e-5, 0.0, 0.016, 1.0e-5, 0.020, 0.070, 1.14, False),
    "multifilament": Material(410, 0.6, 1.6e-5, 7.2e-5, 0.014, 0.9e-5, 0.015, 0.050, 1.10, True),
    "natural_gut": Material(520, 0.6, 1.4e-5, 7.0e-5, 0.010, 0.7e-5, 0.010, 0.040, 1.28, True),
    "other": Material(420, 0.7, 5.0e-5, 0.0, 0.018, 1.1e-5, 0.020, 0.070, 1.15, False),
}


@dataclass(frozen=True)
class BedStrings:
    """What the string bed is made of: mains and crosses, their gauge in mm, and the frame's pattern."""

    mains_material: str
    crosses_material: str
    mains_gauge_mm: float
    is_mains_shaped: bool
    mains_kg: float
    openness: float
    head_cm2: float


@dataclass(frozen=True)
class Bout:
    """A stretch of even play: hits, power and brush (1 = a moderate regional player), grit (0 = a clean court)."""

    hits: int
    power: float
    brush: float
    grit: float


@dataclass
class StringBed:
    """State of one bed. `flaw` scales its strength, `bite` its wear: no two stringings are alike."""

    strings: BedStrings
    flaw: float
    bite: float
    notch_mm: float = 0.0
    sound_share: float = 1.0
    creep: float = 0.0
    hits: int = 0
    wrap_share: float = 1.0

    @property
    def mains(self) -> Material:
        return MATERIALS[self.strings.mains_material]

    @property
    def crosses(self) -> Material:
        return MATERIALS[self.strings.crosses_material]

    def relaxed_share(self, age_hours: float) -> float:
        """Share of the tension lost by lying there: six relaxing elements a decade apart."""
        per_decade = 0.65 * self.mains.relaxation_per_decade + 0.35 * self.crosses.relaxation_per_decade
        return per_decade * sum(1.0 - math.exp(-age_hours / scale) for scale in RELAXATION_HOURS)

    def tension_n(self, age_hours: float) -> float:
        """Tension of a main string in the bed, newtons."""
        new = self.strings.mains_kg * NEWTONS_PER_KG * IN_BED_SHARE_OF_PULL
        settled = (0.65 * self.mains.settling + 0.35 * self.crosses.settling) * (1.0 - math.exp(-self.hits / 40.0))
        return new * (1.0 - self.relaxed_share(age_hours)) * (1.0 - self.creep) * (1.0 - settled)

    def stiffness_lost(self, age_hours: float) -> float:
        """Share of the tension lost since the day after stringing."""
        new = self.strings.mains_kg * NEWTONS_PER_KG * IN_BED_SHARE_OF_PULL
        day_old = new * (1.0 - self.relaxed_share(24.0))
        return max(0.0, 1.0 - self.tension_n(max(age_hours, 24.0)) / day_old)

    def locking(self) -> float:
        """How far the notches keep the mains from sliding back: 0 new, towards 1."""
        sharp = 1.3 if self.strings.is_mains_shaped else 1.0
        return 1.0 - math.exp(-self.notch_mm * sharp / 0.25)

    def friction_gained(self) -> float:
        """Rise of friction between strings, as the share of stiffness whose loss a player would feel alike."""
        return (0.6 * self.mains.friction_gain + 0.4 * self.crosses.friction_gain) * self.locking()

    def deadness(self, age_hours: float) -> float:
        """What the player feels: stiffness lost and friction gained, added."""
        return self.stiffness_lost(age_hours) + self.friction_gained()

    def section_left(self) -> float:
        """Share of the mains' section still whole at the worst crossing: a circle less the segment cut out of it."""
        gauge = self.strings.mains_gauge_mm
        depth = min(self.notch_mm, 0.98 * gauge)
        radius = gauge / 2.0
        cut = radius**2 * math.acos((radius - depth) / radius) - (radius - depth) * math.sqrt(
            2 * radius * depth - depth**2
        )
        whole = 1.0 - cut / (math.pi * radius**2)
        return whole * self.sound_share if self.mains.is_soft else whole

    def strength_n(self) -> float:
        """Pull the worst crossing still bears, newtons."""
        gauge = self.strings.mains_gauge_mm
        shape = 0.94 if self.strings.is_mains_shaped else 1.0
        return self.mains.strength_mpa * math.pi * gauge**2 / 4.0 * self.section_left() * self.flaw * shape

    def usual_peak_n(self, power: float, age_hours: float) -> float:
        """Pull of the hardest of a hundred blows, newtons."""
        return self.tension_n(age_hours) + 55.0 * power + 14.0 * math.log(100.0)

    def break_used(self, power: float, age_hours: float) -> float:
        """How much of the section that can go is gone: 0 new, 1 = the next hard blow parts it."""
        full = self.strength_n() / max(self.section_left(), 1e-9)
        needed = min(0.98, self.usual_peak_n(power, age_hours) / full)
        return (1.0 - self.section_left()) / (1.0 - needed)

    def play(self, bout: Bout, age_hours: float, rng: np.random.Generator) -> bool:
        """Wear the bed by one bout; True when the string parts at a crossing."""
        if bout.hits <= 0:
            return False
        strings = self.strings
        hard_crosses = (self.crosses.hardness / self.mains.hardness) ** 0.8
        pull = self.tension_n(age_hours) / 165.0
        slip = bout.brush**0.9 * bout.power * strings.openness * (1.0 - 0.3 * self.locking())
        per_hit = slip * pull**0.5 * bout.power * (1.0 + bout.grit) * hard_crosses * self.bite
        work = bout.hits * per_hit * max(0.2, 1.0 + 0.8 / math.sqrt(bout.hits) * rng.standard_normal())
        sharp = 1.15 if strings.is_mains_shaped else 1.0
        self.notch_mm = (self.notch_mm**1.5 + 1.5 * self.mains.notch_rate * sharp * work) ** (2.0 / 3.0)
        if self.mains.is_soft:
            left = self.sound_share**1.8 - 1.8 * self.mains.saw_rate * work * (1.3 / strings.mains_gauge_mm) ** 2
            self.sound_share = max(left, 1e-6) ** (1.0 / 1.8)
        elif strings.mains_material == "synthetic_gut":
            self.wrap_share *= math.exp(-2.5e-4 * work)
        creep = 0.65 * self.mains.creep_per_hit + 0.35 * self.crosses.creep_per_hit
        self.creep += creep * bout.hits * bout.power**1.5 * max(0.0, 1.0 - self.creep / 0.35)
        self.hits += bout.hits
        gumbel = -math.log(-math.log(rng.uniform(1e-12, 1.0 - 1e-12)))
        peak = self.tension_n(age_hours) + 55.0 * bout.power + 14.0 * (math.log(bout.hits) + gumbel)
        return peak > self.strength_n()

    def frayed(self) -> float:
        """Share of the visible filaments gone (soft strings), or of the wrap (synthetic gut); 0 on a monofilament."""
        if self.mains.is_soft:
            return 1.0 - self.sound_share
        return 0.5 * (1.0 - self.wrap_share) if self.strings.mains_material == "synthetic_gut" else 0.0

    def pitch_hz(self, age_hours: float) -> float:
        """Pitch of the tapped bed: the ideal round membrane, f = 2.404826 / (2 pi R) sqrt(S / sigma).

        Over one spacing S is the tension of one string each way, sigma the mass of a main and of a cross.
        """
        radius_m = math.sqrt(self.strings.head_cm2 * 1e-4 / math.pi)
        density_kg_m3 = (self.mains.density_g_cm3 + self.crosses.density_g_cm3) * 1e3
        line_kg_m = density_kg_m3 * math.pi * (self.strings.mains_gauge_mm * 1e-3) ** 2 / 4.0
        return 2.404826 / (2.0 * math.pi * radius_m) * math.sqrt(self.tension_n(age_hours) / line_kg_m)
