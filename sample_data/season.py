"""The club's life, day by day: play, breaks, complaints, looks, hand-ins, restrings.

In: roster, timetable, workshop, the club's nature, a generator. Out: `Season`: every bed with how it really ended,
every bout of play, every look, every hand-over, and the state of all beds at each week's end. Days are ordinals.

A day runs: rackets handed in this morning, the bench, play, rackets handed in this evening (some strung then), looks.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from sample_data.events import is_for
from sample_data.fleet import BedLife, Fleet
from sample_data.looks import HARD_BLOW, Coach, Look
from sample_data.roster import Nature, Player, Racket, Roster
from sample_data.sessions import Plan, Session, Timetable
from sample_data.string_bed import Bout
from sample_data.workshop import Workshop

HITS_HOUR = {
    "singles": 260,
    "doubles": 150,
    "drills": 380,
    "rally": 480,
    "sparring": 330,
    "serve": 200,
    "ball_machine": 420,
}
POWER_OF = {
    "singles": 1.30,
    "doubles": 1.22,
    "drills": 0.97,
    "rally": 0.82,
    "sparring": 1.07,
    "serve": 1.25,
    "ball_machine": 0.75,
}
BRUSH_OF = {"serve": 0.6, "ball_machine": 0.95}
RATE_AND_POWER_OF_INTENSITY = {"light": (0.85, 0.88), "normal": (1.0, 1.0), "hard": (1.12, 1.12)}
GRIT = {"clay": 0.25, "hard": 0.0, "carpet": 0.04, "grass": 0.0, "sand": 0.35}
STEP_MINUTES = 20.0
COMPLAINT_NOISE = 0.02
CHANCE_FRAME_FAULT_A_DAY = 1 / 16000
CHANCE_BROKE_ON_MACHINE = 0.003
CHANCE_STRUNG_ELSEWHERE = 0.25
MORNINGS_UNTIL_BROKEN_COMES_IN = (0.50, 0.30, 0.15, 0.05)
MORNINGS_UNTIL_DEAD_COMES_IN = (0.45, 0.35, 0.15, 0.05)


@dataclass
class Play:
    """One racket's part of one session."""

    session: Session
    racket_id: str
    minutes: float
    hits: int


@dataclass(frozen=True)
class BedState:
    """The truth about one bed at a week's end. `feel_used` None: this player never complains."""

    day: int
    racket_id: str
    player_id: str
    strung_on: int
    hours: float
    hits: int
    notch_mm: float
    section_left: float
    stiffness_lost: float
    friction_gained: float
    break_used: float
    feel_used: float | None


@dataclass
class Season:
    """What really happened."""

    beds: list[BedLife]
    plays: list[Play]
    looks: list[Look]
    hand_overs: dict[tuple[str, int], str]
    states: list[BedState]
    missed: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))


class ClubYear:
    """Runs the days; each method is one part of a day."""

    def __init__(
        self,
        roster: Roster,
        timetable: Timetable,
        workshop: Workshop,
        nature: Nature,
        first: int,
        rng: np.random.Generator,
        inspect_every: int | None,
    ):
        self.roster, self.timetable, self.workshop = roster, timetable, workshop
        self.nature, self.first, self.rng = nature, first, rng
        self.fleet = Fleet(roster, workshop, first, rng)
        self.coach = Coach(self.fleet, first, inspect_every, rng)
        self.season = Season(self.fleet.beds, [], self.coach.looks, self.fleet.hand_overs, [])
        self.coming_in: dict[int, list[tuple[str, str]]] = defaultdict(list)
        self.change_due: set[str] = set()
        self.plans: dict[int, list[Plan]] = defaultdict(list)
        for plan in timetable.plans:
            if plan.fresh_rackets:
                self.plans[plan.day].append(plan)

    def run(self, last: int) -> Season:
        self.start()
        names = self.workshop.names_by_day()
        for day in range(self.first, last + 1):
            self.workshop.open_day(day, names)
            self.morning(day)
            self.bench(day)
            for session in self.timetable.sessions.get(day, []):
                self.play(session)
            self.evening(day)
            self.workshop.close_day(day)
            if date.fromordinal(day).weekday() == 6:
                self.write_state(day)
        return self.season

    def start(self) -> None:
        """Beds the log begins with: most strung for the new season, some older, with play nobody logged."""
        for racket in self.roster.rackets.values():
            if racket.is_unstrung or racket.in_service_on > self.first:
                continue
            is_old = racket.role != "match" or self.rng.random() < self.nature.share_old_beds
            ago = int(self.rng.integers(4, 22)) if is_old else int(self.rng.integers(1, 4))
            strung_on = max(self.first - ago, racket.in_service_on)
            life = self.fleet.string(
                racket, strung_on, "first", "Ordal", self.workshop.minutes_for(racket.frame, False)
            )
            if is_old and racket.role == "match" and self.nature.share_old_beds > 0:
                player = self.roster.players[racket.owner]
                stage = player.stage(self.first)
                weeks = (self.first - strung_on) / 7
                life.hours = 0.6 * player.hours_week * weeks / len(player.rackets)
                life.bed.play(Bout(int(life.hours * 300), stage.power, stage.brush, 0.1), 168.0 * weeks, self.rng)

    def morning(self, day: int) -> None:
        for racket_id, cause in self.coming_in.pop(day, []):
            self.fleet.hand_in(racket_id, cause, day)
        for racket in self.roster.rackets.values():
            is_new = racket.in_service_on == day and not racket.is_unstrung
            if is_new and racket.racket_id not in self.fleet.current:
                self.fleet.string(racket, day, "first", "Ordal", self.workshop.minutes_for(racket.frame, False))
            if racket.role == "loan" and self.fleet.holder[racket.racket_id] and self.rng.random() < 0.8:
                own = [r for r in self.fleet.playable(self.fleet.holder[racket.racket_id], day) if r.role != "loan"]
                if own:
                    self.fleet.give(racket.racket_id, "", day)
        for racket_id, on, player_id in self.roster.hand_overs:
            if on == day:
                self.fleet.give(racket_id, player_id, day)
        for player in self.roster.players.values():
            if player.is_here(day):
                self.planned_hand_ins(player, day)
        for ahead in (2, 3, 4):
            for plan in self.plans.get(day + ahead, []):
                self.freshen(plan, day)

    def planned_hand_ins(self, player: Player, day: int) -> None:
        """Restrings nobody's strings asked for: by the weeks, for another string, for a cracked frame."""
        if any(since == day for since, _ in player.setups[1:]):
            self.change_due.update(
                racket.racket_id for racket in self.fleet.held[player.player_id] if racket.role == "match"
            )
        is_monday = date.fromordinal(day).weekday() == 0
        for racket in [one for one in self.fleet.playable(player.player_id, day) if one.role != "loan"]:
            racket_id = racket.racket_id
            life = self.fleet.current[racket_id]
            if racket_id in self.change_due and life.setup == self.fleet.setup_for(racket, day):
                self.change_due.discard(racket_id)
            if racket_id in self.change_due and self.rng.random() < 0.3:
                self.fleet.hand_in(racket_id, "string_change", day)
            elif self.rng.random() < CHANCE_FRAME_FAULT_A_DAY:
                self.fleet.hand_in(racket_id, "frame_fault", day)
            elif is_monday and self.is_scheduled(player, life, day):
                self.fleet.hand_in(racket_id, "scheduled", day)

    def is_scheduled(self, player: Player, life: BedLife, day: int) -> bool:
        if player.is_scheduled_by_wear:
            age = life.age_hours(day)
            worn = life.bed.break_used(player.stage(day).power * HARD_BLOW, age)
            seen = max(worn, life.bed.deadness(age) / player.threshold) + self.rng.normal(0, 0.10)
            return bool(seen > 0.85)
        if player.schedule_weeks is None or life.hours <= 2 or day - life.strung_on < 7 * player.schedule_weeks:
            return False
        return bool(self.rng.random() < 0.8)

    def freshen(self, plan: Plan, day: int) -> None:
        """Some players hand in their most played match rackets a few days before an event."""
        for player in self.roster.players.values():
            if not player.is_fresh_before_events or not player.is_here(day) or not is_for(plan, player):
                continue
            rackets = [r.racket_id for r in self.fleet.playable(player.player_id, day) if r.role == "match"]
            worn = sorted(rackets, key=lambda racket_id: -self.fleet.current[racket_id].hours)
            for racket_id in worn[: plan.fresh_rackets or 0]:
                if self.fleet.current[racket_id].hours > 6.0 and self.rng.random() < 0.25:
                    self.fleet.hand_in(racket_id, "scheduled", day, due_on=plan.day - 1)

    def bench(self, day: int, only: set[str] | None = None) -> None:
        """String what there is time for. `only`: of this evening's arrivals."""
        minutes_of = {}
        for job in self.workshop.queue:
            racket = self.roster.rackets[job.racket_id]
            setup = self.fleet.setup_for(racket, day)
            is_hybrid = setup.mains_string_id != setup.crosses_string_id
            minutes_of[job.racket_id] = self.workshop.minutes_for(racket.frame, is_hybrid)
        while (found := self.workshop.next_job(minutes_of, only)) is not None:
            job, stringer = found
            racket, minutes = self.roster.rackets[job.racket_id], minutes_of[job.racket_id]
            life = self.fleet.string(racket, day, job.cause, stringer, minutes)
            if only is not None:
                life.clock = f"20:{10 + 5 * int(self.rng.integers(8))}"
                self.coach.tap(life, day, "21:20")
            elif self.rng.random() < CHANCE_BROKE_ON_MACHINE:
                life.end(day, "broke_on_machine")
                life.clock = "08:05"
                life = self.fleet.string(racket, day, "broke_on_machine", stringer, minutes)
                life.clock = "08:50"
            elif self.coach.tap(life, day, "08:45"):
                life.clock = "08:15"
            job.stringer, job.strung_on, job.restring_id = stringer, day, life.restring_id
            job.handed_back_on = day + int(self.rng.random() < 0.4)
            self.fleet.in_shop.discard(job.racket_id)

    def play(self, session: Session) -> None:
        """One player's session, in steps: choose a racket, hit, and choose again when a string breaks."""
        day, rng, player = session.day, self.rng, self.roster.players[session.player_id]
        stage = player.stage(day)
        rate, strength = RATE_AND_POWER_OF_INTENSITY[session.intensity]
        of_the_day = np.exp(rng.normal(0, (0.06, 0.10, 0.30, 0.12)))
        power = stage.power * POWER_OF[session.activity] * strength * float(of_the_day[0])
        brush = stage.brush * BRUSH_OF.get(session.activity, 1.0) * float(of_the_day[1])
        grit = GRIT[session.surface] * float(of_the_day[2])
        hits_minute = HITS_HOUR[session.activity] * rate * player.tempo * float(of_the_day[3]) / 60
        racket, left = self.fleet.choose(player, session.is_match, day), session.minutes
        used: dict[str, Play] = {}
        if racket is None and session.group:
            self.season.missed[session.group].add(player.player_id)
        while left > 0.5 and racket is not None:
            life = self.fleet.current[racket.racket_id]
            step = min(STEP_MINUTES, left)
            hits = int(rng.poisson(step * hits_minute))
            is_broken = life.bed.play(Bout(hits, power, brush, grit), life.age_hours(day), rng)
            is_mishit = rng.random() < -math.expm1(-hits * player.mishits_per_hit)
            life.hours += step / 60
            left -= step
            part = used.setdefault(racket.racket_id, Play(session, racket.racket_id, 0.0, 0))
            part.minutes += step
            part.hits += hits
            if is_broken or is_mishit:
                where = "centre" if is_broken else str(rng.choice(("edge", "grommet")))
                life.end(day, "breaks" if is_broken else "mishit", where)
                self.after_break(racket, session, day)
                racket = self.fleet.choose(player, session.is_match, day)
            elif session.is_match and rng.random() < 0.03:
                racket = self.fleet.choose(player, session.is_match, day)
        for racket_id, part in used.items():
            self.season.plays.append(part)
            self.fleet.last_used[racket_id] = day
            self.complain(player, racket_id, day)

    def after_break(self, racket: Racket, session: Session, day: int) -> None:
        """At a tournament somebody else may string it at once; else it comes in this evening or some mornings later."""
        if session.event.endswith("Open") and self.rng.random() < CHANCE_STRUNG_ELSEWHERE:
            self.fleet.string(racket, day, self.fleet.current[racket.racket_id].cause, "", 0, is_elsewhere=True)
        else:
            self.come_in(racket.racket_id, day, MORNINGS_UNTIL_BROKEN_COMES_IN)

    def come_in(self, racket_id: str, day: int, chances: tuple[float, ...]) -> None:
        self.coming_in[day + int(self.rng.choice(len(chances), p=chances))].append((racket_id, ""))

    def complain(self, player: Player, racket_id: str, day: int) -> None:
        """A player who does complain does so once the bed feels deader than they stand."""
        life = self.fleet.current[racket_id]
        if not player.is_complaining or life.ended_on is not None or self.roster.rackets[racket_id].role == "loan":
            return
        felt = life.bed.deadness(life.age_hours(day)) + float(self.rng.normal(0, COMPLAINT_NOISE))
        if felt > player.threshold:
            life.end(day, "lost_feel")
            self.come_in(racket_id, day, MORNINGS_UNTIL_DEAD_COMES_IN)

    def evening(self, day: int) -> None:
        before = {job.job_id for job in self.workshop.queue}
        for racket_id, cause in self.coming_in.pop(day, []):
            self.fleet.hand_in(racket_id, cause, day)
        new = sorted({job.job_id for job in self.workshop.queue} - before)
        self.bench(day, {job_id for job_id in new if self.rng.random() < 0.35})
        if day not in self.timetable.closed:
            for racket_id in self.coach.round(day):
                self.fleet.current[racket_id].end(day, "inspection")
                self.coming_in[day + 1].append((racket_id, "inspection"))
        for racket in self.roster.rackets.values():
            if racket.retired_on == day:
                self.retire(racket, day)

    def retire(self, racket: Racket, day: int) -> None:
        """Take a racket out of the fleet, once it is back from the shop."""
        life = self.fleet.current.get(racket.racket_id)
        if life is not None and not self.fleet.is_strung(racket.racket_id):
            racket.retired_on = day + 1
        elif life is not None:
            life.end(day, "retired")

    def write_state(self, day: int) -> None:
        for racket_id, life in sorted(self.fleet.current.items()):
            if life.ended_on is not None:
                continue
            player = self.roster.players.get(self.fleet.holder[racket_id])
            age, bed = life.age_hours(day), life.bed
            power = HARD_BLOW * (player.stage(day).power if player else 0.85)
            feel_used = bed.deadness(age) / player.threshold if player and player.is_complaining else None
            self.season.states.append(
                BedState(
                    day,
                    racket_id,
                    self.fleet.holder[racket_id],
                    life.strung_on,
                    life.hours,
                    bed.hits,
                    bed.notch_mm,
                    bed.section_left(),
                    bed.stiffness_lost(age),
                    bed.friction_gained(),
                    bed.break_used(power, age),
                    feel_used,
                )
            )
