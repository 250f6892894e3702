"""How a string bed of the compartment club wears: hours and days in, steps between discrete states out.

A bed is in one state of a ladder that ends in a break and in one state of a ladder towards slackness. It climbs the
first by a Poisson count whose intensity is per hour of play, the second per hour of play and per day of rest; both
intensities belong to the material, the player and the season (damp swells gut and nylon, heat slackens polyester).
No bed has a capacity of its own: the scatter of lives is that of the steps. All values are assumptions.

Units: hours of play, days; intensity 1 = a regional player with moderate topspin, drills on a hard court.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np


@dataclass(frozen=True)
class Ladder:
    """A string: rungs to the break and the hours they last in all; slackness steps an hour and a day; damp and heat."""

    name: str
    material: str
    gauge_mm: float
    profile: str
    reel_m: float
    reel_price: float
    rungs: int
    hours_to_break: float
    slack_an_hour: float
    slack_a_day: float
    damp: float = 0.0
    heat: float = 0.0


SHELF = {
    "CP1": Ladder("Graphit 128", "polyester", 1.28, "round", 200, 120, 7, 46, 0.34, 0.07, heat=0.2),
    "CP2": Ladder("Graphit 118", "polyester", 1.18, "round", 200, 125, 6, 33, 0.37, 0.08, heat=0.2),
    "CP3": Ladder("Kant 125", "polyester", 1.25, "shaped", 100, 75, 5, 28, 0.38, 0.08, heat=0.2),
    "CM1": Ladder("Flor 132", "multifilament", 1.32, "round", 200, 170, 4, 18, 0.13, 0.04, damp=0.2),
    "CM2": Ladder("Flor 124", "multifilament", 1.24, "round", 12, 15, 4, 13.5, 0.14, 0.04, damp=0.2),
    "CN1": Ladder("Kern 135", "synthetic_gut", 1.35, "round", 200, 70, 4, 23, 0.16, 0.05, damp=0.1),
    "CG1": Ladder("Darm 130", "natural_gut", 1.30, "round", 12, 42, 5, 20, 0.08, 0.02, damp=0.5),
    "CA1": Ladder("Faden 120", "aramid", 1.20, "round", 200, 210, 7, 60, 0.20, 0.05),
}
BREAK_WORK = {
    "singles": 1.25,
    "doubles": 0.7,
    "drills": 1.0,
    "rally": 0.85,
    "sparring": 1.15,
    "serve": 0.8,
    "ball_machine": 0.75,
}
SLACK_WORK = {
    "singles": 1.0,
    "doubles": 0.6,
    "drills": 1.0,
    "rally": 0.9,
    "sparring": 1.0,
    "serve": 0.9,
    "ball_machine": 0.8,
}
EFFORT = {"light": 0.75, "normal": 1.0, "hard": 1.25}
GRIT = {"hard": 1.0, "clay": 1.3, "grass": 0.85, "carpet": 0.95}
MOST_SLACK = 12


@dataclass
class LadderBed:
    """One stringing: the rung it stands on, how slack it is, and how it ended if it has."""

    strung_on: date
    mains: str
    crosses: str
    rung: int = 0
    slack: int = 0
    ended_on: date | None = None
    true_cause: str | None = None

    @property
    def is_over(self) -> bool:
        return self.true_cause is not None

    @property
    def worn_share(self) -> float:
        return self.rung / SHELF[self.mains].rungs

    def end(self, day: date, true_cause: str) -> None:
        self.ended_on, self.true_cause = day, true_cause

    def rest_a_day(self, rng: np.random.Generator, day: date) -> None:
        """Slackness gained at rest: ever less, the slacker it is."""
        string = SHELF[self.mains]
        if self.slack < MOST_SLACK:
            self.slack += int(
                rng.random() < string.slack_a_day * (1 + string.heat * warmth(day)) * 3.0 / (1 + self.slack) ** 1.3
            )

    def play(
        self, rng: np.random.Generator, hours: float, break_work: float, slack_work: float, day: date
    ) -> float | None:
        """Climb both ladders for a session of `hours`; gives the hours after which it broke, None if it holds."""
        string, other = SHELF[self.mains], SHELF[self.crosses]
        pace = string.rungs / string.hours_to_break * break_work * (1 - string.damp * warmth(day))
        if other.material == "polyester" and string.material != "polyester":
            pace *= 1.35
        waited = 0.0
        while self.rung < string.rungs and waited < hours:
            waited += rng.exponential(1.0 / pace)
            self.rung += int(waited < hours)
        slack_pace = (
            (0.7 * string.slack_an_hour + 0.3 * other.slack_an_hour) * slack_work * (1 + string.heat * warmth(day))
        )
        self.slack = min(MOST_SLACK, self.slack + int(rng.poisson(slack_pace * min(hours, waited))))
        return waited if self.rung >= string.rungs else None


def warmth(day: date) -> float:
    """-1 in the depth of winter (damp, cold) to +1 in high summer."""
    return math.cos(2 * math.pi * (day.timetuple().tm_yday - 200) / 365.25)
