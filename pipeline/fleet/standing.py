"""The rackets as they stand at the origin, and what an hour of the coming play costs them: what simulations begin with.

In: History and Learned, rows of rackets that have a bed, ComingPlay. Out: Standing, WeekOfPlay. Units: reference hours
for lives, hours on the clock for play.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.outlook import looks_now
from pipeline.fleet.play import ComingPlay, weekly_play
from pipeline.wear.history import History, bed_rows, codes_of
from pipeline.wear.learning import LIMITS, Learned

SMALL = 1e-9


@dataclass(frozen=True)
class Standing:
    """The rackets with a bed at the origin, (n,) arrays; what a bed has used is 0 where it is not in play.

    index: into History's beds. player, squad: codes into its names. used_play: life towards dead that play has used.
    rest: that of a decade of hours at rest. x_now: limit -> life used. u_now: limit -> expected hazard so far.
    look_now: limit -> inspection multiplier. life: limit -> reference hours. unit: limit -> mean hazard of a reference
    bed.
    """

    index: np.ndarray
    player: np.ndarray
    squad: np.ndarray
    share: np.ndarray
    in_play: np.ndarray
    age_hours: np.ndarray
    used_play: np.ndarray
    rest: np.ndarray
    x_now: dict[str, np.ndarray]
    u_now: dict[str, np.ndarray]
    look_now: dict[str, np.ndarray]
    life: dict[str, np.ndarray]
    unit: dict[str, np.ndarray]


def standing(h: History, learned: Learned, beds: pd.DataFrame) -> Standing:
    """beds: rows of the rackets that have a bed: bed_id, player_id, squad, share, status, and the last look at it."""
    index = bed_rows(h, beds["bed_id"])
    last, family = h.last[index], np.maximum(h.family[index], 0)
    player, squad = (codes_of(beds[of], known) for of, known in (("player_id", h.players), ("squad", h.squads)))
    in_play = (beds["status"] == "in_play").to_numpy()
    looks, lives = looks_now(h, learned, beds), learned.exposure.lives
    life = {"breaks": lives.break_hours[index], "goes_dead": lives.dead_hours[index]}
    rest = learned.shapes.rest_scale * lives.rest[index]
    age_hours = np.where(in_play, h.age_hours[last], 0.0)
    used_play = np.where(in_play, h.playability[last], 0.0) / life["goes_dead"]
    x_breaks = np.where(in_play, h.abrasion[last], 0.0) / life["breaks"]
    return Standing(
        index,
        player,
        squad,
        beds["share"].to_numpy(dtype=float),
        in_play,
        age_hours,
        used_play,
        rest,
        x_now={"breaks": x_breaks, "goes_dead": used_play + rest * np.log10(1.0 + age_hours)},
        u_now={k: np.where(in_play, learned.expected[k][last], 0.0) for k in LIMITS},
        # an inspection's word fades with play: half of its log is a fair mean over what is left
        look_now={k: np.where(in_play, np.exp(0.5 * looks[k]), 1.0) for k in LIMITS},
        life=life,
        unit={
            k: (learned.a[k] / learned.b[k])[player] * learned.family[k][family] * learned.racket[index] for k in LIMITS
        },
    )


@dataclass(frozen=True)
class WeekOfPlay:
    """hours: (n_players + 1, weeks) expected on the clock. per_hour: limit -> (n_players + 1,) what an hour on the
    clock costs a bed, in reference hours: the player's own, the same in every week."""

    hours: np.ndarray
    per_hour: dict[str, np.ndarray]


def week_of_play(play: ComingPlay, players: tuple[str, ...], n_weeks: int) -> WeekOfPlay:
    """The coming weeks of every player, and of nobody in the last row."""
    base = weekly_play(play, players, n_weeks)
    total = np.maximum(base["hours"].sum(axis=1), SMALL)
    return WeekOfPlay(
        base["hours"],
        {
            "breaks": np.maximum(base["abrasion"].sum(axis=1) / total, SMALL),
            "goes_dead": base["playability"].sum(axis=1) / total,
        },
    )
