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
Parts = list[tuple[slice, slice]]

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

    def strength(self, limit: str) -> float:
        """Endings that the players' prior weighs, of one limit."""
        return self.strength_breaks if limit == "breaks" else self.strength_dead


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
    found = _Found(h, shapes or Shapes())
    rounds = 0
    for rounds in range(1, max_rounds + 1):
        before = found.multipliers()
        found.go_round(rounds)
        now = found.multipliers()
        if len(now) == 0 or np.max(np.abs(np.log(now) - np.log(before))) < tolerance:
            break
    return found.learned(rounds)


class _Found:
    """What has been found so far; `go_round` improves each part of it given the others.

    Fields as in Learned, by limit where it has one for each. bare: (n_steps,) hazard added by each step with every
    multiplier 1. lived: (n_steps,) part of each step that its bed was in for. own: (n_beds,) the racket's multiplier.
    """

    def __init__(self, h: History, shapes: Shapes) -> None:
        self.h, self.shapes = h, shapes
        self.exposure = exposure_of(h, shapes)
        self.bare = {k: self.exposure.added(h, k) for k in LIMITS}
        self.days = _days_between(h)
        self.player, self.family_of = player_or_nobody(h), np.maximum(h.family, 0)
        self.n_players, self.n_families = len(h.players), len(h.families)
        self.n_rackets = int(h.racket.max(initial=-1)) + 1
        self.taught = {k: teaches(h, k) for k in LIMITS}
        self.strength = {k: shapes.strength(k) for k in LIMITS}
        self.looks = {k: priors(k) for k in LIMITS}
        self.family = {k: np.ones(self.n_families) for k in LIMITS}
        self.endings_family: dict[str, np.ndarray] = {}
        self.a = {k: np.full(self.n_players + 1, self.strength[k]) for k in LIMITS}
        self.b = {k: np.full(self.n_players + 1, self.strength[k]) for k in LIMITS}
        self.reports = np.full(self.n_players + 1, shapes.share_reporting)
        self.responsibility = np.zeros((h.n_beds, len(CAUSES)))
        self.responsibility[np.arange(h.n_beds), h.cause] = 1.0
        self.hours_played = h.hours[h.last] if h.n_beds else np.zeros(0)
        self.mishit_per_hour = 1.0 / value("mishit_hours")
        self.at_risk = DaysAtRisk(h, self.exposure)
        self.other = self.at_risk.learn(self.responsibility[:, OTHER])
        self.factor = {k: np.ones(len(h.day)) for k in LIMITS}
        self.looked = Looked(h, self.exposure.x, shapes.look_fade)
        self.own = np.ones(h.n_beds)
        self.last_play = last_played(h)
        self.in_last_stretch = np.arange(len(h.day), dtype=np.int32) >= self.last_play.astype(np.int32)[h.bed]
        self.outlasted, self.lived = np.ones(h.n_beds), np.ones(len(h.day))

    def multipliers(self) -> np.ndarray:
        """What must come to rest: the families' multipliers and the players' means."""
        return np.concatenate([self.family[k] for k in LIMITS] + [self.a[k] / self.b[k] for k in LIMITS])

    def go_round(self, count: int) -> None:
        """Every part once. count: 1 for the first round."""
        self._put_inspections_in_force()
        self._share_unknown_endings(is_other_learned=count <= 2 or count % 8 == 0)
        if self.h.n_beds:
            self._time_last_stretches()
        mishits = self.responsibility[:, MISHIT].sum()
        self.mishit_per_hour = (1.0 + mishits) / (value("mishit_hours") + self.hours_played.sum())
        ended, expected = (np.zeros(self.n_rackets) for _ in range(2))
        for k in LIMITS:
            by_racket = self._learn_limit(k)
            ended += by_racket[0]
            expected += by_racket[1]
        # a racket that wears out its beds faster than its share of the player's play says gets more of it than the
        # share
        strength = self.shapes.strength_racket
        self.own = ((strength + ended) / (strength + expected))[self.h.racket]

    def _theta(self, limit: str) -> np.ndarray:
        """(n_players + 1,) mean multiplier, of dead beds that of those who report."""
        mean = self.a[limit] / self.b[limit]
        return np.asarray(mean * (self.reports if limit == "goes_dead" else 1.0))

    def _ended(self, limit: str) -> np.ndarray:
        """(n_beds,) how far each bed ended by this limit, of those that say anything of it."""
        return np.asarray(self.responsibility[:, CODES[limit]] * self.taught[limit])

    def _put_inspections_in_force(self) -> None:
        for k in LIMITS:
            self.factor[k][self.looked.at] = self.looked.factor(k, self.looks[k])

    def _share_unknown_endings(self, is_other_learned: bool) -> None:
        """Endings without a reason go to the causes by their hazards at that age (EM)."""
        h = self.h
        is_unknown = h.cause == UNKNOWN
        if not is_unknown.any():
            return
        hazards = {}
        for k in LIMITS:
            last_week = _recent_hazard(h, self.days, self.bare[k] * self.factor[k])
            hazards[k] = self.family[k][self.family_of] * self.own * self._theta(k)[self.player] * last_week
        age_days = np.maximum(h.age_hours[h.last] / 24.0, 1.0)
        shares = np.zeros((h.n_beds, len(CAUSES)))
        shares[:, BREAKS], shares[:, DEAD] = hazards["breaks"], hazards["goes_dead"]
        shares[:, MISHIT] = self.mishit_per_hour * np.maximum(self.hours_played, 0.1) / age_days
        shares[:, OTHER] = self.other.rate_at_end
        shares /= shares.sum(axis=1, keepdims=True)
        self.responsibility[is_unknown] = shares[is_unknown]
        if is_other_learned:
            self.other = self.at_risk.learn(self.responsibility[:, OTHER])

    def _time_last_stretches(self) -> None:
        """A bed that ended in play was in for a part of its last stretch alone."""
        h = self.h
        stretch = np.zeros(h.n_beds)
        for k in LIMITS:
            _, in_it = sums_from(self.bare[k] * self.factor[k], h, self.last_play)
            stretch += in_it * self.family[k][self.family_of] * self.own * self._theta(k)[self.player]
        in_play = self.responsibility[:, (BREAKS, DEAD, MISHIT)].sum(axis=1)
        self.outlasted = 1.0 - in_play * (1.0 - part_outlasted(stretch))
        self.lived = np.where(self.in_last_stretch, self.outlasted[h.bed], 1.0)

    def _learn_limit(self, limit: str) -> tuple[np.ndarray, np.ndarray]:
        """Families, players, who reports and inspections of one limit. Gives (n_rackets,) endings, and those
        expected."""
        h, player, family_of, n_players = self.h, self.player, self.family_of, self.n_players
        added = self.bare[limit] * self.factor[limit] * self.lived
        exposed = np.add.reduceat(added, h.first) * self.taught[limit] if h.n_beds else np.zeros(0)
        ended, strength = self._ended(limit), self.strength[limit]
        by_player = np.bincount(player, ended, n_players + 1)
        by_family = np.bincount(family_of, ended, self.n_families)
        prior = self.shapes.strength_family
        for _ in range(3):
            # family: the player's expected multiplier weighs the exposure
            expected = np.bincount(family_of, exposed * self.own * self._theta(limit)[player], self.n_families)
            self.family[limit] = (prior + by_family) / (prior + expected)
            exposure = np.bincount(player, exposed * self.own * self.family[limit][family_of], n_players + 1)
            self.a[limit], self.b[limit] = strength + by_player, strength + exposure
            self.a[limit][n_players] = self.b[limit][n_players] = strength
            if limit == "goes_dead":
                self._learn_who_reports(by_player, exposure)
        self.endings_family[limit] = by_family
        theta, family = self._theta(limit), self.family[limit][family_of]
        of_racket = (
            np.bincount(h.racket, ended, self.n_rackets),
            np.bincount(h.racket, exposed * family * theta[player], self.n_rackets),
        )
        if len(seen := self.looked.at):
            scale = (family * self.own * theta[player] * self.taught[limit])[h.bed[seen]]
            expected = self.bare[limit][seen] * self.lived[seen] * scale
            ended_there = _at_end(h, seen, ended)
            self.looks[limit] = self.looked.learned(
                limit, expected, ended_there, self.looks[limit], self.shapes.look_prior
            )
        return of_racket

    def _learn_who_reports(self, ended: np.ndarray, exposure: np.ndarray) -> None:
        """Who has complained reports; who never has may be one who never does. (n_players + 1,) arrays."""
        strength, share = self.strength["goes_dead"], self.shapes.share_reporting
        silent = np.power(strength / (strength + exposure), strength)
        self.reports = np.where(ended > 0.5, 1.0, share * silent / (share * silent + 1.0 - share))
        self.reports[self.n_players] = share

    def learned(self, rounds: int) -> Learned:
        """The posterior, with the club's own baseline and level in it."""
        self._put_inspections_in_force()
        level, baseline, expected, parts = {}, {}, {}, _parts(self.h)
        for k in LIMITS:
            expected[k], baseline[k] = self._learn_baseline(k, parts)
            level[k] = self._expose_to_baseline(k, parts, expected[k], baseline[k])
        looked = self.looked
        return Learned(
            shapes=self.shapes,
            exposure=self.exposure,
            family=self.family,
            a=self.a,
            b=self.b,
            reports=self.reports,
            looks=self.looks,
            responsibility=self.responsibility,
            factor=self.factor,
            mishit_per_hour=self.mishit_per_hour,
            other=self.other,
            rounds=rounds,
            endings_family=self.endings_family,
            level=level,
            baseline=baseline,
            expected=expected,
            racket=self.own,
            racket_code=self.h.racket,
            look_endings={k: looked.counted(k, _at_end(self.h, looked.at, self._ended(k))) for k in LIMITS},
            outlasted=self.outlasted,
        )

    def _learn_baseline(self, limit: str, parts: Parts) -> tuple[np.ndarray, Baseline]:
        """(n_steps,) expected hazard so far, and what is left over between it and the club's endings."""
        h, player, ended = self.h, self.player, self._ended(limit)
        mean = self.a[limit] / self.b[limit]
        of_bed = mean[player] * self.family[limit][self.family_of] * self.own
        so_far, lasted = np.zeros(len(h.day)), np.zeros(h.n_beds)
        for steps, beds in parts:
            in_force = self.bare[limit][steps] * self.factor[limit][steps] * self.lived[steps]
            lasted[beds] = np.add.reduceat(in_force, h.first[beds] - steps.start)
            so_far[steps] = _cumulative(in_force * of_bed[h.bed[steps]], h, steps, beds)
        # each bed is held against what its player's OTHER beds say: its own ending would make it look as expected
        alone = lasted * self.taught[limit] * self.own * self.family[limit][self.family_of]
        others = (self.a[limit][player] - ended) / np.maximum(self.b[limit][player] - alone, 1e-9) / mean[player]
        counts, expected = self._counts(limit), np.zeros(len(EDGES))
        for steps, _ in parts:
            bed = h.bed[steps]
            scale = others[bed]
            expected += expected_in_bins(_before(h, so_far, steps) * scale, so_far[steps] * scale, counts[bed])
        at_end = so_far[h.last] if h.n_beds else lasted
        return so_far, learn_baseline(expected, at_end * others, ended)

    def _expose_to_baseline(self, limit: str, parts: Parts, so_far: np.ndarray, baseline: Baseline) -> Level:
        """The players' posterior with the club's own baseline in the exposure, and the level of the newest weeks."""
        h, player, n_players, strength = self.h, self.player, self.n_players, self.strength[limit]
        unit = self.taught[limit] / (self.a[limit] / self.b[limit])[player]
        counts, exposure, drift = self._counts(limit), np.zeros(n_players + 1), _Drift(h)
        for steps, beds in parts:
            warped = baseline.warped(so_far[steps]) - baseline.warped(_before(h, so_far, steps))
            by_bed = np.add.reduceat(warped, h.first[beds] - steps.start) * unit[beds]
            exposure += np.bincount(player[beds], by_bed, n_players + 1)
            drift.expect(steps, warped * counts[h.bed[steps]])
        self.b[limit] = np.where(np.arange(n_players + 1) < n_players, strength + exposure, strength)
        return drift.level(self._ended(limit))

    def _counts(self, limit: str) -> np.ndarray:
        """(n_beds,) how far an ending by this limit would be heard of."""
        return np.asarray(self.taught[limit] * (self.reports[self.player] if limit == "goes_dead" else 1.0))


def _at_end(h: History, steps: np.ndarray, ended: np.ndarray) -> np.ndarray:
    """(m,) how far the bed of each of these steps ended at it."""
    bed = h.bed[steps]
    return np.where(h.last[bed] == steps, ended[bed], 0.0)


def _parts(h: History) -> Parts:
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
