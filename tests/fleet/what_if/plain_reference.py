"""The what-if simulator once more, one bed after another with plain numbers: slow, and easy to read beside its rules.

In: what `simulate_scenario` takes. Out: jobs, breaks, hours, dead hours by racket and draw, and the fresh beds' lives.
It draws the same random numbers (in the order that the simulator documents: loads, shares, players' multipliers, who
reports, waiting; then by generation of beds), and works everything else out on its own, without arrays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.fleet.outlook import looks_now
from pipeline.fleet.play import weekly_play
from pipeline.fleet.snapshot import Snapshot
from pipeline.fleet.what_if.simulator import Scenario
from pipeline.fleet.what_if.weekly_paths import around_one, gamma_draws, load_draws, share_draws
from pipeline.wear.limits import lives_of

TINY = 1e-9


@dataclass
class Plain:
    """By (racket, draw); lives: (hours, cause) of every fresh bed."""

    jobs: np.ndarray
    breaks: np.ndarray
    hours: np.ndarray
    dead_hours: np.ndarray
    lives: list[tuple[float, int]] = field(default_factory=list)


def value(path: list[float], day: float) -> float:
    """A path of week ends at a day, even inside a week, its last value beyond."""
    week = min(int(day // 7), len(path) - 2)
    part = min(day / 7.0 - week, 1.0)
    return path[week] + (path[week + 1] - path[week]) * part


def reached(path: list[float], target: float) -> float:
    """The day on which a rising path reaches a target; inf where it does not."""
    if path[0] >= target:
        return 0.0
    for week in range(1, len(path)):
        if path[week] >= target:
            return 7.0 * (week - 1 + (target - path[week - 1]) / (path[week] - path[week - 1]))
    return math.inf


def rising(values: list[float]) -> list[float]:
    """The highest so far."""
    return [max(values[: k + 1]) for k in range(len(values))]


def one_by_one(
    s: Snapshot, rackets: pd.DataFrame, scenario: Scenario, events: np.ndarray, n_weeks: int, draws: int, seed: int
) -> Plain:
    """Every racket and draw, bed after bed."""
    h, learned = s.estimate.history, s.estimate.learned
    shapes, policy = learned.shapes, scenario.policy
    n, horizon, size = len(rackets), 7.0 * n_weeks, len(rackets) * draws
    rows = rackets.to_dict("records")
    players, squads = list(h.players), list(h.squads)
    player = [players.index(r["player_id"]) if r["player_id"] in players else len(players) for r in rows]
    squad = [squads.index(r["squad"]) if r["squad"] in squads else len(squads) for r in rows]
    bed_of = [list(h.beds["bed_id"]).index(r["bed_id"]) for r in rows]
    play = s.play_ahead(n_weeks * 7)
    base = weekly_play(play, h.players, n_weeks)
    rng = np.random.default_rng([seed, 0])
    load = load_draws(play, len(players) + 1, draws, n_weeks, rng)
    share = share_draws(
        np.array([r["share"] for r in rows], dtype=float), np.array(player), len(players) + 1, draws, rng
    )
    theta = {}
    for limit in ("breaks", "goes_dead"):
        own = gamma_draws(learned.a[limit], learned.b[limit], draws, rng)
        club = around_one(s.past.levels[limit].spread, (1, draws), rng)[0] * s.past.levels[limit].level
        theta[limit] = own * club
    reports = rng.random((len(players) + 1, draws)) < learned.reports[:, None]
    waits = [r["status"] != "in_play" for r in rows]
    start = np.zeros((n, draws))
    if any(waits):
        waited = np.array([0.0 if pd.isna(r["waiting_days"]) else r["waiting_days"] for r in rows])[waits]
        start[waits] = s.way.still_waiting(waited, draws, rng)
    looks = looks_now(h, learned, rackets)
    new_lives, old_lives = lives_of(scenario.strung.beds, dict(shapes.bed_effects)), learned.exposure.lives
    chances: list[dict[str, np.ndarray]] = []

    def chance(generation: int) -> dict[str, np.ndarray]:
        while len(chances) <= generation:
            by_bed = np.random.default_rng([seed, 1, len(chances)])
            made = {k: by_bed.exponential(size=size) for k in ("breaks", "goes_dead", "mishit", "other", "dead")}
            chances.append(made | {k: by_bed.random(size) for k in ("lag", "unseen", "open")})
        return chances[generation]

    def family(limit: str, name: str) -> np.ndarray:
        by_family = np.random.default_rng([seed, 2, *name.encode()])
        known = name in h.families
        endings = learned.endings_family.get(limit)
        at = list(h.families).index(name) if known else -1
        strength = 2.0 + (float(endings[at]) if known and endings is not None else 0.0)
        centre = float(learned.family[limit][at]) if known else 1.0
        return centre * np.exp(by_family.standard_normal(draws) / math.sqrt(strength + 1.0))

    families = {(k, f): family(k, f) for k in theta for f in {*h.beds["family"], *scenario.strung.beds["family"]}}
    breaking = dict(zip(h.families, learned.family["breaks"], strict=True))
    out = Plain(*(np.zeros((n, draws)) for _ in range(4)))

    def pick(values: np.ndarray, where: float) -> float:
        ordered = sorted(values)
        return float(ordered[min(int(where * len(ordered)), len(ordered) - 1)])

    for i in range(n):
        p, b = player[i], bed_of[i]
        last = h.last[b]
        weekly = base["hours"][p]
        total = max(float(weekly.sum()), TINY)
        abrasion = max(float(base["abrasion"][p].sum()) / total, TINY)
        playability = float(base["playability"][p].sum()) / total
        for d in range(draws):
            track = np.zeros(n_weeks + 1, dtype=np.float32)
            np.cumsum(weekly * load[p, d] * share[i, d], out=track[1:])
            path = [float(v) for v in track]
            out.hours[i, d] = path[-1]
            t0, fresh, generation, cell = float(start[i, d]), waits[i], 0, i * draws + d
            if fresh and t0 < horizon:
                out.jobs[i, d] += 1
            while t0 < horizon:
                e = {k: float(v[cell]) for k, v in chance(generation).items()}
                generation += 1
                lives, at = (new_lives, i) if fresh else (old_lives, b)
                rest = shapes.rest_scale * float(lives.rest[at])
                hours_b, hours_d = float(lives.break_hours[at]), float(lives.dead_hours[at])
                name = scenario.strung.beds["family"].iloc[i] if fresh else h.beds["family"].iloc[b]
                used = (0.0,) * 4 if fresh else tuple(
                    float(v[last]) for v in (h.hours, h.abrasion, h.playability, h.age_hours)
                )  # fmt: skip
                on_bed, used_b, used_d, age = used
                h0 = value(path, t0)
                x0 = {"breaks": used_b / hours_b, "goes_dead": used_d / hours_d + rest * math.log10(1.0 + age)}
                x_end = {}
                for limit, shape in (("breaks", shapes.shape_breaks), ("goes_dead", shapes.shape_dead)):
                    mean = float(learned.a[limit][p] / learned.b[limit][p])
                    unit = mean * float(learned.racket[b]) * float(families[limit, name][d])
                    grown_from = 0.0
                    if not fresh:
                        unit *= math.exp(0.5 * float(looks[limit][i]))
                        grown_from = float(learned.expected[limit][last])
                    own = float(theta[limit][p, d])
                    if limit == "goes_dead" and not reports[p, d]:
                        own = TINY
                    warp = learned.baseline[limit]
                    far = warp.warped(np.array([grown_from])) + mean * e[limit] / own
                    grown = float(warp.unwarped(far)[0]) - grown_from
                    x_end[limit] = (x0[limit] ** shape + grown / (math.log(2.0) * unit)) ** (1.0 / shape)
                to_break = (x_end["breaks"] - x0["breaks"]) * hours_b / abrasion
                t_break = reached(path, h0 + min(to_break, e["mishit"] / learned.mishit_per_hour))
                dead, breaks = [], []
                scale = float(breaking.get(name, 1.0)) ** (1.0 / shapes.shape_breaks)
                for k, so_far in enumerate(path):
                    added = max(so_far - h0, 0.0)
                    old = age + 24.0 * max(7.0 * k - t0, 0.0)
                    dead.append((used_d + added * playability) / hours_d + rest * math.log10(1.0 + old))
                    breaks.append((x0["breaks"] + added * abrasion / hours_b) * scale)
                dead = rising(dead)
                t_feel = max(reached(dead, x_end["goes_dead"]), t0)
                t_dead = max(reached(dead, (e["dead"] / math.log(2.0)) ** (1.0 / shapes.shape_dead)), t0)
                wished = [0.0]
                for k in range(n_weeks):
                    age_days = max(age / 24.0 + 7.0 * k + 3.5 - t0, 0.0)
                    wear = (dead[k] + dead[k + 1]) / 2.0
                    rate = learned.other.rate(
                        np.array([[squad[i]]]), np.array([[p]]), np.array([[age_days]]), np.array([[wear]])
                    )
                    wished.append(wished[-1] + float(np.ravel(rate)[0]) * min(max(7.0 * (k + 1) - t0, 0.0), 7.0))
                t_other = max(reached(wished, e["other"]), t0)
                furthest = rising([max(x, y) for x, y in zip(breaks, dead, strict=True)])
                t_plan = math.inf
                if policy.hours is not None:
                    t_plan = min(t_plan, max(reached(path, h0 + max(policy.hours - on_bed, 0.0)), t0))
                if policy.life is not None:
                    t_plan = min(t_plan, max(reached(furthest, policy.life), t0))
                if policy.before_events_from is not None:
                    ready = max(reached(furthest, policy.before_events_from), t0)
                    t_plan = min([t_plan, *(eve for eve in events[i] if eve >= ready and eve > t0)])
                times = [t_break, t_feel, t_other, t_plan]
                t_end = min(times)
                cause = times.index(t_end)
                stop = min(t_end, horizon)
                if cause == 0 and t_end < horizon:
                    out.breaks[i, d] += 1
                out.dead_hours[i, d] += max(value(path, stop) - value(path, min(t_dead, stop)), 0.0)
                if fresh:
                    out.lives.append((value(path, stop) - h0, cause if t_end < horizon else -1))
                if math.isinf(t_end):
                    break
                if cause == 3:
                    t0 = math.floor(t_end) + (0.0 if policy.before_events_from is not None else 1.0)
                else:
                    if cause == 2:
                        lag = pick(s.way.after_other, e["lag"])
                    else:
                        lag = pick(s.way.after_wear, e["lag"]) + pick(s.way.unseen, e["unseen"])
                    t0 = float(s.way.past_closed_days(np.array([math.floor(t_end) + lag]), np.array([e["open"]]))[0])
                fresh = True
                if t0 < horizon:
                    out.jobs[i, d] += 1
    return out
