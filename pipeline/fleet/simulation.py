"""The fleet simulated draw by draw: which beds end when, and the restrings that follow.

In: History and Learned, rackets at the origin, ComingPlay. Out: Simulated, jobs by draw and week. Each draw takes each
player's multipliers from their posterior, whether the player reports lost feel at all, the club's level of endings, the
players' loads; each bed's remaining life given that it has lasted so far; then its next beds until the horizon. Times
are days after the origin; play inside a week is taken as even.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.dispersion import lumpy
from pipeline.fleet.outlook import SHARE_SPREAD, looks_now, unseen_days
from pipeline.fleet.play import ComingPlay
from pipeline.wear.history import History
from pipeline.wear.learning import Learned
from pipeline.wear.limits import LN2, life_used_breaks, life_used_dead

CAUSES = ("breaks", "goes_dead", "other")
SMALL = 1e-9


@dataclass(frozen=True)
class Simulated:
    """jobs: (draws, weeks) restrings. rows: for every simulated restring its draw, week (0-based), racket row and
    the cause that ended the old bed (index into CAUSES). busy: (draws, weeks) how much busier than its beds alone a
    week is; jobs hold it, rows do not. ends: (rackets, draws) day the bed now in ends (inf beyond the horizon). Rows
    of `ends` are the rackets with a bed: beds gives their rows in the rackets frame. away_*: one entry for every
    time a racket is without a bed to play on: row of `ends`, draw, day from which (0 where the bed had ended before)
    and day until which (its restring; inf beyond reach). playability: (rackets, draws, weeks + 1) cumulative
    reference hours towards dead at week ends.
    """

    jobs: np.ndarray
    draw: np.ndarray
    week: np.ndarray
    racket: np.ndarray
    cause: np.ndarray
    ends: np.ndarray
    busy: np.ndarray
    beds: np.ndarray
    away_racket: np.ndarray
    away_draw: np.ndarray
    away_from: np.ndarray
    away_until: np.ndarray
    playability: np.ndarray


@dataclass(frozen=True)
class Lags:
    """Days from the end of a bed to its restring, as seen in this club: (n,) whole days, by whether wear ended it."""

    after_wear: np.ndarray
    after_other: np.ndarray


def lags_of(beds: pd.DataFrame, as_of: pd.Timestamp) -> Lags:
    """Empirical lags of the last year; a day and none where nothing is on file. At most three weeks count."""
    done = beds[beds["restrung_on"].notna() & (pd.to_datetime(beds["restrung_on"]) > as_of - pd.Timedelta(days=365))]
    lag = (pd.to_datetime(done["restrung_on"]) - pd.to_datetime(done["ended_on"])).dt.days.clip(0, 21)
    wear = done["cause"].isin(["breaks", "goes_dead", "mishit", "unknown"])
    after_wear, after_other = lag[wear].to_numpy(dtype=float), lag[~wear].to_numpy(dtype=float)
    return Lags(
        after_wear if len(after_wear) >= 5 else np.array([1.0]),
        after_other if len(after_other) >= 5 else np.array([0.0]),
    )


def simulate(
    h: History,
    learned: Learned,
    rackets: pd.DataFrame,
    play: ComingPlay,
    n_weeks: int,
    draws: int,
    rng: np.random.Generator,
    first_jobs_a_week: float = 0.0,
    as_of: pd.Timestamp | None = None,
    spread: float = 1.0,
) -> Simulated:
    """Simulate every racket in service.

    rackets: racket_id, bed_id, player_id, squad, share, status, waiting_days (days since it ended or was handed in).
    first_jobs_a_week: first stringings of new rackets, Poisson. spread: variance over mean of this club's weeks,
    beyond what the beds themselves bring.
    """
    beds = rackets[rackets["bed_id"].notna()].reset_index()
    n, horizon = len(beds), float(n_weeks * 7)
    s = learned.shapes
    position = pd.Series(np.arange(h.n_beds), index=h.beds["bed_id"])
    index = position.loc[beds["bed_id"]].to_numpy(dtype=np.int64) if n else np.zeros(0, dtype=np.int64)
    last = h.last[index]
    players = {p: i for i, p in enumerate(h.players)}
    squads = {q: i for i, q in enumerate(h.squads)}
    n_players = len(players)
    player = np.array([players.get(p, n_players) for p in beds["player_id"]], dtype=np.int64)
    squad = np.array([squads.get(q, len(squads)) for q in beds["squad"]], dtype=np.int64)
    family = np.maximum(h.family[index], 0)

    # --- the players' loads: cumulative reference hours at week ends, (n_players + 1, draws, weeks + 1)
    base = _weekly(play, h.players, n_weeks)
    load = _loads(play, n_players + 1, draws, n_weeks, rng)
    share = beds["share"].to_numpy(dtype=float)[:, None] * _share_noise(n, draws, rng)
    share = _renormalise(share, beds["share"].to_numpy(dtype=float), player, n_players + 1)

    # single precision: seconds of play are exact enough, and half the memory moves
    hours = np.zeros((n, draws, n_weeks + 1), dtype=np.float32)
    np.cumsum(
        (base["hours"][player][:, None, :] * load[player] * share[:, :, None]).astype(np.float32),
        axis=2,
        out=hours[:, :, 1:],
    )
    hours_flat = hours.reshape(n * draws, n_weeks + 1)
    # what an hour on the clock costs a bed: the player's own, the same in every week
    total = np.maximum(base["hours"].sum(axis=1), SMALL)
    abrasion_per_hour = np.maximum(base["abrasion"].sum(axis=1) / total, SMALL)[player]
    playability_per_hour = (base["playability"].sum(axis=1) / total)[player]

    # --- multipliers
    theta_b = _gamma(learned.a["breaks"], learned.b["breaks"], draws, rng)[player]
    theta_d = _gamma(learned.a["goes_dead"], learned.b["goes_dead"], draws, rng)[player]
    reports = (rng.random((n_players + 1, draws)) < learned.reports[:, None])[player]
    level_b, level_d = learned.level["breaks"], learned.level["goes_dead"]
    theta_b = theta_b * _around(level_b.level, level_b.spread, draws, rng)[None, :]
    theta_d = np.where(reports, theta_d * _around(level_d.level, level_d.spread, draws, rng)[None, :], SMALL)
    mean_b = (learned.a["breaks"] / learned.b["breaks"])[player]
    mean_d = (learned.a["goes_dead"] / learned.b["goes_dead"])[player]
    unit_b = mean_b * learned.family["breaks"][family] * learned.racket[index]
    unit_d = mean_d * learned.family["goes_dead"][family] * learned.racket[index]
    life_b, life_d = learned.exposure.lives.break_hours[index], learned.exposure.lives.dead_hours[index]
    rest = s.rest_scale * learned.exposure.lives.rest[index]

    # --- the beds now in
    in_play = (beds["status"] == "in_play").to_numpy()
    start = np.zeros((n, draws))
    age0 = np.where(in_play, h.age_hours[last], 0.0)
    done_b = np.where(in_play, h.abrasion[last], 0.0)
    done_d = np.where(in_play, h.playability[last], 0.0)
    now = looks_now(h, learned, beds)
    # an inspection's word fades with play: half of its log is a fair mean over what is left
    m_b = np.where(in_play, np.exp(0.5 * now["breaks"]), 1.0)
    m_d = np.where(in_play, np.exp(0.5 * now["goes_dead"]), 1.0)
    u0_b = np.where(in_play, learned.expected["breaks"][last], 0.0)
    u0_d = np.where(in_play, learned.expected["goes_dead"][last], 0.0)
    unseen = unseen_days(h, learned)
    lags = lags_of(h.beds, as_of if as_of is not None else pd.Timestamp(0) + pd.Timedelta(days=h.as_of_day))
    waiting = ~in_play
    if waiting.any():
        waited = np.nan_to_num(beds["waiting_days"].to_numpy(dtype=float))[waiting]
        start[waiting] = _remaining_lag(lags.after_wear, waited, draws, rng)

    out_draw, out_week, out_racket, out_cause = [], [], [], []
    away: list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]] = []

    def record(r: np.ndarray, d: np.ndarray, t: np.ndarray, cause: np.ndarray) -> None:
        keep = t < horizon
        out_racket.append(r[keep])
        out_draw.append(d[keep])
        out_week.append((t[keep] // 7).astype(np.int64))
        out_cause.append(cause[keep])

    if waiting.any():
        r, d = np.nonzero(np.broadcast_to(waiting[:, None], (n, draws)))
        record(r, d, start[r, d], np.zeros(len(r), dtype=np.int64))
        away.append((r, d, np.zeros(len(r)), start[r, d]))

    ends = np.full((n, draws), np.inf)
    r, d = (g.ravel() for g in np.meshgrid(np.arange(n), np.arange(draws), indexing="ij"))
    t0 = start.ravel()
    fresh = np.broadcast_to(waiting[:, None], (n, draws)).ravel()
    first_round = True
    grid = np.arange(n_weeks + 1) * 7.0
    while len(r):
        alive = t0 < horizon
        r, d, t0, fresh = r[alive], d[alive], t0[alive], fresh[alive]
        if not len(r):
            break
        used_b, used_d = np.where(fresh, 0.0, done_b[r]), np.where(fresh, 0.0, done_d[r])
        age = np.where(fresh, 0.0, age0[r])
        mb, md = np.where(fresh, 1.0, m_b[r]), np.where(fresh, 1.0, m_d[r])
        cell = r * draws + d
        path = hours_flat[cell]
        h_start = _at(path, t0)
        # breaks: the abrasion hours it still stands
        x0 = life_used_breaks(used_b, life_b[r])
        u0 = np.where(fresh, 0.0, u0_b[r])
        warp = learned.baseline["breaks"]
        growth = warp.unwarped(warp.warped(u0) + mean_b[r] * rng.exponential(size=len(r)) / theta_b.ravel()[cell]) - u0
        x_end = np.power(np.power(x0, s.shape_breaks) + growth / (LN2 * unit_b[r] * mb), 1.0 / s.shape_breaks)
        hours_left = np.minimum(
            (x_end - x0) * life_b[r] / abrasion_per_hour[r], rng.exponential(size=len(r)) / learned.mishit_per_hour
        )
        t_break = _when(path, h_start + hours_left)
        # goes dead: play and rest together
        x0d = life_used_dead(used_d, age, life_d[r], rest[r])
        u0 = np.where(fresh, 0.0, u0_d[r])
        warp = learned.baseline["goes_dead"]
        growth = warp.unwarped(warp.warped(u0) + mean_d[r] * rng.exponential(size=len(r)) / theta_d.ravel()[cell]) - u0
        x_end_d = np.power(np.power(x0d, s.shape_dead) + growth / (LN2 * unit_d[r] * md), 1.0 / s.shape_dead)
        since = (age[:, None] + 24.0 * (grid[None, :] - t0[:, None])).astype(np.float32)
        rest_path = rest.astype(np.float32)[r][:, None] * np.log10(1.0 + np.maximum(since, 0.0))
        slope = (playability_per_hour / life_d).astype(np.float32)
        added = np.maximum(path - h_start.astype(np.float32)[:, None], 0.0) * slope[r][:, None]
        x_path = (used_d / life_d[r]).astype(np.float32)[:, None] + added + rest_path
        t_dead = _when(np.maximum.accumulate(x_path, axis=1), x_end_d)
        t_dead = np.maximum(t_dead, t0)
        t_other = _when_other(h, learned, r, t0, age, x_path, grid, squad, player, rng)
        times = np.stack([t_break, t_dead, t_other])
        cause = np.argmin(times, axis=0)
        t_end = times[cause, np.arange(len(r))]
        if first_round:
            ends[r[~fresh], d[~fresh]] = t_end[~fresh]
            first_round = False
        lag = np.where(
            cause == 2,
            rng.choice(lags.after_other, len(r)),
            rng.choice(lags.after_wear, len(r)) + rng.choice(unseen, len(r)),
        )
        t_strung = np.where(np.isfinite(t_end), np.floor(t_end) + lag, np.inf)
        record(r, d, t_strung, cause)
        inside = t_end < horizon
        away.append((r[inside], d[inside], t_end[inside], t_strung[inside]))
        t0, fresh = t_strung, np.ones(len(r), dtype=bool)

    draw, week = (np.concatenate(v) if v else np.zeros(0, dtype=np.int64) for v in (out_draw, out_week))
    racket, cause_all = (np.concatenate(v) if v else np.zeros(0, dtype=np.int64) for v in (out_racket, out_cause))
    jobs = np.bincount(draw * n_weeks + week, minlength=draws * n_weeks).reshape(draws, n_weeks)
    busy = lumpy(jobs, spread, rng)
    jobs = np.floor(jobs * busy + rng.random(jobs.shape)).astype(np.int64)
    if first_jobs_a_week > 0:
        jobs = jobs + rng.poisson(first_jobs_a_week, jobs.shape)
    original = beds["index"].to_numpy()
    nobody = np.zeros(0, dtype=np.int64)
    gone = [np.concatenate(v) for v in zip(*away, strict=True)] if away else [nobody] * 4
    return Simulated(
        jobs=jobs,
        draw=draw,
        week=week,
        racket=original[racket] if len(racket) else racket,
        cause=cause_all,
        ends=ends,
        busy=busy,
        beds=original,
        away_racket=gone[0],
        away_draw=gone[1],
        away_from=gone[2],
        away_until=gone[3],
        playability=hours * playability_per_hour.astype(np.float32)[:, None, None],
    )


def _weekly(play: ComingPlay, players: tuple[str, ...], n_weeks: int) -> dict[str, np.ndarray]:
    """(n_players + 1, weeks) expected hours by kind; the last row is nobody's."""
    rows = {p: i for i, p in enumerate(play.players)}
    take = np.array([rows.get(p, -1) for p in players] + [-1], dtype=np.int64)
    out = {}
    for kind in ("abrasion", "playability", "hours"):
        daily = np.vstack([getattr(play, kind), np.zeros((1, play.hours.shape[1]))])[take, : n_weeks * 7]
        out[kind] = daily.reshape(len(take), n_weeks, 7).sum(axis=2)
    return out


def _loads(play: ComingPlay, n: int, draws: int, n_weeks: int, rng: np.random.Generator) -> np.ndarray:
    """(n, draws, weeks) load multipliers with mean 1: the player's level, the player's week, the whole club's week."""
    level = _around_many(1.0, play.spread_level, (n, draws, 1), rng)
    week = _around_many(1.0, play.spread_week, (n, draws, n_weeks), rng)
    # the club's error is partly lasting, partly each week's own
    club = _around_many(1.0, play.spread_club * 0.7, (1, draws, 1), rng) * _around_many(
        1.0, play.spread_club * 0.7, (1, draws, n_weeks), rng
    )
    return level * week * club


def _around_many(mean: float, spread: float, size: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    shape = 1.0 / max(spread, 1e-3) ** 2
    return mean * rng.gamma(shape, 1.0 / shape, size)


def _around(mean: float, spread: float, draws: int, rng: np.random.Generator) -> np.ndarray:
    return _around_many(mean, spread, (draws,), rng)


def _gamma(a: np.ndarray, b: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    return np.maximum(rng.gamma(a[:, None], 1.0, (len(a), draws)) / b[:, None], SMALL)


def _share_noise(n: int, draws: int, rng: np.random.Generator, spread: float = SHARE_SPREAD) -> np.ndarray:
    """(n, draws): how much more or less of the player's play a racket takes in the coming weeks than it used to."""
    return _around_many(1.0, spread, (n, draws), rng)


def _renormalise(share: np.ndarray, expected: np.ndarray, player: np.ndarray, n: int) -> np.ndarray:
    """Keep what a player's rackets take together."""
    total = np.zeros((n, share.shape[1]))
    np.add.at(total, player, share)
    whole = np.bincount(player, expected, n)
    return share * (whole[:, None] / np.maximum(total, SMALL))[player]


def _at(path: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Value of weekly paths (m, weeks + 1) at days t (m,), linear inside a week."""
    n_weeks = path.shape[1] - 1
    w = np.minimum((t // 7).astype(np.int64), n_weeks - 1)
    part = np.minimum(t / 7.0 - w, 1.0)
    row = np.arange(len(t))
    return np.asarray(path[row, w] * (1.0 - part) + path[row, w + 1] * part)


def _when(path: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Day at which rising weekly paths (m, weeks + 1) reach target (m,); inf beyond the horizon."""
    reached = path >= target[:, None]
    w = np.argmax(reached, axis=1)
    row = np.arange(len(target))
    before = np.maximum(w - 1, 0)
    low, high = path[row, before], path[row, w]
    part = np.where(high > low, (target - low) / np.maximum(high - low, 1e-12), 0.0)
    day = 7.0 * (before + np.clip(part, 0.0, 1.0))
    return np.where(reached[:, -1], np.where(w == 0, 0.0, day), np.inf)


def _when_other(
    h: History,
    learned: Learned,
    r: np.ndarray,
    t0: np.ndarray,
    age: np.ndarray,
    x_path: np.ndarray,
    grid: np.ndarray,
    squad: np.ndarray,
    player: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Day of a restring that wear did not force: the rate at each week's middle."""
    middle = grid[:-1] + 3.5
    since = middle[None, :] - t0[:, None]
    age_days = np.maximum(age[:, None] / 24.0 + since, 0.0)
    wear = 0.5 * (x_path[:, :-1] + x_path[:, 1:])
    rate = learned.other.rate(squad[r][:, None], player[r][:, None], age_days, wear)
    active = np.clip(grid[1:][None, :] - t0[:, None], 0.0, 7.0)
    path = np.concatenate([np.zeros((len(r), 1)), np.cumsum(rate * active, axis=1)], axis=1)
    return np.maximum(_when(path, rng.exponential(size=len(r))), t0)


def _remaining_lag(lags: np.ndarray, waited: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(m, draws) whole days until the restring of rackets that have waited so long, given that they still wait."""
    out = np.empty((len(waited), draws))
    for i, w in enumerate(waited):
        left = lags[lags > w] - w - 1.0
        out[i] = rng.choice(left, draws) if len(left) else rng.integers(0, 5, draws)
    return np.maximum(out, 0.0)
