"""The fleet simulated draw by draw: which beds end when, and the restrings that follow.

In: History and Learned, rackets at the origin, ComingPlay. Out: Simulated, jobs by draw and week. Each draw takes each
player's multipliers from their posterior, whether the player reports lost feel at all, the club's level of endings, the
players' loads; each bed's remaining life given that it has lasted so far; then its next beds until the horizon. Times
are days after the origin; play inside a week is taken as even.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.bench_days import carried, served
from pipeline.fleet.dispersion import lumpy
from pipeline.fleet.hand_over import HandOver, hand_over
from pipeline.fleet.outlook import SHARE_SPREAD, last_seen_play, unseen_days
from pipeline.fleet.play import ComingPlay
from pipeline.fleet.standing import Standing, WeekOfPlay, standing, week_of_play
from pipeline.fleet.weeks_ahead import Fleet, LimitAhead, Weeks, gamma_around_one, march
from pipeline.fleet.young_beds import YOUNG_DAYS
from pipeline.wear.history import History
from pipeline.wear.learning import LIMITS, Learned
from pipeline.wear.limits import LN2

CAUSES = ("breaks", "goes_dead", "other")


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
    way: HandOver | None = None,
    over: tuple[np.ndarray, np.ndarray] | None = None,
    young: Mapping[str, np.ndarray] | None = None,
) -> Simulated:
    """Simulate every racket in service.

    rackets: racket_id, bed_id, player_id, squad, share, status, waiting_days (days since it ended or was handed in).
    first_jobs_a_week: first stringings of new rackets, Poisson. spread: variance over mean of this club's weeks,
    beyond what the beds themselves bring. way: from a bed's end to its restring (none: as the beds on file show it).
    over: of the beds in play, in their order, the chance that each has ended unseen and the days since then (none:
    none has). young: limit -> (bands,) parts of the hazard of new beds (none: the whole of it).
    """
    beds = rackets[rackets["bed_id"].notna()].reset_index()
    now = standing(h, learned, beds)
    week = week_of_play(play, h.players, n_weeks)
    origin = as_of if as_of is not None else pd.Timestamp(0) + pd.Timedelta(days=h.as_of_day)
    way = way or hand_over(h.beds, unseen_days(h), (), origin, last_seen_play(h))
    way = way.drawn(draws, rng)
    breaks, dead = (
        _limit_ahead(limit, now, learned, week, np.ones(len(YOUNG_DAYS)) if young is None else young[limit], draws, rng)
        for limit in LIMITS
    )
    strung_first = np.full((len(beds), draws), np.nan, dtype=np.float32)
    waited = np.nan_to_num(beds["waiting_days"].to_numpy(dtype=float))[~now.in_play]
    strung_first[~now.in_play] = way.still_waiting(waited, draws, rng)
    if over is not None:
        strung_first[now.in_play] = _over_unseen(over, way, draws, rng)
    fleet = Fleet(
        player=now.player,
        squad=now.squad,
        share=now.share,
        strung_first=strung_first,
        age_hours=now.age_hours,
        used_play=now.used_play,
        rest=now.rest,
        breaks=breaks,
        dead=dead,
        reports=learned.reports,
        other=learned.other,
        mishit_per_hour=learned.mishit_per_hour,
    )
    # the club's error is partly lasting, partly each week's own
    club = gamma_around_one(play.spread_club * 0.7, (draws, 1), rng) * gamma_around_one(
        play.spread_club * 0.7, (draws, n_weeks), rng
    )
    weeks = Weeks(week.hours, play.spread_level, play.spread_week, SHARE_SPREAD, club)
    made = march(fleet, weeks, way, draws, rng)
    racket, draw, away_from, away_until, cause = made.away
    full = way.limit()
    if full is not None:
        away_until = served(draw, away_until, *full, draws)
    inside = away_until < 7.0 * n_weeks
    cell = draw[inside] * n_weeks + (away_until[inside] // 7).astype(np.int64)
    # what waits already is known: the lumps are those of what is still to come
    is_known = np.isfinite(strung_first)[racket[inside], draw[inside]] & (away_from[inside] == 0.0)
    jobs, busy = _jobs_by_week(cell, is_known, (draws, n_weeks), spread, full, first_jobs_a_week, rng)
    if over is not None:
        # a bed that has ended unseen is over on day 0
        made.ends[now.in_play] = np.where(np.isfinite(strung_first[now.in_play]), 0.0, made.ends[now.in_play])
    rows = beds["index"].to_numpy()
    playability_per_hour = week.per_hour["goes_dead"][now.player].astype(np.float32)[:, None, None]
    return Simulated(
        jobs=jobs,
        draw=draw[inside],
        # millions of restrings of a large fleet: no more bytes each than it takes
        week=(cell % n_weeks).astype(np.int16),
        racket=rows.astype(np.int32)[racket[inside]],
        cause=cause[inside],
        ends=made.ends,
        busy=busy,
        beds=rows,
        away_racket=racket,
        away_draw=draw,
        away_from=away_from,
        away_until=away_until,
        playability=np.multiply(made.hours, playability_per_hour, out=made.hours),
    )


def _limit_ahead(
    limit: str,
    now: Standing,
    learned: Learned,
    week: WeekOfPlay,
    young_parts: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> LimitAhead:
    """One limit of every racket, for the beds now in and for those that follow."""
    shape = learned.exposure.shape[limit]
    per_hour, life, baseline = week.per_hour[limit][now.player], now.life[limit], learned.baseline[limit]
    weekly, young = now.share * week.hours.mean(axis=1)[now.player], np.array(YOUNG_DAYS)
    x_young = weekly[:, None] * (per_hour / life)[:, None] * (young / 7.0)
    if limit == "goes_dead":
        x_young += now.rest[:, None] * np.log10(1.0 + 24.0 * young)
    level = learned.level[limit]
    return LimitAhead(
        x_now=now.x_now[limit],
        u_now=now.u_now[limit],
        look_now=now.look_now[limit],
        unit=now.unit[limit],
        life=life,
        per_hour=per_hour,
        shape=shape,
        baseline=baseline,
        a=learned.a[limit],
        b=learned.b[limit],
        level=level.level * gamma_around_one(level.spread, (draws,), rng),
        young_at=baseline.warped(LN2 * now.unit[limit][:, None] * np.power(x_young, shape)),
        young_parts=young_parts,
    )


def _jobs_by_week(
    cell: np.ndarray,
    is_known: np.ndarray,
    size: tuple[int, int],
    spread: float,
    full: tuple[np.ndarray, float] | None,
    first_jobs_a_week: float,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """(draws, weeks) restrings as lumpy as this club's weeks are, and how much busier that is than the beds alone.

    cell: (m,) draw * weeks + week of each restring. is_known: (m,) whether it waits already. full: days on which the
    bench is at work and the most it strings on one (none: no such limit).
    """
    draws, n_weeks = size
    jobs, known = (np.bincount(c, minlength=draws * n_weeks).reshape(size) for c in (cell, cell[is_known]))
    lumped = known + (jobs - known) * lumpy(jobs - known, spread, rng)
    if full is not None:
        lumped = carried(lumped, full[0][:, : 7 * n_weeks].reshape(-1, n_weeks, 7).sum(axis=2) * full[1])
    busy = np.where(jobs > 0, lumped / np.maximum(jobs, 1), 1.0)
    jobs = np.floor(lumped + rng.random(jobs.shape)).astype(np.int64)
    if first_jobs_a_week > 0:
        jobs = jobs + rng.poisson(first_jobs_a_week, jobs.shape)
    return jobs, busy


def _over_unseen(
    over: tuple[np.ndarray, np.ndarray], way: HandOver, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """(n, draws) day of the restring where the bed has ended already, NaN where it has not."""
    chance, since = over
    ended = rng.random((len(chance), draws)) < chance[:, None]
    return np.where(ended, way.over_already(since, draws, rng), np.nan)
