"""Who and what the invented academy has: players, frames, strings, rackets, and each player's habits.

In: a random generator, the number of players, the span of days, and the nature of the club. Out: `Roster`. Days are
proleptic ordinals (`date.toordinal`), tensions kg, gauges mm. All names are made up.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from sample_data.catalogue import FRAMES, HARDLY_BREAKING, Frame, Setup

SQUADS = ("Rowan", "Cedar", "Birch", "Alder")
GIVEN = [
    "Tavi",
    "Orsel",
    "Minka",
    "Jorun",
    "Elva",
    "Pasko",
    "Riven",
    "Sorrel",
    "Ilka",
    "Benno",
    "Cato",
    "Delph",
    "Wenna",
    "Faro",
    "Gita",
    "Hollis",
    "Ivo",
    "Juna",
    "Kesti",
    "Lorin",
    "Maru",
    "Nilo",
    "Ottis",
    "Perla",
    "Quill",
    "Rasmin",
    "Selka",
    "Timor",
    "Ulla",
    "Vesk",
    "Wyna",
    "Xanti",
    "Yoren",
    "Zelda",
    "Arvo",
    "Brisa",
    "Corwen",
    "Dagny",
    "Emmo",
    "Fenja",
]
FAMILY_START = [
    "Mor",
    "Tal",
    "Ves",
    "Bran",
    "Cor",
    "Dun",
    "Eld",
    "Fal",
    "Gar",
    "Hes",
    "Ist",
    "Jar",
    "Kel",
    "Lun",
    "Nor",
    "Ost",
    "Per",
    "Quen",
    "Ral",
    "Sol",
]
FAMILY_END = [
    "lune",
    "wick",
    "varra",
    "dell",
    "moth",
    "senne",
    "gard",
    "rill",
    "thane",
    "ovik",
    "brae",
    "stell",
    "mond",
    "ficht",
]


@dataclass(frozen=True)
class Stage:
    """A player's squad, level and spin from a day on, with the power and brush they stand for in the simulation."""

    since: int
    squad: str
    level: str
    spin: str
    power: float
    brush: float


@dataclass
class Player:
    player_id: str
    player_name: str
    stages: list[Stage]
    hours_week: float
    joined_on: int
    left_on: int | None
    tempo: float
    mishits_per_hit: float
    is_complaining: bool
    threshold: float
    schedule_weeks: int | None
    is_scheduled_by_wear: bool
    is_fresh_before_events: bool
    style: str
    spare_practice_share: float
    attendance: float
    setups: list[tuple[int, Setup]]
    rackets: list[str] = field(default_factory=list)

    def stage(self, day: int) -> Stage:
        return (
            [stage for stage in self.stages if stage.since <= day][-1]
            if self.stages[0].since <= day
            else self.stages[0]
        )

    def setup(self, day: int) -> Setup:
        return [setup for since, setup in self.setups if since <= day or since == self.setups[0][0]][-1]

    def is_here(self, day: int) -> bool:
        return self.joined_on <= day and (self.left_on is None or day <= self.left_on)


@dataclass
class Racket:
    racket_id: str
    owner: str
    frame: Frame
    marking: str
    role: str
    in_service_on: int
    retired_on: int | None = None
    is_unstrung: bool = False


@dataclass(frozen=True)
class Nature:
    """What sets one club apart in how it plays, complains and restrings (not in what it writes down)."""

    share_complaining: float = 0.62
    share_scheduled: float = 0.10
    share_fresh_before_events: float = 0.20
    is_hard_to_break: bool = False
    share_scheduled_by_wear: float = 0.0
    share_old_beds: float = 0.35


@dataclass
class Roster:
    players: dict[str, Player]
    rackets: dict[str, Racket]
    hand_overs: list[tuple[str, int, str]]


LEVELS = {
    "Rowan": ("national", "regional"),
    "Cedar": ("regional", "regional", "club"),
    "Birch": ("club",),
    "Alder": ("beginner", "club"),
}
SPINS = {
    "Rowan": (0.12, 0.40, 0.48),
    "Cedar": (0.15, 0.50, 0.35),
    "Birch": (0.30, 0.52, 0.18),
    "Alder": (0.60, 0.36, 0.04),
}
HOURS = {"Rowan": (10.0, 14.0), "Cedar": (8.0, 12.0), "Birch": (5.0, 8.5), "Alder": (3.5, 6.0)}
RACKETS = {"Rowan": (3, 4, 4, 5), "Cedar": (3, 3, 3, 4), "Birch": (1, 2, 2, 3), "Alder": (1, 1, 2, 2)}
POWER = {"beginner": 0.70, "club": 0.85, "regional": 1.0, "national": 1.13}
BRUSH = {"flat": 0.65, "moderate": 1.0, "heavy": 1.45}
THRESHOLD = {"beginner": 0.36, "club": 0.30, "regional": 0.25, "national": 0.22}
MISHITS_PER_HIT = {"beginner": 1.3e-5, "club": 1.0e-5, "regional": 0.8e-5, "national": 0.65e-5}
KG = {"Rowan": 23.5, "Cedar": 23.5, "Birch": 22.5, "Alder": 21.5}
CHOICES = {
    "Rowan": (("S01", "S01"), ("S03", "S03"), ("S04", "S04"), ("S01", "S05"), ("S08", "S01"), ("S09", "S09")),
    "Cedar": (("S01", "S01"), ("S04", "S04"), ("S01", "S05"), ("S05", "S05"), ("S03", "S03"), ("S02", "S02")),
    "Birch": (("S05", "S05"), ("S07", "S07"), ("S01", "S07"), ("S02", "S02"), ("S06", "S06")),
    "Alder": (("S07", "S07"), ("S05", "S05"), ("S07", "S07"), ("S06", "S06")),
}


def pick_setup(rng: np.random.Generator, squad: str, nature: Nature) -> Setup:
    pairs = CHOICES[squad]
    mains, crosses = pairs[int(rng.integers(len(pairs)))]
    if nature.is_hard_to_break:
        mains = crosses = HARDLY_BREAKING
    kg = round(2 * float(rng.normal(KG[squad], 0.9))) / 2
    kg = min(max(kg, 20.0), 26.0)
    return Setup(mains, crosses, kg, kg - (0.5 if rng.random() < 0.4 else 0.0))


def make_names(rng: np.random.Generator, count: int) -> list[str]:
    """Invented names, all different."""
    families = [start + end for start in FAMILY_START for end in FAMILY_END]
    families = [families[int(place)] for place in rng.permutation(len(families))]
    given = [GIVEN[int(place)] for place in rng.permutation(len(GIVEN))]
    out = []
    for index in range(count):
        again = index // len(families)
        out.append(
            f"{given[index % len(given)]} {families[index % len(families)]}" + (f" {again + 1}" if again else "")
        )
    return out


def make_player(
    rng: np.random.Generator, index: int, name: str, squad: str, first: int, last: int, nature: Nature
) -> Player:
    level = str(rng.choice(LEVELS[squad]))
    spin = str(rng.choice(("flat", "moderate", "heavy"), p=SPINS[squad]))
    if nature.is_hard_to_break:
        level, spin = (
            ("club" if level in ("national", "regional") else "beginner"),
            ("flat" if spin == "heavy" else spin),
        )
    power_own, brush_own = float(np.exp(rng.normal(0, 0.07))), float(np.exp(rng.normal(0, 0.10)))
    stages = [Stage(first, squad, level, spin, POWER[level] * power_own, BRUSH[spin] * brush_own)]
    is_complaining = bool(rng.random() < nature.share_complaining)
    low, high = HOURS[squad]
    setups = [(first, pick_setup(rng, squad, nature))]
    if last - first > 60 and rng.random() < 0.45 * (last - first) / 515:
        day = int(rng.integers(first + 45, last))
        changed = pick_setup(rng, squad, nature)
        if changed.mains_string_id == setups[0][1].mains_string_id:
            changed = replace(
                changed,
                mains_kg=min(26.0, setups[0][1].mains_kg + 1.0),
                crosses_kg=min(26.0, setups[0][1].crosses_kg + 1.0),
            )
        setups.append((day, changed))
    mishits_per_hit = MISHITS_PER_HIT[level] * float(np.exp(rng.normal(0, 0.3)))
    return Player(
        player_id=f"P{index + 1:02d}",
        player_name=name,
        stages=stages,
        hours_week=float(rng.uniform(low, high)),
        joined_on=first - 1000,
        left_on=None,
        tempo=float(np.exp(rng.normal(0, 0.10))),
        mishits_per_hit=mishits_per_hit,
        is_complaining=is_complaining,
        threshold=THRESHOLD[level] * float(np.exp(rng.normal(0, 0.15))),
        schedule_weeks=int(rng.integers(3, 9)) if rng.random() < nature.share_scheduled else None,
        is_scheduled_by_wear=bool(rng.random() < nature.share_scheduled_by_wear),
        is_fresh_before_events=bool(squad in SQUADS[:3] and rng.random() < nature.share_fresh_before_events),
        style=str(rng.choice(("favourite", "rotate", "current"), p=(0.4, 0.3, 0.3))),
        spare_practice_share=float(rng.uniform(0.02, 0.35)),
        attendance=float(rng.uniform(0.80, 0.96)),
        setups=setups,
    )


def change_stages(rng: np.random.Generator, players: list[Player], first: int, last: int) -> None:
    """Some players move up a level, put on more spin or change squad in the course of the log."""
    for player in players:
        if rng.random() > 0.18 or last - first < 120:
            continue
        stage = player.stages[0]
        day = int(rng.integers(first + 60, last - 30))
        level, spin, squad = stage.level, stage.spin, stage.squad
        what = rng.random()
        if what < 0.4 and level != "national":
            level = {"beginner": "club", "club": "regional", "regional": "national"}[level]
        elif what < 0.75 and spin != "heavy":
            spin = {"flat": "moderate", "moderate": "heavy"}[spin]
        elif squad != "Rowan":
            squad = SQUADS[SQUADS.index(squad) - 1]
        else:
            continue
        own_power, own_brush = stage.power / POWER[stage.level], stage.brush / BRUSH[stage.spin]
        player.stages.append(Stage(day, squad, level, spin, POWER[level] * own_power, BRUSH[spin] * own_brush))


def make_rackets(rng: np.random.Generator, players: list[Player], first: int, last: int) -> dict[str, Racket]:
    rackets: dict[str, Racket] = {}

    def add(owner: str, frame: Frame, marking: str, role: str, in_service_on: int) -> Racket:
        racket = Racket(f"R{len(rackets) + 1:03d}", owner, frame, marking, role, in_service_on)
        rackets[racket.racket_id] = racket
        return racket

    for player in players:
        squad = player.stages[0].squad
        count = int(rng.choice(RACKETS[squad]))
        frame = FRAMES[3] if squad == "Alder" and rng.random() < 0.6 else FRAMES[int(rng.integers(len(FRAMES)))]
        other = FRAMES[int(rng.integers(len(FRAMES)))]
        count_match = max(1, min(count, 2 if count <= 3 else 3))
        for number in range(count):
            is_match = number < count_match
            is_set = is_match or rng.random() < 0.6
            marking = f"{number + 1}" if is_set and count > 1 else ("grey grip" if rng.random() < 0.3 else "")
            late = is_match and number > 0 and rng.random() < 0.06 and last - first > 150
            start = int(rng.integers(first + 30, last - 60)) if late else first - int(rng.integers(20, 600))
            start = max(start, player.joined_on)
            racket = add(player.player_id, frame if is_set else other, marking, "match" if is_match else "spare", start)
            player.rackets.append(racket.racket_id)
    for number in range(max(1, round(len(players) / 13))):
        add("", FRAMES[3 if number % 2 else 1], f"club {number + 1}", "loan", first - 300 - number)
    return rackets


def come_and_go(rng: np.random.Generator, players: list[Player], first: int, last: int) -> None:
    """One player joins in the course of a long log, one leaves."""
    late, gone = players[-1], players[len(players) // 2]
    late.joined_on = int(rng.integers(first + 60, first + 120))
    late.stages = [replace(late.stages[0], since=late.joined_on)]
    gone.left_on = int(rng.integers(first + 200, max(first + 201, last - 40)))


def change_rackets(
    rng: np.random.Generator,
    players: dict[str, Player],
    rackets: dict[str, Racket],
    is_long: bool,
    first: int,
    last: int,
) -> list[tuple[str, int, str]]:
    """Spares that are retired, that lie unstrung, or that go to another player; the last are returned."""
    for racket in rackets.values():
        racket.retired_on = players[racket.owner].left_on if racket.owner else None
    spares = [racket for racket in rackets.values() if racket.role == "spare" and racket.retired_on is None]
    spares = [spares[int(place)] for place in rng.permutation(len(spares))]
    count_retired, count_unstrung = max(1, len(players) // 20), max(1, len(players) // 25)
    for racket in spares[:count_retired] if is_long else []:
        racket.retired_on = int(rng.integers(max(first + 60, racket.in_service_on), last - 60))
    for racket in spares[count_retired : count_retired + count_unstrung]:
        racket.is_unstrung = True
    taken = spares[count_retired + count_unstrung :][:1] if is_long else []
    out = []
    for racket in taken:
        takers = [
            p for p in players.values() if p.player_id != racket.owner and p.left_on is None and len(p.rackets) < 3
        ]
        if takers:
            taker = takers[int(rng.integers(len(takers)))]
            day = int(rng.integers(max(first + 80, racket.in_service_on, taker.joined_on), last - 80))
            out.append((racket.racket_id, day, taker.player_id))
    return out


def make_roster(rng: np.random.Generator, count: int, first: int, last: int, nature: Nature) -> Roster:
    """The whole club. `first` and `last` are the first and last day simulated."""
    players = []
    for index, name in enumerate(make_names(rng, count)):
        squad = SQUADS[index * 4 // max(count, 4)]
        players.append(make_player(rng, index, name, squad, first, last, nature))
    is_long = last - first > 260
    change_stages(rng, players, first, last)
    if count >= 12 and is_long:
        come_and_go(rng, players, first, last)
    rackets = make_rackets(rng, players, first, last)
    by_id = {player.player_id: player for player in players}
    return Roster(by_id, rackets, change_rackets(rng, by_id, rackets, is_long, first, last))
