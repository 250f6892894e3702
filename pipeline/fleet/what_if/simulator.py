"""Rackets simulated under a set-up and a restring policy, with random numbers shared between the ways compared.

In: a Snapshot, the rackets asked about, a Scenario. Out: Outcome, what each draw of the coming weeks brought. It is the
fleet simulation of the forecast (`fleet.simulation`) for some rackets, with three things more: fresh beds may be of
another string, a bed may be cut out at a chosen point, and the play on dead beds is kept. The random numbers of a bed
depend on its racket, draw and place in the row of beds alone, so that two scenarios differ by what was changed and not
by chance (common random numbers). Times are days after the origin; play inside a week is taken as even.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.snapshot import Snapshot
from pipeline.fleet.standing import standing, week_of_play
from pipeline.fleet.what_if.weekly_paths import (
    SMALL,
    around_one,
    day_reached,
    gamma_draws,
    load_draws,
    share_draws,
    value_at,
)
from pipeline.wear.learning import LIMITS
from pipeline.wear.limits import LN2, life_used_breaks, life_used_dead, lives_of

BREAKS, LOST_FEEL, OTHER, PLANNED = range(4)  # why a bed ended
MOST_BEDS = 200  # of one racket in one draw: a policy that restrings more often is refused
NEW_FAMILY_STRENGTH = 2.0  # endings that the prior of materials not strung here weighs, as in learning


@dataclass(frozen=True)
class Policy:
    """When a bed is cut out on purpose: after hours of play on it, at a part of its life used (the further of the two
    limits), or on the eve of events once that part is used. All None: as the club does now.
    """

    hours: float | None = None
    life: float | None = None
    before_events_from: float | None = None


@dataclass(frozen=True)
class Strung:
    """What fresh beds are made of, one entry a racket: the columns that `lives_of` reads, and family
    (mains/crosses material).
    """

    beds: pd.DataFrame


@dataclass(frozen=True)
class Scenario:
    """A way to go on."""

    strung: Strung
    policy: Policy


@dataclass(frozen=True)
class Outcome:
    """(rackets, draws) each: jobs, breaks (beds broken in play), hours played, hours on dead beds. lives: hours and
    cause of the fresh beds, for the cheapest point: arrays hours, cause (-1: still in at the horizon).
    """

    jobs: np.ndarray
    breaks: np.ndarray
    hours: np.ndarray
    dead_hours: np.ndarray
    life_hours: np.ndarray
    life_cause: np.ndarray


def simulate_scenario(
    s: Snapshot, rackets: pd.DataFrame, scenario: Scenario, events: np.ndarray, n_weeks: int, draws: int, seed: int
) -> Outcome:
    """rackets: rows of s.rackets with a bed, in order. events: (rackets, n) eves of events in days, padded with inf."""
    return _Run(s, rackets, scenario, events, n_weeks, draws, seed).outcome()


@dataclass(frozen=True)
class _Beds:
    """Beds that come in one after the other, one of each racket and draw that still goes on, (m,) arrays.

    cell: racket * draws + draw. day, hours: when each comes in, in days and in hours of play so far. path: (m, weeks +
    1) hours of play on the racket. break_hours, dead_hours, rest: what it is made of. hours_on, age_hours, used: what
    has been played on it when it comes in, its age, limit -> reference hours. x: limit -> life used.
    """

    cell: np.ndarray
    racket: np.ndarray
    draw: np.ndarray
    day: np.ndarray
    is_fresh: np.ndarray
    path: np.ndarray
    hours: np.ndarray
    break_hours: np.ndarray
    dead_hours: np.ndarray
    rest: np.ndarray
    hours_on: np.ndarray
    age_hours: np.ndarray
    used: dict[str, np.ndarray]
    x: dict[str, np.ndarray]


class _Run:
    """One scenario: what is the same for all beds, and what has come of those played so far.

    By racket and draw: theta (limit -> the player's multiplier as drawn), family and family_new (limit -> that of the
    materials). By racket: mean and unit (limit -> the player's mean multiplier, and with the racket's own), scale and
    scale_new (what makes life used towards breaking one of this club's).
    """

    def __init__(
        self, s: Snapshot, rackets: pd.DataFrame, scenario: Scenario, events: np.ndarray, n_weeks: int, draws: int,
        seed: int,
    ) -> None:  # fmt: skip
        h, learned = s.estimate.history, s.estimate.learned
        self.s, self.scenario, self.events, self.seed = s, scenario, events, seed
        self.size, self.grid = (len(rackets), draws), np.arange(n_weeks + 1) * 7.0
        self.horizon = float(n_weeks * 7)
        rng = np.random.default_rng([seed, 0])
        now = standing(h, learned, rackets)
        self.last = h.last[now.index]
        self.player, self.squad, self.look_now = now.player, now.squad, now.look_now
        self._draw_play(now.share, rng)
        self._draw_players(now.index, rng)
        families, families_new = h.beds["family"].to_numpy()[now.index], scenario.strung.beds["family"].to_numpy()
        self.old = {"break_hours": now.life["breaks"], "dead_hours": now.life["goes_dead"], "rest": now.rest}
        self.new = _beds_new(s, scenario.strung)
        self.family = {k: _family_draws(s, k, families, draws, seed) for k in LIMITS}
        self.family_new = {k: _family_draws(s, k, families_new, draws, seed) for k in LIMITS}
        self.scale, self.scale_new = (
            np.power(_family_mean(s, f), 1.0 / learned.shapes.shape_breaks) for f in (families, families_new)
        )
        self.waits = ~now.in_play
        self.start = np.zeros(self.size)
        if self.waits.any():
            waited = np.nan_to_num(rackets["waiting_days"].to_numpy(dtype=float))[self.waits]
            self.start[self.waits] = s.way.still_waiting(waited, draws, rng)
        self.jobs, self.breaks, self.dead_hours = (np.zeros(len(rackets) * draws) for _ in range(3))
        self.life_hours: list[np.ndarray] = []
        self.life_cause: list[np.ndarray] = []

    def _draw_play(self, share: np.ndarray, rng: np.random.Generator) -> None:
        """Set hours, (rackets, draws, weeks + 1) cumulative, and per_hour, limit -> reference hours in one of them."""
        (n, draws), n_weeks, players = self.size, len(self.grid) - 1, self.s.estimate.history.players
        play = self.s.play_ahead(n_weeks * 7)
        week = week_of_play(play, players, n_weeks)
        load = load_draws(play, len(players) + 1, draws, n_weeks, rng)
        shares = share_draws(share, self.player, len(players) + 1, draws, rng)
        self.hours = np.zeros((n, draws, n_weeks + 1), dtype=np.float32)
        weekly = week.hours[self.player][:, None, :] * load[self.player] * shares[:, :, None]
        np.cumsum(weekly, axis=2, out=self.hours[:, :, 1:])
        self.per_hour = {k: v[self.player] for k, v in week.per_hour.items()}

    def _draw_players(self, index: np.ndarray, rng: np.random.Generator) -> None:
        learned, draws, player = self.s.estimate.learned, self.size[1], self.player
        self.theta = {}
        for k in LIMITS:
            level = self.s.past.levels[k]
            drawn = gamma_draws(learned.a[k], learned.b[k], draws, rng)[player]
            self.theta[k] = drawn * level.level * around_one(level.spread, (1, draws), rng)
        reports = (rng.random((len(learned.reports), draws)) < learned.reports[:, None])[player]
        self.theta["goes_dead"] = np.where(reports, self.theta["goes_dead"], SMALL)
        self.mean = {k: (learned.a[k] / learned.b[k])[player] for k in LIMITS}
        self.unit = {k: self.mean[k] * learned.racket[index] for k in LIMITS}

    def outcome(self) -> Outcome:
        """Bed after bed until the horizon. Raises ValueError where a policy asks for more than can be followed."""
        cell, day, is_fresh = np.arange(self.jobs.size), self.start.ravel(), np.repeat(self.waits, self.size[1])
        np.add.at(self.jobs, cell[is_fresh & (day < self.horizon)], 1.0)
        for generation in range(MOST_BEDS):
            alive = day < self.horizon
            cell, is_fresh = cell[alive], is_fresh[alive]
            if not len(cell):
                break
            beds = self._beds(cell, day[alive], is_fresh)
            day = self._play(beds, _chances(self.seed, generation, self.jobs.size, cell))
            is_fresh = np.ones(len(cell), dtype=bool)
        else:
            raise ValueError(
                "so often a restring is more than this can follow: choose more hours or a larger part of life."
            )
        return Outcome(
            self.jobs.reshape(self.size),
            self.breaks.reshape(self.size),
            self.hours[:, :, -1].astype(float),
            self.dead_hours.reshape(self.size),
            np.concatenate(self.life_hours) if self.life_hours else np.zeros(0),
            np.concatenate(self.life_cause) if self.life_cause else np.zeros(0, dtype=np.int64),
        )

    def _beds(self, cell: np.ndarray, day: np.ndarray, is_fresh: np.ndarray) -> _Beds:
        h, racket = self.s.estimate.history, cell // self.size[1]
        made = {k: np.where(is_fresh, self.new[k][racket], self.old[k][racket]) for k in self.old}
        on, abrasion, playability, age = (
            np.where(is_fresh, 0.0, v[self.last][racket]) for v in (h.hours, h.abrasion, h.playability, h.age_hours)
        )
        path = self.hours.reshape(-1, len(self.grid))[cell]
        x = {
            "breaks": life_used_breaks(abrasion, made["break_hours"]),
            "goes_dead": life_used_dead(playability, age, made["dead_hours"], made["rest"]),
        }
        return _Beds(
            cell, racket, cell % self.size[1], day, is_fresh, path, value_at(path, day), **made, hours_on=on,
            age_hours=age, used={"breaks": abrasion, "goes_dead": playability}, x=x,
        )  # fmt: skip

    def _x_at_end(self, limit: str, beds: _Beds, chance: np.ndarray) -> np.ndarray:
        """(m,) life used at which this limit ends each bed, given that it has lasted so far."""
        learned, r, d = self.s.estimate.learned, beds.racket, beds.draw
        shape = learned.exposure.shape[limit]
        family = np.where(beds.is_fresh, self.family_new[limit][r, d], self.family[limit][r, d])
        seen = np.where(beds.is_fresh, 1.0, self.look_now[limit][r])
        unit = self.unit[limit][r] * family * seen
        u0 = np.where(beds.is_fresh, 0.0, learned.expected[limit][self.last][r])
        warp = learned.baseline[limit]
        hazard = self.mean[limit][r] * chance / self.theta[limit].ravel()[beds.cell]
        grown = warp.unwarped(warp.warped(u0) + hazard) - u0
        return np.asarray(np.power(np.power(beds.x[limit], shape) + grown / (LN2 * unit), 1.0 / shape))

    def _life_ahead(self, beds: _Beds) -> tuple[np.ndarray, np.ndarray]:
        """(m, weeks + 1) life used at the ends of weeks: towards breaking as this club's beds do, and towards dead."""
        r = beds.racket
        added = np.maximum(beds.path - beds.hours[:, None], 0.0)
        age = beds.age_hours[:, None] + 24.0 * np.maximum(self.grid[None, :] - beds.day[:, None], 0.0)
        x_dead = (beds.used["goes_dead"] / beds.dead_hours)[:, None]
        x_dead = x_dead + added * (self.per_hour["goes_dead"][r] / beds.dead_hours)[:, None]
        x_dead = np.maximum.accumulate(x_dead + beds.rest[:, None] * np.log10(1.0 + age), axis=1)
        scale = np.where(beds.is_fresh, self.scale_new[r], self.scale[r])
        x_break = beds.x["breaks"][:, None] + added * (self.per_hour["breaks"][r] / beds.break_hours)[:, None]
        return x_break * scale[:, None], x_dead

    def _play(self, beds: _Beds, chance: dict[str, np.ndarray]) -> np.ndarray:
        """Play the beds to their ends and count what came of it; (m,) day on which each racket is strung again."""
        learned, r, policy = self.s.estimate.learned, beds.racket, self.scenario.policy
        more = self._x_at_end("breaks", beds, chance["breaks"]) - beds.x["breaks"]
        hours_left = np.minimum(
            more * beds.break_hours / self.per_hour["breaks"][r], chance["mishit"] / learned.mishit_per_hour
        )
        x_break, x_dead = self._life_ahead(beds)
        dead_at = np.power(chance["dead"] / LN2, 1.0 / learned.shapes.shape_dead)
        lost_feel, is_dead = (
            np.maximum(day_reached(x_dead, x), beds.day)
            for x in (self._x_at_end("goes_dead", beds, chance["goes_dead"]), dead_at)
        )
        ends = np.stack(
            [
                day_reached(beds.path, beds.hours + hours_left),
                lost_feel,
                self._other(beds, x_dead, chance["other"]),
                _planned(policy, beds, np.maximum(x_break, x_dead), self.events[r]),
            ]
        )
        cause = np.argmin(ends, axis=0)
        end = ends[cause, np.arange(len(cause))]
        self._count(beds, cause, end, is_dead)
        strung = self._strung_again(cause, end, chance)
        np.add.at(self.jobs, beds.cell[strung < self.horizon], 1.0)
        return strung

    def _count(self, beds: _Beds, cause: np.ndarray, end: np.ndarray, is_dead: np.ndarray) -> None:
        stop, has_ended = np.minimum(end, self.horizon), end < self.horizon
        hours = value_at(beds.path, stop)
        np.add.at(self.breaks, beds.cell[(cause == BREAKS) & has_ended], 1.0)
        on_dead = np.maximum(hours - value_at(beds.path, np.minimum(is_dead, stop)), 0.0)
        np.add.at(self.dead_hours, beds.cell, on_dead)
        self.life_hours.append((hours - beds.hours)[beds.is_fresh])
        self.life_cause.append(np.where(has_ended, cause, -1)[beds.is_fresh])

    def _strung_again(self, cause: np.ndarray, end: np.ndarray, chance: dict[str, np.ndarray]) -> np.ndarray:
        way = self.s.way
        after_wear = _pick(way.after_wear, chance["lag"]) + _pick(way.unseen, chance["unseen"])
        lag = np.select([cause == PLANNED, cause == OTHER], [0.0, _pick(way.after_other, chance["lag"])], after_wear)
        strung = way.past_closed_days(np.where(np.isfinite(end), np.floor(end) + lag, np.inf), chance["open"])
        # strung overnight for the next day; for an event, on its eve and in time for it
        overnight = 0.0 if self.scenario.policy.before_events_from is not None else 1.0
        return np.where(cause == PLANNED, np.floor(end) + overnight, strung)

    def _other(self, beds: _Beds, x_dead: np.ndarray, chance: np.ndarray) -> np.ndarray:
        """(m,) day of a restring that neither wear nor the policy asked for: the club's habits, as learned."""
        r, grid, day = beds.racket, self.grid, beds.day[:, None]
        age_days = np.maximum(beds.age_hours[:, None] / 24.0 + (grid[None, :-1] + 3.5 - day), 0.0)
        wear = 0.5 * (x_dead[:, :-1] + x_dead[:, 1:])
        other = self.s.estimate.learned.other
        rate = other.rate(self.squad[r][:, None], self.player[r][:, None], age_days, wear)
        active = np.clip(grid[None, 1:] - day, 0.0, 7.0)
        path = np.concatenate([np.zeros((len(r), 1)), np.cumsum(rate * active, axis=1)], axis=1)
        return np.maximum(day_reached(path, chance), beds.day)


def _chances(seed: int, generation: int, size: int, cell: np.ndarray) -> dict[str, np.ndarray]:
    """The random numbers of one generation of beds: drawn for every racket and draw, taken for those still going."""
    rng = np.random.default_rng([seed, 1, generation])
    out = {name: rng.exponential(size=size)[cell] for name in ("breaks", "goes_dead", "mishit", "other", "dead")}
    return out | {name: rng.random(size)[cell] for name in ("lag", "unseen", "open")}


def _pick(values: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """An entry of values for each chance in 0..1; values in order, so that a greater chance is a longer wait."""
    ordered = np.sort(values)
    return np.asarray(ordered[np.minimum((chance * len(ordered)).astype(np.int64), len(ordered) - 1)])


def _beds_new(s: Snapshot, strung: Strung) -> dict[str, np.ndarray]:
    shapes = s.estimate.learned.shapes
    lives = lives_of(strung.beds, dict(shapes.bed_effects))
    return {
        "break_hours": lives.break_hours, "dead_hours": lives.dead_hours, "rest": shapes.rest_scale * lives.rest,
    }  # fmt: skip


def _family_mean(s: Snapshot, families: np.ndarray) -> np.ndarray:
    known = dict(zip(s.estimate.history.families, s.estimate.learned.family["breaks"], strict=True))
    return np.array([float(known.get(f, 1.0)) for f in families])


def _family_draws(s: Snapshot, limit: str, families: np.ndarray, draws: int, seed: int) -> np.ndarray:
    """(rackets, draws) multiplier of the materials, as uncertain as the club's endings of them leave it; the same
    materials get the same numbers in every scenario.
    """
    h, learned = s.estimate.history, s.estimate.learned
    place = {family: i for i, family in enumerate(h.families)}
    endings = learned.endings_family.get(limit)
    rows = {}
    for family in sorted({str(f) for f in families}):
        rng = np.random.default_rng([seed, 2, *family.encode()])
        i = place.get(family)
        strength = NEW_FAMILY_STRENGTH + (float(endings[i]) if i is not None and endings is not None else 0.0)
        centre = float(learned.family[limit][i]) if i is not None else 1.0
        # the mean time to an ending stays what it is on average: the spread is put on the log
        rows[family] = centre * np.exp(rng.standard_normal(draws) / np.sqrt(strength + 1.0))
    return np.stack([rows[str(f)] for f in families]) if len(families) else np.zeros((0, draws))


def _planned(policy: Policy, beds: _Beds, x: np.ndarray, events: np.ndarray) -> np.ndarray:
    """Day on which the policy cuts a bed out; inf where it does not. x: (m, weeks + 1) the further limit's life."""
    t = np.full(len(beds.day), np.inf)
    if policy.hours is not None:
        more = np.maximum(policy.hours - beds.hours_on, 0.0)
        t = np.minimum(t, np.maximum(day_reached(beds.path, beds.hours + more), beds.day))

    def reached(part: float) -> np.ndarray:
        return np.maximum(day_reached(np.maximum.accumulate(x, axis=1), np.full(len(t), part)), beds.day)

    if policy.life is not None:
        t = np.minimum(t, reached(policy.life))
    if policy.before_events_from is not None:
        ready = reached(policy.before_events_from)
        after = np.where((events >= ready[:, None]) & (events > beds.day[:, None]), events, np.inf)
        t = np.minimum(t, after.min(axis=1, initial=np.inf))
    return t
