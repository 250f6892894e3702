"""What a club's own beds teach: family multipliers, player posteriors, inspection multipliers, causes of unknown
endings.

In: History and Shapes (the numbers that stay fixed here). Out: Learned. Exact gamma updates given the family and
inspection multipliers, which are iterated to rest (empirical Bayes); endings without a reason are shared between the
causes in proportion to their hazards at that age (EM). Units: days for rates, reference hours for play.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from pipeline.wear.baseline import EDGES, Baseline, expected_in_bins, learn_baseline
from pipeline.wear.drift import Level, follow
from pipeline.wear.history import CAUSES, History, just_before, last_played, player_or_nobody, sums_from
from pipeline.wear.limits import Lives, cumulative_hazard, life_used_breaks, life_used_dead, lives_of
from pipeline.wear.looks import Looked, priors
from pipeline.wear.other_causes import DaysAtRisk, OtherCauses
from pipeline.wear.reference import value

BREAKS, DEAD, MISHIT, OTHER, UNKNOWN = (CAUSES.index(c) for c in ("breaks", "goes_dead", "mishit", "other", "unknown"))

REPORTING_DELAY_DAYS = 9
PART_STEPS = 1_000_000

LIMITS = ("breaks", "goes_dead")
CODES = {"breaks": BREAKS, "goes_dead": DEAD}


@dataclass(frozen=True)
class Shapes:
    """Numbers held fixed while multipliers are learned: Weibull shapes, prior strengths, fading, share of reporters.

    strength_*: endings the player prior weighs. strength_racket: likewise one level down, for how a racket's own wear
    differs from what its share of the player's play says.
    """

    shape_breaks: float = value("shape_breaks")
    shape_dead: float = value("shape_goes_dead")
    strength_breaks: float = value("prior_strength_player")
    strength_dead: float = value("prior_strength_player")
    strength_family: float = value("prior_strength_family")
    strength_racket: float = value("prior_strength_racket")
    share_reporting: float = value("share_reporting")
    look_prior: float = value("inspection_prior")
    look_fade: float = value("inspection_fade")
    rest_scale: float = 1.0
    bed_effects: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Exposure:
    """Life used at every step under given Shapes, limit -> (n_steps,); the Weibull shapes that make hazard of it."""

    lives: Lives
    x: dict[str, np.ndarray]
    shape: dict[str, float]

    def added(self, h: History, limit: str) -> np.ndarray:
        """(n_steps,) what each step adds to the cumulative hazard of one limit. Worked out when asked for: a large
        club has millions of steps."""
        z = cumulative_hazard(self.x[limit], self.shape[limit])
        return z - just_before(h, z, np.arange(len(z)))


@dataclass(frozen=True)
class Learned:
    """The posterior.

    family: limit -> (n_families,) multiplier f. a, b: limit -> (n_players + 1,) gamma posterior of each player's
    multiplier; the last entry is the prior, for beds without a player. reports: (n_players + 1,) chance that the player
    reports lost feel at all. looks: limit -> (groups of materials, 4 signs, 4 grades). look_endings: likewise, the
    endings each was learned from. responsibility: (n_beds, n causes) share of each cause in a bed's ending. factor:
    limit -> (n_steps,) inspection multiplier in force. mishit_per_hour: 1/h. racket, racket_code: (n_beds,) what was
    learned of the bed's racket, and which it is. outlasted: (n_beds,) part of its last stretch of play that a bed was
    in for.
    """

    shapes: Shapes
    exposure: Exposure
    family: dict[str, np.ndarray]
    a: dict[str, np.ndarray]
    b: dict[str, np.ndarray]
    reports: np.ndarray
    looks: dict[str, np.ndarray]
    responsibility: np.ndarray
    factor: dict[str, np.ndarray]
    mishit_per_hour: float
    other: OtherCauses
    rounds: int
    endings_family: dict[str, np.ndarray] = field(default_factory=dict)
    level: dict[str, Level] = field(default_factory=dict)
    baseline: dict[str, Baseline] = field(default_factory=dict)
    expected: dict[str, np.ndarray] = field(default_factory=dict)
    racket: np.ndarray = field(default_factory=lambda: np.zeros(0))
    racket_code: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    look_endings: dict[str, np.ndarray] = field(default_factory=dict)
    outlasted: np.ndarray = field(default_factory=lambda: np.zeros(0))


def exposure_of(h: History, shapes: Shapes) -> Exposure:
    """Life used at every step, per limit."""
    lives = lives_of(h.beds, dict(shapes.bed_effects))
    bed = h.bed
    x = {
        "breaks": life_used_breaks(h.abrasion, lives.break_hours[bed]),
        "goes_dead": life_used_dead(
            h.playability, h.age_hours, lives.dead_hours[bed], shapes.rest_scale * lives.rest[bed]
        ),
    }
    return Exposure(lives, x, {"breaks": shapes.shape_breaks, "goes_dead": shapes.shape_dead})


def _days_between(h: History) -> np.ndarray:
    """(n_steps,) days since the step before in the same bed, or since the stringing."""
    if not len(h.day):
        return np.zeros(0, dtype=np.int32)
    days = np.diff(h.day, prepend=0).astype(np.int32)
    days[h.first] = ((h.age_hours[h.first] - 12.0) / 24.0).astype(np.int64)
    return days


def teaches(h: History, limit: str) -> np.ndarray:
    """(n_beds,) whether a bed says anything of this limit."""
    known = h.beds["is_string_known"].to_numpy(dtype=bool)
    return known & h.beds["teaches_abrasion"].to_numpy(dtype=bool) if limit == "breaks" else known


def _recent_hazard(h: History, days: np.ndarray, dz: np.ndarray, window_days: int = 7) -> np.ndarray:
    """(n_beds,) hazard a day over a bed's last week in play (theta = 1). days: (n_steps,) since the step before."""
    last_day = h.day[h.last]
    recent = h.day > (last_day[h.bed] - window_days)
    added = np.add.reduceat(np.where(recent, dz, 0.0), h.first)
    # the first step inside the window may reach back beyond it
    span = np.add.reduceat(np.where(recent, days, 0), h.first)
    return np.maximum(added / np.maximum(span, 1.0), 1e-6)


def part_outlasted(hazard: np.ndarray) -> np.ndarray:
    """How much of a stretch a bed was in for that ended within it: 1 / u - 1 / (exp(u) - 1), the mean of an exponential
    life of rate u that is known to end before 1; a half where u is small. hazard: (n,) u, over the whole stretch."""
    u = np.maximum(hazard, 0.0)
    far = np.clip(u, 0.1, 700.0)
    return np.where(u < 0.1, 0.5 - u / 12.0, 1.0 / far - 1.0 / np.expm1(far))


def learn(h: History, shapes: Shapes | None = None, max_rounds: int = 60, tolerance: float = 2e-2) -> Learned:
    """Iterate family, player and inspection multipliers and the causes of unknown endings to rest."""
    shapes = shapes or Shapes()
    e = exposure_of(h, shapes)
    bare, days = {k: e.added(h, k) for k in LIMITS}, _days_between(h)
    limits, codes = LIMITS, CODES
    strength = {"breaks": shapes.strength_breaks, "goes_dead": shapes.strength_dead}
    n_players, n_families, n_beds = len(h.players), len(h.families), h.n_beds
    player = player_or_nobody(h)
    family = np.maximum(h.family, 0)
    taught = {k: teaches(h, k) for k in limits}
    looks = {k: priors(k) for k in limits}
    f = {k: np.ones(n_families) for k in limits}
    a = {k: np.full(n_players + 1, strength[k]) for k in limits}
    b = {k: np.full(n_players + 1, strength[k]) for k in limits}
    reports = np.full(n_players + 1, shapes.share_reporting)
    responsibility = np.zeros((n_beds, len(CAUSES)))
    responsibility[np.arange(n_beds), h.cause] = 1.0
    is_unknown = h.cause == UNKNOWN
    hours_played = h.hours[h.last] if n_beds else np.zeros(0)
    mishit_per_hour = 1.0 / 2000.0
    at_risk = DaysAtRisk(h, e)
    other = at_risk.learn(responsibility[:, OTHER])
    factor = {k: np.ones(len(h.day)) for k in limits}
    looked = Looked(h, e.x, shapes.look_fade)
    seen = looked.at
    endings_family: dict[str, np.ndarray] = {}
    own = np.ones(n_beds)
    last_play = last_played(h)
    in_last_stretch = np.arange(len(h.day), dtype=np.int32) >= last_play.astype(np.int32)[h.bed]
    outlasted, lived = np.ones(n_beds), np.ones(len(h.day))
    rounds = 0
    for rounds in range(1, max_rounds + 1):
        previous = np.concatenate([f[k] for k in limits] + [a[k] / b[k] for k in limits])
        hazards = {}
        for k in limits:
            factor[k][seen] = looked.factor(k, looks[k])
            dz = bare[k] * factor[k]
            theta = a[k] / b[k] * (reports if k == "goes_dead" else 1.0)
            hazards[k] = f[k][family] * own * theta[player] * _recent_hazard(h, days, dz)
        if is_unknown.any():
            rate_mishit = mishit_per_hour * np.maximum(hours_played, 0.1) / np.maximum(h.age_hours[h.last] / 24.0, 1.0)
            shares = np.zeros((n_beds, len(CAUSES)))
            shares[:, BREAKS], shares[:, DEAD] = hazards["breaks"], hazards["goes_dead"]
            shares[:, MISHIT], shares[:, OTHER] = rate_mishit, other.rate_at_end
            shares /= shares.sum(axis=1, keepdims=True)
            responsibility[is_unknown] = shares[is_unknown]
            if rounds <= 2 or rounds % 8 == 0:
                other = at_risk.learn(responsibility[:, OTHER])
        if n_beds:
            # a bed that ended in play was in for a part of its last stretch alone
            stretch = np.zeros(n_beds)
            for k in limits:
                _, in_it = sums_from(bare[k] * factor[k], h, last_play)
                theta = a[k] / b[k] * (reports if k == "goes_dead" else 1.0)
                stretch += in_it * f[k][family] * own * theta[player]
            in_play = responsibility[:, (BREAKS, DEAD, MISHIT)].sum(axis=1)
            outlasted = 1.0 - in_play * (1.0 - part_outlasted(stretch))
            lived = np.where(in_last_stretch, outlasted[h.bed], 1.0)
        mishit_per_hour = (1.0 + responsibility[:, MISHIT].sum()) / (2000.0 + hours_played.sum())
        by_racket = np.zeros((2, int(h.racket.max(initial=-1)) + 1))
        for k in limits:
            dz = bare[k] * factor[k] * lived
            exposed = np.add.reduceat(dz, h.first) * taught[k] if n_beds else np.zeros(0)
            ended = responsibility[:, codes[k]] * taught[k]
            n_player = np.bincount(player, ended, n_players + 1)
            # family: the player's expected multiplier weighs the exposure
            for _ in range(3):
                theta = a[k] / b[k] * (reports if k == "goes_dead" else 1.0)
                endings_family[k] = np.bincount(family, ended, n_families)
                f[k] = (shapes.strength_family + endings_family[k]) / (
                    shapes.strength_family + np.bincount(family, exposed * own * theta[player], n_families)
                )
                z_player = np.bincount(player, exposed * own * f[k][family], n_players + 1)
                a[k] = strength[k] + n_player
                b[k] = strength[k] + z_player
                a[k][n_players] = b[k][n_players] = strength[k]
                if k == "goes_dead":
                    silent = np.power(strength[k] / (strength[k] + z_player), strength[k])
                    pi = shapes.share_reporting
                    reports = np.where(n_player > 0.5, 1.0, pi * silent / (pi * silent + 1.0 - pi))
                    reports[n_players] = pi
            theta = a[k] / b[k] * (reports if k == "goes_dead" else 1.0)
            by_racket[0] += np.bincount(h.racket, ended, by_racket.shape[1])
            by_racket[1] += np.bincount(h.racket, exposed * f[k][family] * theta[player], by_racket.shape[1])
            if len(seen):
                scale = (f[k][family] * own * theta[player] * taught[k])[h.bed[seen]]
                at_end = _at_end(h, seen, ended)
                looks[k] = looked.learned(k, bare[k][seen] * lived[seen] * scale, at_end, looks[k], shapes.look_prior)
        # a racket that wears out its beds faster than its share of the player's play says gets more of it than the
        # share
        own = ((shapes.strength_racket + by_racket[0]) / (shapes.strength_racket + by_racket[1]))[h.racket]
        now = np.concatenate([f[k] for k in limits] + [a[k] / b[k] for k in limits])
        if len(now) == 0 or np.max(np.abs(np.log(now) - np.log(previous))) < tolerance:
            break
    for k in limits:
        factor[k][seen] = looked.factor(k, looks[k])
    level, baseline, expected_so_far = {}, {}, {}
    parts = _parts(h)
    for k in limits:
        mean = (a[k] / b[k])[player] * f[k][family] * own
        counts = taught[k] * ((reports[player]) if k == "goes_dead" else 1.0)
        ended = responsibility[:, codes[k]] * taught[k]
        so_far, lasted = np.zeros(len(h.day)), np.zeros(n_beds)
        for steps, beds in parts:
            in_force = bare[k][steps] * factor[k][steps] * lived[steps]
            lasted[beds] = np.add.reduceat(in_force, h.first[beds] - steps.start)
            so_far[steps] = _cumulative(in_force * mean[h.bed[steps]], h, steps, beds)
        # each bed is held against what its player's OTHER beds say: its own ending would make it look as expected
        alone = lasted * taught[k] * own * f[k][family]
        others = (a[k][player] - ended) / np.maximum(b[k][player] - alone, 1e-9) / (a[k] / b[k])[player]
        expected = np.zeros(len(EDGES))
        for steps, _ in parts:
            after, of_bed = so_far[steps], h.bed[steps]
            scale = others[of_bed]
            expected += expected_in_bins(_before(h, so_far, steps) * scale, after * scale, counts[of_bed])
        baseline[k] = learn_baseline(expected, (so_far[h.last] if n_beds else lasted) * others, ended)
        expected_so_far[k] = so_far
        # the players' posterior, with the club's own baseline in the exposure
        z_warped, drift = np.zeros(n_players + 1), _Drift(h)
        for steps, beds in parts:
            warped = baseline[k].warped(so_far[steps]) - baseline[k].warped(_before(h, so_far, steps))
            by_bed = np.add.reduceat(warped, h.first[beds] - steps.start) * (taught[k] / (a[k] / b[k])[player])[beds]
            z_warped += np.bincount(player[beds], by_bed, n_players + 1)
            drift.expect(steps, warped * counts[h.bed[steps]])
        b[k] = np.where(np.arange(n_players + 1) < n_players, strength[k] + z_warped, strength[k])
        level[k] = drift.level(ended)
    return Learned(
        shapes,
        e,
        f,
        a,
        b,
        reports,
        looks,
        responsibility,
        factor,
        mishit_per_hour,
        other,
        rounds,
        endings_family,
        level,
        baseline,
        expected_so_far,
        own,
        h.racket,
        {k: looked.counted(k, _at_end(h, seen, responsibility[:, codes[k]] * taught[k])) for k in limits},
        outlasted,
    )


def _at_end(h: History, steps: np.ndarray, ended: np.ndarray) -> np.ndarray:
    """(m,) how far the bed of each of these steps ended at it."""
    bed = h.bed[steps]
    return np.where(h.last[bed] == steps, ended[bed], 0.0)


def _parts(h: History) -> list[tuple[slice, slice]]:
    """The steps in parts of about PART_STEPS, and the beds they are of: what holds for every bed by itself is worked
    out in parts, so that a large club needs no array of all steps for each thing on the way."""
    if h.n_beds == 0:
        return []
    edges = np.unique(np.append(np.searchsorted(h.first, np.arange(0, len(h.day), PART_STEPS)), h.n_beds))
    return [
        (slice(int(h.first[low]), int(h.last[high - 1]) + 1), slice(int(low), int(high)))
        for low, high in pairwise(edges)
    ]


def _cumulative(step: np.ndarray, h: History, steps: slice, beds: slice) -> np.ndarray:
    """(m,) running sum within each bed of a part."""
    total, first = np.cumsum(step), h.first[beds] - steps.start
    return total - (total[first] - step[first])[h.bed[steps] - beds.start]


def _before(h: History, so_far: np.ndarray, steps: slice) -> np.ndarray:
    """(m,) what a running sum within each bed was before each step of a part."""
    return just_before(h, so_far, np.arange(steps.start, steps.stop))


class _Drift:
    """The drift of one limit: endings against expectation in whole periods, back from REPORTING_DELAY_DAYS before the
    origin: a racket that broke yesterday is often handed in days later."""

    def __init__(self, h: History, period_days: int = 14) -> None:
        self.h, self.period_days = h, period_days
        self.expected = np.zeros(max(self._back(h.day).max(initial=-1) + 1, 0))

    def _back(self, day: np.ndarray) -> np.ndarray:
        return (self.h.as_of_day - REPORTING_DELAY_DAYS - day) // self.period_days

    def expect(self, steps: slice, expected: np.ndarray) -> None:
        """Add what is expected at the steps of a part."""
        back = self._back(self.h.day[steps])
        told = back >= 0
        self.expected += np.bincount(back[told], expected[told], len(self.expected))

    def level(self, ended: np.ndarray) -> Level:
        """The level at the origin. ended: (n_beds,)."""
        if not len(self.expected):
            return follow(np.zeros(0), np.zeros(0))
        back = self._back(self.h.day[self.h.last])
        told = back >= 0
        observed = np.bincount(back[told], ended[told], len(self.expected))
        return follow(self.expected[::-1], observed[::-1])
