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
from pipeline.fleet.outlook import SHARE_SPREAD, last_seen_play, looks_now, unseen_days
from pipeline.fleet.play import ComingPlay, weekly_play
from pipeline.fleet.weeks_ahead import Fleet, LimitAhead, Weeks, gamma_around_one, march
from pipeline.fleet.young_beds import YOUNG_DAYS
from pipeline.wear.history import History
from pipeline.wear.learning import Learned
from pipeline.wear.limits import LN2

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
    n, s = len(beds), learned.shapes
    position = pd.Series(np.arange(h.n_beds), index=h.beds["bed_id"])
    index = position.loc[beds["bed_id"]].to_numpy(dtype=np.int64) if n else np.zeros(0, dtype=np.int64)
    last = h.last[index]
    players = {p: i for i, p in enumerate(h.players)}
    squads = {q: i for i, q in enumerate(h.squads)}
    n_players = len(players)
    player = np.array([players.get(p, n_players) for p in beds["player_id"]], dtype=np.int64)
    squad = np.array([squads.get(q, len(squads)) for q in beds["squad"]], dtype=np.int64)
    family = np.maximum(h.family[index], 0)

    base = weekly_play(play, h.players, n_weeks)
    # what an hour on the clock costs a bed: the player's own, the same in every week
    total = np.maximum(base["hours"].sum(axis=1), SMALL)
    abrasion_per_hour = np.maximum(base["abrasion"].sum(axis=1) / total, SMALL)[player]
    playability_per_hour = (base["playability"].sum(axis=1) / total)[player]
    in_play = (beds["status"] == "in_play").to_numpy()
    now = looks_now(h, learned, beds)
    origin = as_of if as_of is not None else pd.Timestamp(0) + pd.Timedelta(days=h.as_of_day)
    way = way or hand_over(h.beds, unseen_days(h), (), origin, last_seen_play(h))
    way = way.drawn(draws, rng)
    lives = learned.exposure.lives
    rest = s.rest_scale * lives.rest[index]
    age_hours = np.where(in_play, h.age_hours[last], 0.0)
    used_play = np.where(in_play, h.playability[last], 0.0) / lives.dead_hours[index]
    x_now = {
        "breaks": np.where(in_play, h.abrasion[last], 0.0) / lives.break_hours[index],
        "goes_dead": used_play + rest * np.log10(1.0 + age_hours),
    }
    weekly = beds["share"].to_numpy(dtype=float) * base["hours"].mean(axis=1)[player]
    ahead = {}
    for limit, life, per_hour, shape in (
        ("breaks", lives.break_hours[index], abrasion_per_hour, s.shape_breaks),
        ("goes_dead", lives.dead_hours[index], playability_per_hour, s.shape_dead),
    ):
        a, b, level = learned.a[limit], learned.b[limit], learned.level[limit]
        unit = (a / b)[player] * learned.family[limit][family] * learned.racket[index]
        x_young = weekly[:, None] * (per_hour / life)[:, None] * (np.array(YOUNG_DAYS) / 7.0)
        if limit == "goes_dead":
            x_young += rest[:, None] * np.log10(1.0 + 24.0 * np.array(YOUNG_DAYS))
        ahead[limit] = LimitAhead(
            x_now=x_now[limit],
            u_now=np.where(in_play, learned.expected[limit][last], 0.0),
            # an inspection's word fades with play: half of its log is a fair mean over what is left
            look_now=np.where(in_play, np.exp(0.5 * now[limit]), 1.0),
            unit=unit,
            life=life,
            per_hour=per_hour,
            shape=shape,
            baseline=learned.baseline[limit],
            a=a,
            b=b,
            level=level.level * gamma_around_one(level.spread, (draws,), rng),
            young_at=learned.baseline[limit].warped(LN2 * unit[:, None] * np.power(x_young, shape)),
            young_parts=np.ones(len(YOUNG_DAYS)) if young is None else young[limit],
        )
    strung_first = np.full((n, draws), np.nan, dtype=np.float32)
    waited = np.nan_to_num(beds["waiting_days"].to_numpy(dtype=float))[~in_play]
    strung_first[~in_play] = way.still_waiting(waited, draws, rng)
    if over is not None:
        strung_first[in_play] = _over_unseen(over, way, draws, rng)
    made = march(
        Fleet(
            player=player,
            squad=squad,
            share=beds["share"].to_numpy(dtype=float),
            strung_first=strung_first,
            age_hours=age_hours,
            used_play=used_play,
            rest=rest,
            breaks=ahead["breaks"],
            dead=ahead["goes_dead"],
            reports=learned.reports,
            other=learned.other,
            mishit_per_hour=learned.mishit_per_hour,
        ),
        Weeks(
            hours=base["hours"],
            spread_level=play.spread_level,
            spread_week=play.spread_week,
            spread_share=SHARE_SPREAD,
            # the club's error is partly lasting, partly each week's own
            club=gamma_around_one(play.spread_club * 0.7, (draws, 1), rng)
            * gamma_around_one(play.spread_club * 0.7, (draws, n_weeks), rng),
        ),
        way,
        draws,
        rng,
    )
    racket, draw, away_from, away_until, cause = made.away
    full = way.limit()
    if full is not None:
        away_until = served(draw, away_until, *full, draws)
    inside = away_until < 7.0 * n_weeks
    cell = draw[inside] * n_weeks + (away_until[inside] // 7).astype(np.int64)
    # what waits already is known: the lumps are those of what is still to come
    waited = np.isfinite(strung_first)[racket[inside], draw[inside]] & (away_from[inside] == 0.0)
    jobs, known = (np.bincount(c, minlength=draws * n_weeks).reshape(draws, n_weeks) for c in (cell, cell[waited]))
    lumped = known + (jobs - known) * lumpy(jobs - known, spread, rng)
    if full is not None:
        lumped = carried(lumped, full[0][:, : 7 * n_weeks].reshape(-1, n_weeks, 7).sum(axis=2) * full[1])
    busy = np.where(jobs > 0, lumped / np.maximum(jobs, 1), 1.0)
    racket, draw, cause, week = racket[inside], draw[inside], cause[inside], cell % n_weeks
    jobs = np.floor(lumped + rng.random(jobs.shape)).astype(np.int64)
    if first_jobs_a_week > 0:
        jobs = jobs + rng.poisson(first_jobs_a_week, jobs.shape)
    if over is not None:
        # a bed that has ended unseen is over on day 0
        made.ends[in_play] = np.where(np.isfinite(strung_first[in_play]), 0.0, made.ends[in_play])
    original = beds["index"].to_numpy()
    return Simulated(
        jobs=jobs,
        draw=draw,
        week=week,
        racket=original[racket],
        cause=cause,
        ends=made.ends,
        busy=busy,
        beds=original,
        away_racket=made.away[0],
        away_draw=made.away[1],
        away_from=away_from,
        away_until=away_until,
        playability=np.multiply(made.hours, playability_per_hour.astype(np.float32)[:, None, None], out=made.hours),
    )


def _over_unseen(
    over: tuple[np.ndarray, np.ndarray], way: HandOver, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """(n, draws) day of the restring where the bed has ended already, NaN where it has not."""
    chance, since = over
    ended = rng.random((len(chance), draws)) < chance[:, None]
    return np.where(ended, way.over_already(since, draws, rng), np.nan)
