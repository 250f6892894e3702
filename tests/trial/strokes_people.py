"""Who plays in the club of strokes, and with what: strings, players, rackets and beds, and what is assumed of them.

No input; tables of assumptions and plain records out. Units: thousands of strokes, share of the pull, mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from tests.trial.csv_folder import Row

CROSSINGS = 6
# string: material, gauge mm, profile, strokes in thousands to half the section, pull held after a day, slip a thousand
SHELF: dict[str, tuple[str, float, str, float, float, float]] = {
    "SP1": ("polyester", 1.25, "round", 30.0, 0.88, 0.030),
    "SP2": ("polyester", 1.20, "shaped", 19.0, 0.86, 0.036),
    "SP3": ("polyester", 1.30, "round", 36.0, 0.89, 0.028),
    "SM1": ("multifilament", 1.30, "round", 9.5, 0.92, 0.012),
    "SN1": ("synthetic_gut", 1.30, "round", 12.0, 0.91, 0.014),
    "SG1": ("natural_gut", 1.30, "round", 9.0, 0.95, 0.008),
}
CHOICES = {
    "mixed": [("SP1", "SP1"), ("SP2", "SP2"), ("SP3", "SP3"), ("SM1", "SM1"), ("SN1", "SN1"), ("SP1", "SM1"),
              ("SG1", "SP1"), ("SM1", "SM1"), ("SP1", "SP1")],
    "soft": [("SM1", "SM1"), ("SN1", "SN1"), ("SG1", "SG1")],
    "polyester": [("SP1", "SP1"), ("SP2", "SP2"), ("SP3", "SP3")],
}  # fmt: skip
STROKES_AN_HOUR = {
    "singles": 300, "doubles": 170, "drills": 480, "rally": 420, "sparring": 360, "serve": 180, "ball_machine": 520,
}  # fmt: skip
SAW = {"flat": 0.6, "moderate": 1.0, "heavy": 1.75}
FORCE = {"beginner": 0.62, "club": 0.8, "regional": 1.0, "national": 1.16}
SESSIONS_A_WEEK = {"beginner": 2.2, "club": 3.2, "regional": 4.6, "national": 6.0}
SQUADS = (
    ("Comets", "national", 0.2),
    ("Meteors", "regional", 0.3),
    ("Moons", "club", 0.3),
    ("Sparks", "beginner", 0.2),
)
GIVEN = ["Aino", "Bela", "Cleo", "Drago", "Enna", "Fenn", "Gerda", "Hilke", "Ivo", "Jolan", "Kasimir", "Leda", "Milo"]
FAMILY = ["Aldersund", "Bergolt", "Cantorp", "Dornwick", "Ebbinge", "Fallgren", "Gansevo", "Holmqua", "Iversage"]


@dataclass
class Bed:
    """loss: share of the section gone at each crossing; slipped: share of the pull lost to strokes."""

    strung_on: date
    mains: str
    crosses: str
    loss: np.ndarray
    slipped: float = 0.0
    ended_on: date | None = None
    cause: str | None = None


@dataclass
class Racket:
    racket_id: str
    player: Player
    role: str
    bed: Bed
    in_service_on: date
    handed_in: Row | None = None
    on_van: bool = False


@dataclass
class Player:
    player_id: str
    name: str
    squad: int
    level: str
    spin: str
    saw: float
    force: float
    patience: float
    speaks: bool
    sessions: float
    strings: tuple[str, str]
    pull_kg: float
    memory: float
    pattern: np.ndarray
    before_events: bool
    ill_until: date | None = None
    from_on: date | None = None
    rackets: list[Racket] = field(default_factory=list)
