"""What the invented academy strings with and plays with: strings, frames, and what goes into a racket.

All makes are made up. Lengths m, diameters mm, areas cm2, tensions kg, money as decimal text.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class String:
    """One string the club stocks. A set is a reel of its own length."""

    string_id: str
    string_name: str
    material: str
    gauge_mm: float
    profile: str
    reel_m: float
    reel_price: str
    lead_days: int


STRINGS = (
    String("S01", "Ostrel Cord 125", "polyester", 1.25, "round", 200, "128.00", 7),
    String("S02", "Ostrel Cord 130", "polyester", 1.30, "round", 200, "128.00", 7),
    String("S03", "Ostrel Hex 120", "polyester", 1.20, "shaped", 200, "146.00", 10),
    String("S04", "Dravik Edge 125", "polyester", 1.25, "shaped", 200, "139.50", 7),
    String("S05", "Bramil Soft 130", "multifilament", 1.30, "round", 200, "212.00", 10),
    String("S06", "Bramil Soft 125", "multifilament", 1.25, "round", 200, "212.00", 10),
    String("S07", "Fennic Core 130", "synthetic_gut", 1.30, "round", 200, "74.00", 5),
    String("S08", "Lissom Gut 130", "natural_gut", 1.30, "round", 12, "34.90", 14),
    String("S09", "Dravik Light 118", "polyester", 1.18, "round", 100, "72.00", 7),
)


@dataclass(frozen=True)
class Frame:
    """A model of racket: head, pattern, and the tension window printed on it."""

    frame: str
    head_cm2: float
    mains: int
    crosses: int
    tension_min_kg: float
    tension_max_kg: float

    @property
    def openness(self) -> float:
        """Room between the strings against a 16 x 19 head of 630 cm2."""
        return (16 * 19 / (self.mains * self.crosses)) ** 0.7 * (self.head_cm2 / 630.0) ** 0.3


FRAMES = (
    Frame("Velmora 98", 632, 16, 19, 22, 27),
    Frame("Velmora 100", 645, 16, 19, 22, 27),
    Frame("Tarsin Control 97", 626, 18, 20, 21, 26),
    Frame("Tarsin Junior 100", 645, 16, 19, 18, 25),
    Frame("Quenby Open 100", 645, 16, 18, 20, 26),
)


@dataclass(frozen=True)
class Setup:
    """What goes into a racket: strings by id, tensions in kg."""

    mains_string_id: str
    crosses_string_id: str
    mains_kg: float
    crosses_kg: float


STRINGS_BY_ID = {string.string_id: string for string in STRINGS}
HARDLY_BREAKING = "S02"
LOAN_SETUP = Setup("S07", "S07", 22.0, 22.0)
METRES_A_JOB = 11.8


def mains_metres(frame: Frame) -> float:
    """Metres of the mains; the crosses take the rest of METRES_A_JOB."""
    return 6.2 if frame.mains <= 16 else 6.6
