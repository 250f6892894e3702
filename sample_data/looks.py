"""A coach looks at string beds and grades what there is to see, with a bias by squad and noise.

In: the fleet, the roster, a generator. Out: `Look` rows. Grades 0 none to 3 severe; pitch Hz; days ordinals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.fleet import BedLife, Fleet
from sample_data.roster import SQUADS, Player

USUAL_DAYS_BETWEEN = 24
SHARE_LOOKED_AT = 0.6
HARD_BLOW = 1.2


@dataclass(frozen=True)
class Look:
    """One inspection as graded."""

    day: int
    racket_id: str
    fraying: int
    notching: int
    misalignment: int
    lost_feel: int
    pitch_hz: float | None
    is_broken: bool
    frame: str
    clock: str = ""


class Coach:
    """Decides which racket is due for a look, grades it, and says whether the bed should come out."""

    def __init__(self, fleet: Fleet, first: int, every_days: int | None, rng: np.random.Generator):
        self.fleet, self.rng = fleet, rng
        self.every_days = every_days or USUAL_DAYS_BETWEEN
        self.bias = {squad: float(rng.normal(0, 0.35)) for squad in SQUADS}
        self.is_pitch_taken = {player_id: bool(rng.random() < 0.3) for player_id in fleet.roster.players}
        self.due: dict[str, int] = {}
        self.looks: list[Look] = []
        for racket in fleet.roster.rackets.values():
            if racket.role == "match" and (every_days is not None or rng.random() < SHARE_LOOKED_AT):
                start = max(first, racket.in_service_on)
                self.due[racket.racket_id] = start + int(rng.integers(3, self.every_days + 3))

    def grade(self, amount: float, bias: float, noise: float = 0.45) -> int:
        """0 to 3 for an amount of 0 to 1, as this coach sees it."""
        return int(min(3, max(0, round(3.0 * amount + bias + self.rng.normal(0, noise)))))

    def round(self, day: int) -> list[str]:
        """Look at what is due; the rackets whose beds should come out."""
        out = []
        for racket_id, due in self.due.items():
            if day < due or racket_id in self.fleet.in_shop or not self.fleet.holder[racket_id]:
                continue
            racket, player = (
                self.fleet.roster.rackets[racket_id],
                self.fleet.roster.players[self.fleet.holder[racket_id]],
            )
            if (racket.retired_on is not None and day > racket.retired_on) or not player.is_here(day):
                continue
            self.due[racket_id] = day + max(2, int(self.every_days * self.rng.uniform(0.75, 1.25)))
            life = self.fleet.current.get(racket_id)
            if life is None or life.strung_on == day:
                continue
            if life.ended_on is None or life.cause in ("breaks", "mishit"):
                look = self.look(life, player, day)
                self.looks.append(look)
                if self.is_for_the_bench(look):
                    out.append(racket_id)
        return out

    def look(self, life: BedLife, player: Player, day: int) -> Look:
        rng, stage, age, bed = self.rng, player.stage(day), life.age_hours(day), life.bed
        bias, is_broken = self.bias[stage.squad], life.ended_on is not None
        used = 1.0 if is_broken and life.cause == "breaks" else min(1.1, bed.break_used(stage.power * HARD_BLOW, age))
        feel = bed.deadness(age) / player.threshold - 0.15
        if not player.is_complaining:
            lost_feel = self.grade(0.2, bias) if rng.random() < 0.3 else 0
        else:
            lost_feel = self.grade(feel, bias, 0.6)
        is_pitched = self.is_pitch_taken[player.player_id] and not is_broken
        return Look(
            day=day,
            racket_id=life.racket_id,
            fraying=self.grade(min(1.1, 1.6 * bed.frayed()), bias) if bed.frayed() > 0 else 0,
            notching=self.grade(used, bias),
            misalignment=self.grade(bed.stiffness_lost(age) / 0.28, bias),
            lost_feel=lost_feel,
            pitch_hz=round(bed.pitch_hz(age) * float(np.exp(rng.normal(0, 0.008)))) if is_pitched else None,
            is_broken=is_broken,
            frame="watch" if rng.random() < 0.02 else "ok",
        )

    def tap(self, life: BedLife, day: int, clock: str) -> bool:
        """Note the pitch of a bed just strung, for the players whose beds are followed by ear."""
        racket = self.fleet.roster.rackets[life.racket_id]
        is_followed = self.is_pitch_taken.get(life.player_id, False) and racket.role == "match"
        if not is_followed or life.racket_id not in self.due or self.rng.random() > 0.6:
            return False
        pitch = round(life.bed.pitch_hz(0.5) * float(np.exp(self.rng.normal(0, 0.008))))
        self.looks.append(Look(day, life.racket_id, 0, 0, 0, 0, pitch, False, "ok", clock))
        return True

    def is_for_the_bench(self, look: Look) -> bool:
        if look.is_broken:
            return False
        is_severe = max(look.notching, look.fraying) >= 3 and self.rng.random() < 0.55
        return bool(is_severe or (look.lost_feel == 3 and self.rng.random() < 0.3))
