"""The people of the fatigue club, their rackets and their year: settings in, the records that the days work on out.

Stress 1 = a regional player with moderate topspin; tolerance = the change of stiffness at which one gives a bed up.
Values are assumptions; names are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from tests.trial.fatigue_bed import FatigueBed

LEVELS = ("national", "regional", "club", "beginner")
LEVEL_STRESS = {"beginner": 0.76, "club": 0.9, "regional": 1.0, "national": 1.1}
SPIN_STRESS = {"flat": 0.88, "moderate": 1.0, "heavy": 1.15}
TOLERANCE = {"beginner": 0.42, "club": 0.36, "regional": 0.31, "national": 0.27}
STOCKED: dict[str, dict[str, int]] = {
    "mixed": {
        "F-POLY-125": 4,
        "F-POLY-120": 2,
        "F-SHAPE-123": 2,
        "F-MULTI-130": 3,
        "F-MULTI-125": 2,
        "F-NYLON-130": 2,
        "F-GUT-130": 1,
    },
    "soft": {"F-MULTI-130": 5, "F-MULTI-125": 3, "F-NYLON-130": 4, "F-GUT-130": 1},
    "polyester": {"F-POLY-125": 5, "F-POLY-120": 3, "F-SHAPE-123": 3},
}
FRAMES = [
    ("Frame A", 613, 16, 19, 1.0),
    ("Frame B", 632, 16, 19, 0.97),
    ("Frame C", 645, 16, 18, 0.93),
    ("Frame D", 625, 18, 20, 1.12),
]
FIRST = [
    "Ada", "Bo", "Cleo", "Dov", "Enzo", "Fay", "Gus", "Hana", "Ivo", "Juno", "Kai", "Lia", "Mio", "Nell", "Oto",
    "Pia", "Quin", "Rhea", "Sol", "Tove", "Uma", "Veit", "Wren", "Yara",
]  # fmt: skip
LAST = [
    "Aldern", "Birkholt", "Corvane", "Dunmere", "Elsgrad", "Farrow", "Glenvik", "Hollin", "Istrane", "Jorvel",
    "Kestrup", "Lomond",
]  # fmt: skip


@dataclass(frozen=True)
class FatigueNature:
    """What kind of club it is; every value may be given to make_club by name."""

    strings: str = "mixed"  # mixed, soft, polyester
    surface: str = "hard"
    share_reporters: float = 0.7
    share_scheduled_squads: float = 0.25  # squads that restring match rackets before an event
    scheduled_after_days: int = 18
    yearly_power_gain: float = 0.06
    power: float = 1.0
    power_sd: float = 0.13
    capacity_sd: float = 0.32
    mishits_per_hit: float = 6e-6
    turnover: float = 0.15
    load: float = 1.0
    share_retired: float = 0.04
    share_string_changes: float = 0.15
    share_lent_on: float = 0.04
    share_moved_up: float = 0.08
    share_taken_out: float = 0.35  # of beds seen with a grade of 3 at an inspection
    share_wrong_grades: float = 0.0  # of looks whose grades are written at random


@dataclass
class Player:
    player_id: str
    name: str
    squad: str
    level: str
    spin: str
    stress: float
    tolerance: float
    is_reporter: bool
    joined_on: date
    left_on: date | None
    mains: str
    crosses: str
    tension_kg: float
    extra_sessions_week: float
    used_to: float = 0.97


@dataclass
class Racket:
    racket_id: str
    holder: Player | None
    role: str
    frame: int
    liking: float
    in_service_on: date
    bed: FatigueBed
    retired_on: date | None = None
    job: dict[str, Any] | None = None

    def is_ready(self, day: date) -> bool:
        return (
            self.job is None
            and not self.bed.is_over
            and self.in_service_on <= day
            and not (self.retired_on and self.retired_on <= day)
        )


@dataclass
class Squad:
    name: str
    level: int
    weekdays: list[int]
    minutes: int
    is_scheduled: bool
    events: dict[date, str] = field(default_factory=dict)


def season(day: date) -> float:
    """Share of the usual play on a day: terms, short holidays, a summer at half strength, two closures (0)."""
    at = (day.month, day.day)
    if at >= (12, 21) or at <= (1, 3) or (8, 1) <= at <= (8, 12):
        return 0.0
    if (4, 1) <= at <= (4, 14) or (10, 20) <= at <= (10, 28):
        return 0.45
    if (7, 6) <= at <= (8, 31):
        return 0.6
    return 1.1 if (5, 1) <= at <= (7, 5) else 1.0
