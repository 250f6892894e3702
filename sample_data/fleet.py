"""The club's rackets through time: who holds which, what is in them, which are in the shop, which is picked up.

In: roster, workshop, a generator. Out: `Fleet`, whose state the season changes day by day, and every bed there ever was
(`beds`). Days are ordinals.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from sample_data.catalogue import LOAN_SETUP, METRES_A_JOB, STRINGS_BY_ID, Setup, mains_metres
from sample_data.roster import Player, Racket, Roster
from sample_data.string_bed import BedStrings, StringBed
from sample_data.workshop import Workshop


@dataclass
class BedLife:
    """One stringing from bench to shears. `cause` is the truth of its end, `cause_of_old` that of the bed before it."""

    restring_id: str
    racket_id: str
    player_id: str
    strung_on: int
    setup: Setup
    bed: StringBed
    cause_of_old: str
    old_ended_on: int | None
    old_where: str
    stringer: str
    minutes: int
    is_elsewhere: bool
    clock: str = ""
    hours: float = 0.0
    ended_on: int | None = None
    cause: str = "still_in"
    where: str = ""
    restrung_on: int | None = None

    def end(self, day: int, cause: str, where: str = "") -> None:
        self.ended_on, self.cause, self.where = day, cause, where

    def age_hours(self, day: int) -> float:
        """Hours since stringing, in the late afternoon of a day."""
        return max(1.0, 24.0 * (day - self.strung_on) + 6.0)


class Fleet:
    """Rackets, holders and beds as they stand; methods that ask, and methods that change one thing."""

    def __init__(self, roster: Roster, workshop: Workshop, first: int, rng: np.random.Generator):
        self.roster, self.workshop, self.first, self.rng = roster, workshop, first, rng
        self.beds: list[BedLife] = []
        self.current: dict[str, BedLife] = {}
        self.in_shop: set[str] = set()
        self.hand_overs: dict[tuple[str, int], str] = {}
        self.last_used: dict[str, int] = defaultdict(int)
        self.kept_by: dict[str, str] = {}
        self.holder: dict[str, str] = {}
        self.held: dict[str, list[Racket]] = defaultdict(list)
        for racket in roster.rackets.values():
            self.give(racket.racket_id, racket.owner)

    def give(self, racket_id: str, player_id: str, day: int | None = None) -> None:
        """Put a racket into a player's hands, or back into the club's (empty id)."""
        racket = self.roster.rackets[racket_id]
        if racket_id in self.holder:
            self.held[self.holder[racket_id]].remove(racket)
        self.holder[racket_id] = player_id
        self.held[player_id].append(racket)
        self.held[player_id].sort(key=lambda one: one.racket_id)
        if day is not None:
            self.hand_overs[racket_id, day] = player_id

    def is_strung(self, racket_id: str) -> bool:
        """Whether it has a bed in play and is not in the shop."""
        life = self.current.get(racket_id)
        return life is not None and life.ended_on is None and racket_id not in self.in_shop

    def is_playable(self, racket: Racket, day: int) -> bool:
        in_service = racket.in_service_on <= day and (racket.retired_on is None or day <= racket.retired_on)
        return in_service and self.is_strung(racket.racket_id)

    def playable(self, player_id: str, day: int) -> list[Racket]:
        return [racket for racket in self.held[player_id] if self.is_playable(racket, day)]

    def borrow(self, player_id: str, day: int) -> Racket | None:
        """A loan racket of the club's, if one is free."""
        for racket in self.playable("", day):
            if racket.role == "loan":
                self.give(racket.racket_id, player_id, day)
                return racket
        return None

    def choose(self, player: Player, is_match: bool, day: int) -> Racket | None:
        """What the player picks out of the bag: by habit a favourite, the next in turn, or the same until it goes."""
        rackets = self.playable(player.player_id, day)
        if len(rackets) < 2:
            return rackets[0] if rackets else self.borrow(player.player_id, day)
        best = [racket for racket in rackets if racket.role == "match"] or rackets
        rest = [racket for racket in rackets if racket.role != "match"]
        if not is_match and rest and self.rng.random() < player.spare_practice_share:
            return rest[int(self.rng.integers(len(rest)))]
        if is_match and self.rng.random() < 0.4:
            return min(best, key=lambda racket: self.current[racket.racket_id].hours)
        if player.style == "rotate":
            return min(best, key=lambda racket: (self.last_used[racket.racket_id], racket.racket_id))
        if player.style == "current":
            kept = [racket for racket in best if racket.racket_id == self.kept_by.get(player.player_id)]
            chosen = kept[0] if kept and self.rng.random() < 0.93 else best[int(self.rng.integers(len(best)))]
            self.kept_by[player.player_id] = chosen.racket_id
            return chosen
        weights = np.array([0.7 * 0.35**place for place in range(len(best))])
        return best[int(self.rng.choice(len(best), p=weights / weights.sum()))]

    def setup_for(self, racket: Racket, day: int) -> Setup:
        holder = self.holder[racket.racket_id] or racket.owner
        return LOAN_SETUP if racket.role == "loan" or not holder else self.roster.players[holder].setup(day)

    def string(
        self, racket: Racket, day: int, cause: str, stringer: str, minutes: int, is_elsewhere: bool = False
    ) -> BedLife:
        """Put a new bed in. The machine's pull, the string's flaws and how it will wear differ a little each time."""
        setup, old = self.setup_for(racket, day), self.current.get(racket.racket_id)
        mains, crosses = STRINGS_BY_ID[setup.mains_string_id], STRINGS_BY_ID[setup.crosses_string_id]
        strings = BedStrings(
            mains.material,
            crosses.material,
            mains.gauge_mm,
            mains.profile == "shaped",
            setup.mains_kg * float(np.exp(self.rng.normal(0, 0.015))),
            racket.frame.openness,
            racket.frame.head_cm2,
        )
        flaw, bite = np.exp(self.rng.normal(0, (0.05, 0.13)))
        if old is not None:
            old.restrung_on = day
        life = BedLife(
            restring_id=f"T{len(self.beds) + 1:05d}",
            racket_id=racket.racket_id,
            player_id=self.holder[racket.racket_id],
            strung_on=day,
            setup=setup,
            bed=StringBed(strings, float(flaw), float(bite)),
            cause_of_old=cause,
            old_ended_on=old.ended_on if old is not None and cause in ("breaks", "mishit") else None,
            old_where=old.where if old is not None else "",
            stringer=stringer,
            minutes=minutes,
            is_elsewhere=is_elsewhere,
        )
        self.beds.append(life)
        self.current[racket.racket_id] = life
        if not is_elsewhere and day >= self.first:
            mains_m = mains_metres(racket.frame)
            self.workshop.use(setup.mains_string_id, mains_m)
            self.workshop.use(setup.crosses_string_id, METRES_A_JOB - mains_m)
        return life

    def hand_in(self, racket_id: str, cause: str, day: int, due_on: int | None = None) -> None:
        """Put a racket on the bench; a bed that had not ended yet is taken out today for `cause`."""
        if racket_id in self.in_shop:
            return
        life, holder = self.current[racket_id], self.holder[racket_id]
        if life.ended_on is None:
            life.end(day, cause)
        is_urgent = bool(holder) and not self.playable(holder, day)
        self.in_shop.add(racket_id)
        self.workshop.hand_in(racket_id, day, life.cause, due_on if due_on is not None else day + 3, is_urgent)
