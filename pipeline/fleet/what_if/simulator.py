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

from pipeline.fleet.outlook import looks_now
from pipeline.fleet.play import weekly_play
from pipeline.fleet.snapshot import Snapshot
from pipeline.fleet.what_if.weekly_paths import (
    SMALL,
    around_one,
    day_reached,
    gamma_draws,
    load_draws,
    share_draws,
    value_at,
)
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
    h, learned, shapes = s.estimate.history, s.estimate.learned, s.estimate.learned.shapes
    n, horizon = len(rackets), float(n_weeks * 7)
    rng = np.random.default_rng([seed, 0])
    position = pd.Series(np.arange(h.n_beds), index=h.beds["bed_id"])
    index = position.loc[rackets["bed_id"]].to_numpy(dtype=np.int64)
    last = h.last[index]
    players = {p: i for i, p in enumerate(h.players)}
    squads = {q: i for i, q in enumerate(h.squads)}
    player = np.array([players.get(p, len(players)) for p in rackets["player_id"]], dtype=np.int64)
    squad = np.array([squads.get(q, len(squads)) for q in rackets["squad"]], dtype=np.int64)
    play = s.play_ahead(n_weeks * 7)
    base = weekly_play(play, h.players, n_weeks)
    load = load_draws(play, len(players) + 1, draws, n_weeks, rng)
    expected = rackets["share"].to_numpy(dtype=float)
    share = share_draws(expected, player, len(players) + 1, draws, rng)
    hours = np.zeros((n, draws, n_weeks + 1), dtype=np.float32)
    np.cumsum(base["hours"][player][:, None, :] * load[player] * share[:, :, None], axis=2, out=hours[:, :, 1:])
    flat = hours.reshape(n * draws, n_weeks + 1)
    total = np.maximum(base["hours"].sum(axis=1), SMALL)
    abrasion = np.maximum(base["abrasion"].sum(axis=1) / total, SMALL)[player]
    playability = (base["playability"].sum(axis=1) / total)[player]

    theta, level = {}, {}
    for limit in ("breaks", "goes_dead"):
        now = s.past.levels[limit]
        theta[limit] = gamma_draws(learned.a[limit], learned.b[limit], draws, rng)[player]
        theta[limit] = theta[limit] * now.level * around_one(now.spread, (1, draws), rng)
        level[limit] = (learned.a[limit] / learned.b[limit])[player] * learned.racket[index]
    reports = (rng.random((len(players) + 1, draws)) < learned.reports[:, None])[player]
    theta["goes_dead"] = np.where(reports, theta["goes_dead"], SMALL)
    mean = {k: (learned.a[k] / learned.b[k])[player] for k in theta}

    old, new = _beds_now(s, index), _beds_new(s, scenario.strung)
    family = {k: _family_draws(s, k, h.beds["family"].to_numpy()[index], draws, seed) for k in theta}
    family_new = {k: _family_draws(s, k, scenario.strung.beds["family"].to_numpy(), draws, seed) for k in theta}
    scale_old = np.power(_family_mean(s, h.beds["family"].to_numpy()[index]), 1.0 / shapes.shape_breaks)
    scale_new = np.power(_family_mean(s, scenario.strung.beds["family"].to_numpy()), 1.0 / shapes.shape_breaks)

    in_play = (rackets["status"] == "in_play").to_numpy()
    looks = looks_now(h, learned, rackets)
    start = np.zeros((n, draws))
    waiting = ~in_play
    if waiting.any():
        waited = np.nan_to_num(rackets["waiting_days"].to_numpy(dtype=float))[waiting]
        start[waiting] = s.way.still_waiting(waited, draws, rng)

    out = {name: np.zeros(n * draws) for name in ("jobs", "breaks", "dead_hours")}
    life_hours: list[np.ndarray] = []
    life_cause: list[np.ndarray] = []
    cell = np.arange(n * draws)
    t0 = start.ravel()
    fresh = np.repeat(waiting, draws)
    np.add.at(out["jobs"], cell[fresh & (t0 < horizon)], 1.0)
    grid = np.arange(n_weeks + 1) * 7.0
    for generation in range(MOST_BEDS):
        alive = t0 < horizon
        cell, t0, fresh = cell[alive], t0[alive], fresh[alive]
        if not len(cell):
            break
        chance = _chances(seed, generation, n * draws, cell)
        r, d = cell // draws, cell % draws
        bed = {k: np.where(fresh, new[k][r], old[k][r]) for k in ("break_hours", "dead_hours", "rest")}
        used = {k: np.where(fresh, 0.0, v[last][r]) for k, v in (
            ("hours", h.hours), ("breaks", h.abrasion), ("goes_dead", h.playability), ("age", h.age_hours)
        )}  # fmt: skip
        path = flat[cell]
        h_start = value_at(path, t0)
        x0 = {
            "breaks": life_used_breaks(used["breaks"], bed["break_hours"]),
            "goes_dead": life_used_dead(used["goes_dead"], used["age"], bed["dead_hours"], bed["rest"]),
        }
        x_end = {}
        for limit, shape in (("breaks", shapes.shape_breaks), ("goes_dead", shapes.shape_dead)):
            f = np.where(fresh, family_new[limit][r, d], family[limit][r, d])
            seen = np.where(fresh, 1.0, np.exp(0.5 * looks[limit][r]))
            unit = level[limit][r] * f * seen
            u0 = np.where(fresh, 0.0, learned.expected[limit][last][r])
            warp = learned.baseline[limit]
            grown = warp.unwarped(warp.warped(u0) + mean[limit][r] * chance[limit] / theta[limit].ravel()[cell]) - u0
            x_end[limit] = np.power(np.power(x0[limit], shape) + grown / (LN2 * unit), 1.0 / shape)
        left = np.minimum(
            (x_end["breaks"] - x0["breaks"]) * bed["break_hours"] / abrasion[r],
            chance["mishit"] / learned.mishit_per_hour,
        )
        t_break = day_reached(path, h_start + left)
        since = used["age"][:, None] + 24.0 * np.maximum(grid[None, :] - t0[:, None], 0.0)
        added = np.maximum(path - h_start[:, None], 0.0)
        x_dead = (used["goes_dead"] / bed["dead_hours"])[:, None]
        x_dead = x_dead + added * (playability[r] / bed["dead_hours"])[:, None]
        x_dead = np.maximum.accumulate(x_dead + bed["rest"][:, None] * np.log10(1.0 + since), axis=1)
        t_feel = np.maximum(day_reached(x_dead, x_end["goes_dead"]), t0)
        truly_dead = np.maximum(day_reached(x_dead, np.power(chance["dead"] / LN2, 1.0 / shapes.shape_dead)), t0)
        scale = np.where(fresh, scale_new[r], scale_old[r])
        x_break = (x0["breaks"][:, None] + added * (abrasion[r] / bed["break_hours"])[:, None]) * scale[:, None]
        t_other = _other(s, r, t0, used["age"], x_dead, grid, squad, player, chance["other"])
        t_plan = _planned(scenario.policy, path, h_start, used["hours"], np.maximum(x_break, x_dead), t0, events[r])
        times = np.stack([t_break, t_feel, t_other, t_plan])
        cause = np.argmin(times, axis=0)
        t_end = times[cause, np.arange(len(cell))]
        stop = np.minimum(t_end, horizon)
        played = value_at(path, stop) - h_start
        np.add.at(out["breaks"], cell[(cause == BREAKS) & (t_end < horizon)], 1.0)
        np.add.at(
            out["dead_hours"],
            cell,
            np.maximum(value_at(path, stop) - value_at(path, np.minimum(truly_dead, stop)), 0.0),
        )
        life_hours.append(played[fresh])
        life_cause.append(np.where(t_end < horizon, cause, -1)[fresh])
        wear_lag = _pick(s.way.after_wear, chance["lag"]) + _pick(s.way.unseen, chance["unseen"])
        lag = np.select([cause == PLANNED, cause == OTHER], [0.0, _pick(s.way.after_other, chance["lag"])], wear_lag)
        t_strung = np.where(np.isfinite(t_end), np.floor(t_end) + lag, np.inf)
        t_strung = s.way.past_closed_days(t_strung, chance["open"])
        # strung overnight for the next day; for an event, on its eve and in time for it
        overnight = 0.0 if scenario.policy.before_events_from is not None else 1.0
        t_strung = np.where(cause == PLANNED, np.floor(t_end) + overnight, t_strung)
        np.add.at(out["jobs"], cell[t_strung < horizon], 1.0)
        t0, fresh = t_strung, np.ones(len(cell), dtype=bool)
    else:
        raise ValueError(
            "so often a restring is more than this can follow: choose more hours or a larger part of life."
        )
    shape2 = (n, draws)
    return Outcome(
        out["jobs"].reshape(shape2),
        out["breaks"].reshape(shape2),
        hours[:, :, -1].astype(float),
        out["dead_hours"].reshape(shape2),
        np.concatenate(life_hours) if life_hours else np.zeros(0),
        np.concatenate(life_cause) if life_cause else np.zeros(0, dtype=np.int64),
    )


def _chances(seed: int, generation: int, size: int, cell: np.ndarray) -> dict[str, np.ndarray]:
    """The random numbers of one generation of beds: drawn for every racket and draw, taken for those still going."""
    rng = np.random.default_rng([seed, 1, generation])
    out = {name: rng.exponential(size=size)[cell] for name in ("breaks", "goes_dead", "mishit", "other", "dead")}
    return out | {name: rng.random(size)[cell] for name in ("lag", "unseen", "open")}


def _pick(values: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """An entry of values for each chance in 0..1; values in order, so that a greater chance is a longer wait."""
    ordered = np.sort(values)
    return np.asarray(ordered[np.minimum((chance * len(ordered)).astype(np.int64), len(ordered) - 1)])


def _beds_now(s: Snapshot, index: np.ndarray) -> dict[str, np.ndarray]:
    lives = s.estimate.learned.exposure.lives
    rest = s.estimate.learned.shapes.rest_scale * lives.rest[index]
    return {"break_hours": lives.break_hours[index], "dead_hours": lives.dead_hours[index], "rest": rest}


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


def _other(
    s: Snapshot,
    r: np.ndarray,
    t0: np.ndarray,
    age: np.ndarray,
    x_dead: np.ndarray,
    grid: np.ndarray,
    squad: np.ndarray,
    player: np.ndarray,
    chance: np.ndarray,
) -> np.ndarray:
    """Day of a restring that neither wear nor the policy asked for: the club's habits, as learned."""
    since = grid[None, :-1] + 3.5 - t0[:, None]
    age_days = np.maximum(age[:, None] / 24.0 + since, 0.0)
    wear = 0.5 * (x_dead[:, :-1] + x_dead[:, 1:])
    rate = s.estimate.learned.other.rate(squad[r][:, None], player[r][:, None], age_days, wear)
    active = np.clip(grid[None, 1:] - t0[:, None], 0.0, 7.0)
    path = np.concatenate([np.zeros((len(r), 1)), np.cumsum(rate * active, axis=1)], axis=1)
    return np.maximum(day_reached(path, chance), t0)


def _planned(
    policy: Policy,
    path: np.ndarray,
    h_start: np.ndarray,
    hours_on_bed: np.ndarray,
    x: np.ndarray,
    t0: np.ndarray,
    events: np.ndarray,
) -> np.ndarray:
    """Day on which the policy cuts a bed out; inf where it does not. x: (beds, weeks + 1) the further limit's life."""
    t = np.full(len(t0), np.inf)
    if policy.hours is not None:
        t = np.minimum(t, np.maximum(day_reached(path, h_start + np.maximum(policy.hours - hours_on_bed, 0.0)), t0))
    if policy.life is not None:
        t = np.minimum(t, np.maximum(day_reached(np.maximum.accumulate(x, axis=1), np.full(len(t0), policy.life)), t0))
    if policy.before_events_from is not None:
        ready = np.maximum(
            day_reached(np.maximum.accumulate(x, axis=1), np.full(len(t0), policy.before_events_from)), t0
        )
        after = np.where((events >= ready[:, None]) & (events > t0[:, None]), events, np.inf)
        t = np.minimum(t, after.min(axis=1, initial=np.inf))
    return t
