"""Beds played on week by week, all draws at once: when each ends, of what, and which beds follow until the horizon.

In: Fleet, the rackets with a bed as arrays; the weeks' play; a generator. Out: Marched. A week is taken for all beds
together; only those that end in it are looked at one by one, so that the cost is rackets x draws x weeks whatever the
lives are. The work goes in chunks of whole players, each with a generator of its own: the result depends on the seed
alone, not on how many chunks are under way at a time. Times are days after the origin; within a week play and wear are
linear. Single precision: seconds of play are exact enough, and half the memory moves.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from pipeline.fleet.hand_over import HandOver
from pipeline.fleet.young_beds import slowed
from pipeline.wear.baseline import Baseline
from pipeline.wear.limits import LN2
from pipeline.wear.other_causes import AGE_EDGES_DAYS, WEAR_EDGES, WEAR_STEP, OtherCauses

SMALL = 1e-9
CHUNK_CELLS = 32_768
# below so many beds x draws x weeks a second thread costs more than it brings
WORTH_THREADS = 4_000_000
MAX_THREADS = 4
OTHER = 2
# row, draw, from, until and cause of a restring: as small as they can be, since there are millions of a large fleet.
# Days of the weeks ahead are below 1,000: single precision tells ten seconds
AWAY_KINDS = (np.int32, np.int32, np.float32, np.float32, np.int8)
LAST_DAY, LAST_STEP = int(AGE_EDGES_DAYS[-1]), int(WEAR_EDGES[-1] / WEAR_STEP)


@dataclass(frozen=True)
class LimitAhead:
    """One limit for every racket, (n,) each: what the bed now in has used (life, expected hazard, inspection
    multiplier), the hazard of a reference bed of it (unit, with the player's mean multiplier), the reference life in
    hours, the hours of reference play in an hour on the clock; the players' posterior, (n_players + 1,); the club's
    level, (draws,); a new bed's cumulative hazard at the ends of its young ages, (n, bands), and the parts of it
    that such beds show, (bands,)."""

    x_now: np.ndarray
    u_now: np.ndarray
    look_now: np.ndarray
    unit: np.ndarray
    life: np.ndarray
    per_hour: np.ndarray
    shape: float
    baseline: Baseline
    a: np.ndarray
    b: np.ndarray
    level: np.ndarray
    young_at: np.ndarray
    young_parts: np.ndarray


@dataclass(frozen=True)
class Fleet:
    """The rackets with a bed, (n,) arrays by row. strung_first: (n, draws) day on which a racket without live strings
    gets new ones, NaN where one is in play. rest: life towards dead a decade of hours. used_play: life towards dead
    that play has used, without the rest. age_hours: 0 where no bed is in play. reports: (n_players + 1,) chance that
    the player reports.
    """

    player: np.ndarray
    squad: np.ndarray
    share: np.ndarray
    strung_first: np.ndarray
    age_hours: np.ndarray
    used_play: np.ndarray
    rest: np.ndarray
    breaks: LimitAhead
    dead: LimitAhead
    reports: np.ndarray
    other: OtherCauses
    mishit_per_hour: float


@dataclass(frozen=True)
class Weeks:
    """hours: (n_players + 1, weeks) expected hours of play. spread_*: how far they may be off, for a player lastingly
    and in a week, and for how a player's play is shared between the rackets. club: (draws, weeks) everybody's error."""

    hours: np.ndarray
    spread_level: float
    spread_week: float
    spread_share: float
    club: np.ndarray


@dataclass(frozen=True)
class Marched:
    """away: (racket row, draw, from, until, cause of the end) arrays, in time for each racket and draw; ends:
    (n, draws) day on which the bed now in ends, inf beyond; hours: (n, draws, weeks + 1) cumulative hours of play."""

    away: tuple[np.ndarray, ...]
    ends: np.ndarray
    hours: np.ndarray


def gamma_around_one(spread: float, size: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Gamma numbers with mean 1 and standard deviation `spread`, single precision."""
    shape = np.float32(1.0 / max(spread, 1e-3) ** 2)
    return rng.standard_gamma(shape, size, dtype=np.float32) / shape


def march(f: Fleet, weeks: Weeks, way: HandOver, draws: int, rng: np.random.Generator) -> Marched:
    """Every racket of the fleet over all weeks."""
    n, n_weeks = len(f.player), weeks.hours.shape[1]
    ends = np.full((n, draws), np.inf, dtype=np.float32)
    hours = np.zeros((n, draws, n_weeks + 1), dtype=np.float32)
    chunks = _chunks(f.player, len(f.reports) - 1, max(CHUNK_CELLS // draws, 1))
    seeds = rng.spawn(len(chunks))

    def one(k: int) -> list[tuple[np.ndarray, ...]]:
        made = _Chunk(f, chunks[k], weeks, way, draws, seeds[k])
        made.run(ends, hours)
        return made.away  # and no more: a chunk's state is several times as large

    threads = min(os.cpu_count() or 1, MAX_THREADS) if n * draws * n_weeks >= WORTH_THREADS else 1
    if threads > 1:
        with ThreadPoolExecutor(max_workers=threads) as pool:
            done = list(pool.map(one, range(len(chunks))))
    else:
        done = [one(k) for k in range(len(chunks))]
    return Marched(_joined([row for away in done for row in away]), ends, hours)


def _joined(rows: list[tuple[np.ndarray, ...]]) -> tuple[np.ndarray, ...]:
    return tuple(
        np.concatenate([row[i] for row in rows]) if rows else np.zeros(0, dtype=kind)
        for i, kind in enumerate(AWAY_KINDS)
    )


def _chunks(player: np.ndarray, nobody: int, size: int) -> list[np.ndarray]:
    """Rows in chunks of about `size`, a player's rackets together; those without a player anywhere."""
    order = np.argsort(player, kind="stable")
    out: list[np.ndarray] = []
    start = 0
    while start < len(order):
        stop = min(start + size, len(order))
        while stop < len(order) and player[order[stop]] == player[order[stop - 1]] and player[order[stop]] != nobody:
            stop += 1
        out.append(order[start:stop])
        start = stop
    return out


class _Chunk:
    """Some rackets, all draws. A cell is one racket in one draw, row by row."""

    def __init__(
        self, f: Fleet, rows: np.ndarray, weeks: Weeks, way: HandOver, draws: int, rng: np.random.Generator
    ) -> None:
        self.f, self.rows, self.weeks, self.way, self.draws, self.rng = f, rows, weeks, way, draws, rng
        self.away: list[tuple[np.ndarray, ...]] = []
        n = len(rows)
        who, self.player = np.unique(f.player[rows], return_inverse=True)
        self.load = gamma_around_one(weeks.spread_level, (len(who), 1, draws), rng) * gamma_around_one(
            weeks.spread_week, (len(who), weeks.hours.shape[1], draws), rng
        )
        self.load *= weeks.hours[who].astype(np.float32)[:, :, None]
        self.load *= weeks.club.T.astype(np.float32)[None]
        self.share = self._shares(n)
        self.theta = {
            "breaks": self._multipliers(f.breaks, who, np.ones(len(who))),
            "dead": self._multipliers(f.dead, who, f.reports[who]),
        }
        cells = (n, draws)
        infinite = np.float32(np.inf)
        self.hours_to, self.x_to, self.left = (np.full(cells, infinite) for _ in range(3))
        self.hours_from, self.x_base, self.x = (np.zeros(cells, dtype=np.float32) for _ in range(3))
        self.born = np.zeros(cells, dtype=np.float32)
        self.starts = np.full(cells, -1.0, dtype=np.float32)
        self.is_first = np.zeros(cells, dtype=bool)
        self.slope = (f.dead.per_hour[rows] / f.dead.life[rows]).astype(np.float32)
        self.rest = (f.rest[rows] / np.log(10.0)).astype(np.float32)
        o = f.other
        self.other_rate = (o.squad[f.squad[rows]] * o.player[f.player[rows]]).astype(np.float32)
        self.other_table = _table(o)

    def _shares(self, n: int) -> np.ndarray:
        """(n, draws): the part of the player's play each racket takes; what a player's rackets take together stays."""
        expected = self.f.share[self.rows]
        share = expected.astype(np.float32)[:, None] * gamma_around_one(
            self.weeks.spread_share, (n, self.draws), self.rng
        )
        first = np.flatnonzero(np.r_[True, self.player[1:] != self.player[:-1]])
        whole, total = np.add.reduceat(expected, first), np.add.reduceat(share, first, axis=0)
        return np.asarray(share * (whole[:, None] / np.maximum(total, SMALL)).astype(np.float32)[self.player])

    def _multipliers(self, limit: LimitAhead, who: np.ndarray, reports: np.ndarray) -> np.ndarray:
        """(players of the chunk, draws): mean multiplier over the drawn one: what an exponential threshold is times."""
        a, b = limit.a[who][:, None], limit.b[who][:, None]
        drawn = np.maximum(self.rng.gamma(a, 1.0, (len(who), self.draws)) / b, SMALL) * limit.level[None, :]
        silent = self.rng.random((len(who), self.draws)) >= reports[:, None]
        return np.asarray((a / b) / np.where(silent, SMALL, drawn))

    def run(self, ends: np.ndarray, hours: np.ndarray) -> None:
        """All weeks; ends and hours of the chunk's rows are filled in."""
        f, rows = self.f, self.rows
        strung = f.strung_first[rows].ravel()
        waits = np.isfinite(strung)
        first, waiting = np.flatnonzero(~waits), np.flatnonzero(waits)
        nothing = np.zeros(len(first), dtype=np.float32)
        self.h0 = np.zeros((len(rows), self.draws), dtype=np.float32)
        self._start(first, nothing, nothing, is_fresh=False)
        self.is_first.ravel()[first] = True
        self.ends = np.full((len(rows), self.draws), np.inf)
        if len(waiting):
            nought = np.zeros(len(waiting))
            self._restring(waiting, nought, strung[waiting], nought.astype(np.int64))
        path = np.zeros((len(rows), self.draws, self.weeks.hours.shape[1] + 1), dtype=np.float32)
        for week in range(self.weeks.hours.shape[1]):
            self._week(week)
            path[:, :, week + 1] = self.h0
        hours[rows], ends[rows] = path, self.ends

    def _restring(self, cell: np.ndarray, end: np.ndarray, day: np.ndarray, cause: np.ndarray) -> None:
        """Beds that ended on `end`, of `cause`, get new strings on `day`."""
        row, draw = self.rows[cell // self.draws], cell % self.draws
        told = zip((row, draw, end, day, cause), AWAY_KINDS, strict=True)
        self.away.append(tuple(column.astype(kind) for column, kind in told))
        for state in (self.hours_to, self.x_to, self.left):
            state.ravel()[cell] = np.inf
        self.starts.ravel()[cell] = day

    def _start(self, cell: np.ndarray, day: np.ndarray, hours_now: np.ndarray, is_fresh: bool) -> None:
        """Draw how long the beds of these cells last from `day` on. is_fresh: they are new; else those now in."""
        f, rng = self.f, self.rng
        i, draw = cell // self.draws, cell % self.draws
        row = self.rows[i]
        b, d = f.breaks, f.dead
        gain_b = self._threshold(b, "breaks", row, i, draw, is_fresh)
        gain_d = self._threshold(d, "dead", row, i, draw, is_fresh)
        age = np.zeros(len(cell)) if is_fresh else f.age_hours[row]
        used = np.zeros(len(cell)) if is_fresh else f.used_play[row]
        left = gain_b * (b.life / b.per_hour)[row]
        mishit = rng.standard_exponential(len(cell), dtype=np.float32) / np.float32(f.mishit_per_hour)
        now = 0.0 if is_fresh else d.x_now[row]
        self.hours_from.ravel()[cell] = hours_now
        self.hours_to.ravel()[cell] = hours_now + np.minimum(left, mishit)
        self.x_base.ravel()[cell] = used
        self.x.ravel()[cell] = now
        self.x_to.ravel()[cell] = now + gain_d
        self.left.ravel()[cell] = rng.standard_exponential(len(cell), dtype=np.float32)
        self.born.ravel()[cell] = day - age / 24.0
        self.starts.ravel()[cell] = -1.0

    def _threshold(
        self, limit: LimitAhead, name: str, row: np.ndarray, i: np.ndarray, draw: np.ndarray, is_fresh: bool
    ) -> np.ndarray:
        """Life used from now on until the limit ends each bed, given that it has lasted so far."""
        hazard = self.theta[name][self.player[i], draw] * self.rng.standard_exponential(len(row))
        warp, k = limit.baseline, limit.shape
        if is_fresh:
            hazard = slowed(hazard, limit.young_at[row], limit.young_parts)
            return np.asarray(np.power(warp.unwarped(hazard) / (LN2 * limit.unit[row]), 1.0 / k))
        x, u = limit.x_now[row], limit.u_now[row]
        growth = warp.unwarped(warp.warped(u) + hazard) - u
        return np.asarray(np.power(np.power(x, k) + growth / (LN2 * (limit.unit * limit.look_now)[row]), 1.0 / k) - x)

    def _week(self, week: int) -> None:
        """From the start of the week to its end."""
        opens, closes = 7.0 * week, 7.0 * (week + 1)
        h0 = self.h0
        h1 = h0 + self.load[self.player, week] * self.share
        due = np.flatnonzero((self.starts >= 0.0) & (self.starts < closes))
        later = np.zeros(0, dtype=np.int64)
        if len(due):
            self._begin(due, opens, h0, h1)
            later = due
        x1 = self.x_base + (h1 - self.hours_from) * self.slope[:, None]
        age = np.float32(closes) - self.born
        x1 += self.rest[:, None] * np.log(np.float32(24.0) * age + np.float32(1.0))
        step = np.clip((self.x + x1) * np.float32(0.5 / WEAR_STEP), 0.0, LAST_STEP)
        day = np.clip(age - np.float32(3.5), 0.0, LAST_DAY)
        at = day.astype(np.int32) * np.int32(LAST_STEP + 1) + step.astype(np.int32)
        fall = self.other_table.take(at) * (self.other_rate * np.float32(7.0))[:, None]
        if len(later):
            fall.ravel()[later] *= (np.float32(closes) - self.begun) / np.float32(7.0)
        left = self.left - fall
        hit = (h1 >= self.hours_to) | (x1 >= self.x_to) | (left <= 0.0)
        cell = np.flatnonzero(hit)
        since = np.zeros(hit.shape, dtype=np.float32)
        if len(later):
            since.ravel()[later] = self.begun - np.float32(opens)
        old_left, self.left = self.left, left
        x_old, self.x = self.x, x1
        flat = (h0.ravel(), h1.ravel())
        from_day, x_from, x_end, left_from, left_end = (
            since.ravel()[cell], x_old.ravel()[cell], x1.ravel()[cell], old_left.ravel()[cell], left.ravel()[cell],
        )  # fmt: skip
        while len(cell):
            again = self._end(cell, opens, flat, from_day, x_from, x_end, left_from, left_end)
            if not len(again):
                break
            self._begin(again, opens, h0, h1)
            i = again // self.draws
            from_day, x_from, left_from = self.begun - opens, self.x.ravel()[again], self.left.ravel()[again]
            age_end = closes - self.begun
            x_end = (flat[1][again] - self.hours_from.ravel()[again]) * self.slope[i] + self.rest[i] * np.log(
                1.0 + 24.0 * age_end
            )
            step = np.clip((x_from + x_end) * (0.5 / WEAR_STEP), 0.0, LAST_STEP).astype(int)
            day = np.clip(age_end - 3.5, 0.0, LAST_DAY).astype(int)
            rate = self.other_table[day * (LAST_STEP + 1) + step] * self.other_rate[i]
            left_end = left_from - rate * age_end
            self.x.ravel()[again], self.left.ravel()[again] = x_end, left_end
            over = (flat[1][again] >= self.hours_to.ravel()[again]) | (x_end >= self.x_to.ravel()[again])
            over |= left_end <= 0.0
            cell = again[over]
            from_day, x_from, x_end, left_from, left_end = (
                v[over] for v in (from_day, x_from, x_end, left_from, left_end)
            )
        self.h0 = h1

    def _begin(self, cell: np.ndarray, opens: float, h0: np.ndarray, h1: np.ndarray) -> None:
        """New beds come in on the day written in `starts`, inside the week."""
        self.begun = self.starts.ravel()[cell].copy()
        low, high = h0.ravel()[cell], h1.ravel()[cell]
        part = (self.begun - np.float32(opens)) / np.float32(7.0)
        self._start(cell, self.begun, low + (high - low) * part, is_fresh=True)

    def _end(
        self,
        cell: np.ndarray,
        opens: float,
        hours: tuple[np.ndarray, np.ndarray],
        from_day: np.ndarray,
        x_from: np.ndarray,
        x_end: np.ndarray,
        left_from: np.ndarray,
        left_end: np.ndarray,
    ) -> np.ndarray:
        """These beds end within the week: when, of what, and when they are strung again; those strung in the same
        week."""
        low, high = hours[0][cell], hours[1][cell]
        rest_of_week = 7.0 - from_day
        times = np.stack(
            [
                np.where(
                    high >= self.hours_to.ravel()[cell],
                    _part(self.hours_to.ravel()[cell] - low, high - low) * 7.0,
                    np.inf,
                ),
                np.where(
                    x_end >= self.x_to.ravel()[cell],
                    from_day + rest_of_week * _part(self.x_to.ravel()[cell] - x_from, x_end - x_from),
                    np.inf,
                ),
                np.where(left_end <= 0.0, from_day + rest_of_week * _part(left_from, left_from - left_end), np.inf),
            ]
        )
        cause = np.argmin(times, axis=0)
        end = opens + np.clip(np.maximum(times[cause, np.arange(len(cell))], from_day), 0.0, 6.9999)
        first = self.is_first.ravel()[cell]
        self.ends.ravel()[cell[first]] = end[first]
        self.is_first.ravel()[cell] = False
        day = self.way.restrung(end, cause == OTHER, self.rng, cell % self.draws)
        self._restring(cell, end, day, cause)
        return np.asarray(cell[day < opens + 7.0])


def _table(o: OtherCauses) -> np.ndarray:
    """Flat (days x steps of wear): what age and wear do to the rate of other causes, as OtherCauses.rate has it."""
    day = np.arange(LAST_DAY + 1, dtype=float)[:, None]
    step = np.arange(LAST_STEP + 1, dtype=float)[None, :] * WEAR_STEP
    bare = OtherCauses(np.ones(1), o.age, o.wear, np.ones(1), o.rate_at_end)
    nobody = np.zeros((1, 1), dtype=np.int64)
    return np.ascontiguousarray(bare.rate(nobody, nobody, day, step).ravel(), dtype=np.float32)


def _part(done: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """done / whole between 0 and 1; 0 where there is nothing to go."""
    return np.clip(np.where(whole > 0.0, done / np.maximum(whole, 1e-12), 0.0), 0.0, 1.0)
