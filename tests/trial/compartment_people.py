"""The people of the compartment club: settings in; groups, members, their rackets and their weekly hours out.

Hours are hours of play a week; intensities are multiples of a regional player with moderate topspin. Assumptions all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from tests.trial.compartment_bed import LadderBed

BREAK_BY_LEVEL = {"beginner": 0.5, "club": 0.75, "regional": 1.0, "national": 1.25}
BREAK_BY_SPIN = {"flat": 0.68, "moderate": 1.0, "heavy": 1.55}
SLACK_BY_LEVEL = {"beginner": 0.7, "club": 0.85, "regional": 1.0, "national": 1.15}
HOURS_BY_LEVEL = {"beginner": 6.5, "club": 9.5, "regional": 13.0, "national": 16.0}
CHOICES: dict[str, dict[str, float]] = {
    "mixed": {"CP1": 5, "CP2": 3, "CP3": 3, "CM1": 4, "CM2": 3, "CN1": 3, "CG1": 1, "CA1": 0.5},
    "soft": {"CM1": 4, "CM2": 4, "CN1": 4, "CG1": 2},
    "polyester": {"CP1": 5, "CP2": 4, "CP3": 4},
}
GIVEN = [
    "Abel", "Brita", "Cosmo", "Dagny", "Elif", "Floris", "Greta", "Hugo", "Ines", "Jaro", "Keto", "Linus",
    "Mara", "Noor", "Odd", "Petra", "Runa", "Sven", "Tilda", "Ulf",
]  # fmt: skip
FAMILY = [
    "Achterberg", "Brandis", "Colmar", "Delwig", "Eskeland", "Fiedrich", "Gronau", "Hallweg", "Imhoff",
    "Jansmo", "Kolbrand", "Lindqvar", "Morwen",
]  # fmt: skip
GROUP_NAMES = ["Herons", "Otters", "Swifts", "Badgers", "Lynxes", "Martens", "Kites"]


@dataclass(frozen=True)
class Nature:
    """What kind of club it is; every value may be given to make_club by name."""

    strings: str = "mixed"  # mixed, soft, polyester
    share_complaining: float = 0.7
    share_sundays_only: float = 0.4
    share_calendar_squads: float = 0.2  # squads that restring match rackets every so many days
    calendar_days: int = 32
    coach_takes_out: float = 0.6
    share_looked_at: float = 0.5  # of rackets, at the monthly round, on average over squads
    bench_days_a_week: int = 2
    load: float = 1.0
    load_gain_a_year: float = 0.0
    load_memory: float = 0.7
    load_sd: float = 0.28
    injuries_a_year: float = 0.6
    intensity: float = 1.0
    intensity_sd: float = 0.4
    mishits_an_hour: float = 0.0035
    turnover: float = 0.12
    string_changes: float = 0.2
    share_changes_racket: float = 0.15
    share_wrong_grades: float = 0.0  # of looks whose grades are written at random
    surface: str = ""  # empty: each squad has its own


@dataclass
class Group:
    """A squad and its habits."""

    name: str
    size: int
    level: str
    weekdays: list[int]
    hour: int
    activity: str
    surface: str
    restrings_every_days: int | None
    looked_at: float
    tournaments_a_week: float
    events: list[tuple[date, date, str]] = field(default_factory=list)

    def effort_on(self, day: date) -> str:
        """The same for all who train together; it goes round by the day."""
        return ("normal", "hard", "normal", "light", "normal")[(day.toordinal() + self.hour) % 5]


@dataclass
class Member:
    """A player: what the club writes of them, and what it does not know."""

    player_id: str
    name: str
    group: Group
    level: str
    spin: str
    joined_on: date
    break_work: float
    slack_work: float
    bears: float  # slackness at which half the sessions end in a complaint
    complains: bool
    sundays_only: bool
    habit: str
    hours_a_week: float
    matches: float
    count_frames: int
    mains: str
    crosses: str
    pull_kg: float
    left_on: date | None = None
    load: np.ndarray = field(default_factory=lambda: np.zeros(0))  # hours of play of each week
    form: np.ndarray = field(default_factory=lambda: np.zeros(0))  # its autocorrelated part, a logarithm
    hurts: list[tuple[int, int]] = field(default_factory=list)  # first week out, first week back
    row: dict[str, Any] = field(default_factory=dict)

    def is_here(self, day: date) -> bool:
        return self.joined_on <= day and (self.left_on is None or day < self.left_on)


@dataclass
class Frame:
    """A racket: whose, where it is, and the bed that is in it."""

    racket_id: str
    owner: Member | None
    role: str
    in_service_on: date
    bed: LadderBed
    pull_kg: float
    retired_on: date | None = None
    job: dict[str, Any] | None = None
    plays: int = 0
    lent: list[tuple[date, Member | None]] = field(default_factory=list)
    row: dict[str, Any] = field(default_factory=dict)

    def holder(self, day: date) -> Member | None:
        now = [who for since, who in self.lent if since <= day]
        return now[-1] if now else self.owner

    def is_in_service(self, day: date) -> bool:
        return self.in_service_on <= day and (self.retired_on is None or day < self.retired_on)

    def can_play(self, day: date) -> bool:
        return self.job is None and not self.bed.is_over and self.is_in_service(day)


def pick_strings(rng: np.random.Generator, kind: str) -> tuple[str, str]:
    ids, weights = list(CHOICES[kind]), np.array(list(CHOICES[kind].values()), dtype=float)
    mains, crosses = (str(i) for i in rng.choice(ids, size=2, p=weights / weights.sum()))
    return mains, crosses if rng.random() < 0.25 else mains


def draw_groups(rng: np.random.Generator, players: int, nature: Nature) -> list[Group]:
    """Squads of uneven size, from the strongest down."""
    count = int(np.clip(round(players / 11), 1, len(GROUP_NAMES)))
    shares = np.sort(rng.dirichlet(np.full(count, 3.0)))
    sizes = np.maximum(1, np.floor(shares * players).astype(int))
    sizes[-1] = max(1, players - int(sizes[:-1].sum()))
    groups = []
    for n, size in enumerate(sizes.tolist()):
        level = (
            ("national", "regional", "club", "beginner")[min(3, int(4 * (n + 0.5) / count))]
            if count > 1
            else "regional"
        )
        every = int(rng.normal(nature.calendar_days, 3)) if rng.random() < nature.share_calendar_squads else None
        times = {"national": 4, "regional": 3, "club": 2, "beginner": 2}[level]
        groups.append(
            Group(
                name=GROUP_NAMES[n],
                size=size,
                level=level,
                weekdays=sorted(rng.choice(6, size=times, replace=False).tolist()),
                hour=int(rng.integers(15, 19)),
                activity=str(rng.choice(["drills", "sparring", "rally"], p=[0.6, 0.25, 0.15])),
                surface=nature.surface or str(rng.choice(["hard", "clay", "carpet"], p=[0.5, 0.35, 0.15])),
                restrings_every_days=every,
                looked_at=float(np.clip(rng.normal(nature.share_looked_at, 0.25), 0, 1)),
                tournaments_a_week={"national": 0.45, "regional": 0.3, "club": 0.15, "beginner": 0.08}[level],
            )
        )
    return groups


def draw_member(rng: np.random.Generator, player_id: str, group: Group, day: date, nature: Nature) -> Member:
    level = group.level if rng.random() < 0.8 else str(rng.choice(list(BREAK_BY_LEVEL)))
    spin = str(rng.choice(list(BREAK_BY_SPIN), p=[0.3, 0.42, 0.28]))
    mains, crosses = pick_strings(rng, nature.strings)
    count = {"beginner": 2, "club": 2, "regional": 3, "national": 4}[level] + int(
        rng.integers(-1, 2) * (rng.random() < 0.4)
    )
    return Member(
        player_id=player_id,
        name=f"{GIVEN[int(rng.integers(len(GIVEN)))]} {FAMILY[int(rng.integers(len(FAMILY)))]}",
        group=group,
        level=level,
        spin=spin,
        joined_on=day,
        mains=mains,
        crosses=crosses,
        pull_kg=float(round(rng.normal(23.5, 1.2) * 2) / 2),
        break_work=nature.intensity
        * BREAK_BY_LEVEL[level]
        * BREAK_BY_SPIN[spin]
        * math.exp(rng.normal(0, nature.intensity_sd)),
        slack_work=SLACK_BY_LEVEL[level] * math.exp(rng.normal(0, 0.2)),
        bears=float(rng.normal(7.0, 1.0)),
        complains=bool(rng.random() < nature.share_complaining),
        sundays_only=bool(rng.random() < nature.share_sundays_only),
        habit=str(rng.choice(["favourite", "rota", "newest_for_matches"], p=[0.35, 0.35, 0.3])),
        hours_a_week=HOURS_BY_LEVEL[level] * nature.load * float(rng.gamma(12, 1 / 12)),
        matches=float(rng.gamma(3, 1 / 3)),
        count_frames=max(1, count),
    )


def continue_loads(
    rng: np.random.Generator, member: Member, season: Sequence[float], nature: Nature, from_week: int
) -> None:
    """Draw the member's hours of play of each week from `from_week` on.

    First-order autoregression in the logarithm, by the season, with injuries and a fortnight's leave a year.
    """
    weeks, step = len(member.load), nature.load_sd * math.sqrt(1 - nature.load_memory**2)
    now = member.form[from_week - 1] if from_week else rng.normal(0, nature.load_sd)
    member.form = np.concatenate([member.form[:from_week], np.zeros(weeks - from_week)])
    for week in range(from_week, weeks):
        now = nature.load_memory * now + rng.normal(0, step)
        member.form[week] = now
        member.load[week] = (
            member.hours_a_week * season[week] * math.exp(now) * (1 + nature.load_gain_a_year) ** (week / 52)
        )
    member.hurts = [(out, back) for out, back in member.hurts if out < from_week]
    for _ in range(rng.poisson(nature.injuries_a_year * (weeks - from_week) / 52)):
        out = int(rng.integers(from_week, weeks))
        member.hurts.append((out, out + int(rng.integers(1, 6))))
    for out, back in member.hurts:
        member.load[out:back] = 0.0
    for _ in range(rng.poisson((weeks - from_week) / 52)):
        leave = int(rng.integers(from_week, weeks))
        member.load[leave : leave + 2] *= 0.2
