"""Beds written by hand as the arrays the learning reads, so that a test can say exactly what was played and how it
ended.

In: Bed, one a stringing, with its play day by day. Out: History. Every hour is of the reference kind (weights 1),
so that abrasion and playability hours are what the bed says; `levels` (activity, spin, ...) only says what kind of
play it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.wear.fitting import REFERENCE_LEVELS
from pipeline.wear.history import CAUSES, SIGNS, History, Play
from pipeline.wear.reference import SESSION_WEIGHTS

FIRST_DAY = 20_000  # days since 1970-01-01


@dataclass(frozen=True)
class Bed:
    """days: day numbers of the steps after stringing; abrasion, playability: cumulative reference hours at the end
    of each. looks: step index -> grades by sign, a look on that day. strung: day number of the stringing. racket:
    the player's one racket unless named."""

    player: str = "P1"
    cause: str = "none"
    days: Sequence[int] = (10,)
    abrasion: Sequence[float] = (1.0,)
    playability: Sequence[float] | None = None
    strung: int = 0
    looks: Mapping[int, Mapping[str, int]] = field(default_factory=dict)
    mains: str = "polyester"
    crosses: str = "polyester"
    gauge_mm: float = 1.25
    profile: str = "round"
    is_string_known: bool = True
    teaches_abrasion: bool = True
    squad: str = "U16"
    levels: Mapping[str, str] = field(default_factory=dict)
    racket: str = ""


def history(beds: Sequence[Bed], as_of: int = 400) -> History:
    """The beds as one club's history; as_of in the same day numbers as the beds."""
    count = np.array([len(b.days) for b in beds])
    last = np.cumsum(count) - 1
    first = last - count + 1
    bed = np.repeat(np.arange(len(beds)), count)
    day = np.concatenate([np.asarray(b.days) for b in beds])
    strung = np.repeat([b.strung for b in beds], count)
    abrasion = np.concatenate([np.asarray(b.abrasion, dtype=float) for b in beds])
    playability = np.concatenate(
        [np.asarray(b.abrasion if b.playability is None else b.playability, dtype=float) for b in beds]
    )
    grades = np.full((len(bed), len(SIGNS)), -1, dtype=np.int64)
    looked = np.full(len(bed), -1, dtype=np.int64)
    for i, b in enumerate(beds):
        seen = dict.fromkeys(SIGNS, -1)
        for step in range(count[i]):
            row = first[i] + step
            earlier = [j for j in b.looks if j < step]
            for j in sorted(earlier):
                seen |= b.looks[j]
                looked[row] = first[i] + j
            grades[row] = [seen[s] for s in SIGNS]
    frame = pd.DataFrame(
        {
            "bed_id": [f"B{i}" for i in range(len(beds))],
            "racket_id": [b.racket or f"of {b.player}" for b in beds],
            "player_id": [b.player for b in beds],
            "squad": [b.squad for b in beds],
            "cause": [b.cause for b in beds],
            "mains_material": [b.mains for b in beds],
            "crosses_material": [b.crosses for b in beds],
            "family": [f"{b.mains}/{b.crosses}" for b in beds],
            "mains_gauge_mm": [b.gauge_mm for b in beds],
            "mains_profile": [b.profile for b in beds],
            "density_per_cm2": [16 * 19 / 632.0 for _ in beds],
            "is_string_known": [b.is_string_known for b in beds],
            "teaches_abrasion": [b.teaches_abrasion and b.is_string_known for b in beds],
        }
    )
    player, players = pd.factorize(frame["player_id"])
    squad, squads = pd.factorize(frame["squad"])
    family, families = pd.factorize(frame["family"])
    added = np.diff(abrasion, prepend=0.0)
    added[first] = abrasion[first]
    levels = {
        f: np.repeat(np.array([b.levels.get(f, REFERENCE_LEVELS[f][0]) for b in beds], dtype=object), count)
        for f in SESSION_WEIGHTS
    }
    return History(
        beds=frame,
        first=first,
        last=last,
        bed=bed,
        day=FIRST_DAY + day,
        age_hours=(day - strung) * 24.0 + 12.0,
        hours=abrasion.copy(),
        abrasion=abrasion,
        playability=playability,
        share_variance=np.zeros(len(bed)),
        grades=grades,
        looked=looked,
        player=player,
        racket=pd.factorize(frame["racket_id"])[0],
        squad=squad,
        family=family,
        cause=np.array([CAUSES.index(b.cause) for b in beds]),
        players=tuple(players),
        squads=tuple(squads),
        families=tuple(families),
        as_of_day=FIRST_DAY + as_of,
        play=Play(np.arange(len(bed)), added, levels),
    )
