"""String the coming weeks take, draw by draw, from the simulation of the fleet.

In: a Snapshot, its Simulated, metres by racket, the catalogue, who brings their own string. Out: Demand, metres by
string, draw and week, and by player. Jobs add up to those of the forecast: what a busy week and first stringings add
is spread over the strings in proportion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fleet.reels.catalogue import Catalogue
from pipeline.fleet.simulation import Simulated

PRIOR_JOBS = 4.0  # jobs with the club's habits put beside a player's own
YEAR_DAYS = 365


@dataclass(frozen=True)
class Demand:
    """strings: ids that stand for a string, (n). metres: (n, draws, weeks). by_player: (players, n, weeks) mean metres;
    players: ids, None for rackets of the club. job_m: string_id -> metres of one part, or of a full bed where mains
    and crosses are the same: what one length must be cut into. unknown: racket ids with jobs but no string on file.
    """

    strings: tuple[str, ...]
    metres: np.ndarray
    players: tuple[str | None, ...]
    by_player: np.ndarray
    job_m: dict[str, float]
    unknown: tuple[str, ...]


def club_share(uses: pd.DataFrame, rackets: pd.DataFrame, as_of: pd.Timestamp) -> np.ndarray:
    """(rackets,) chance that a job takes the club's own string at the club's bench, from the last year's jobs."""
    recent = uses[(uses["part"] == "mains") & (uses["strung_on"] > as_of - pd.Timedelta(days=YEAR_DAYS))]
    overall = (recent["takes_stock"].sum() + 1.0) / (len(recent) + 1.0)
    by_player = recent.groupby("player_id")["takes_stock"].agg(["sum", "count"])
    share = (by_player["sum"] + PRIOR_JOBS * overall) / (by_player["count"] + PRIOR_JOBS)
    return np.asarray(rackets["player_id"].map(share).fillna(overall), dtype=float)


def demand(
    made: Simulated,
    rackets: pd.DataFrame,
    strung_with: pd.DataFrame,
    metres: pd.DataFrame,
    known: Catalogue,
    from_club: np.ndarray,
    loss: float,
    rng: np.random.Generator,
) -> Demand:
    """rackets: the rows that Simulated counts by. strung_with: racket_id, mains_string_id, crosses_string_id (the
    set-up in force). from_club: (rackets,) chance that the club's string is taken. loss: metres gone per metre strung.
    """
    ids = rackets["racket_id"]
    by_racket = metres.set_index("racket_id").reindex(ids)
    setup = strung_with.set_index("racket_id").reindex(ids)
    strings = tuple(known.kinds)
    place = {string_id: i for i, string_id in enumerate(strings)}
    kind = {
        part: setup[f"{part}_string_id"].map(known.stands_for).map(place).fillna(-1).to_numpy(dtype=np.int64)
        for part in ("mains", "crosses")
    }
    cut = {part: by_racket[f"{part}_m"].to_numpy(dtype=float) for part in ("mains", "crosses")}
    draws, weeks = made.jobs.shape
    cells = draws * weeks
    takes = rng.random(len(made.racket)) < from_club[made.racket]
    cell = made.draw * weeks + made.week
    row_jobs = np.bincount(cell, minlength=cells).astype(float)
    # the forecast's jobs over the simulated rows: a busier week, first stringings
    factor = made.jobs.ravel() / np.maximum(row_jobs, 1.0)
    players: tuple[str | None, ...] = (*rackets["player_id"].dropna().unique(), None)
    who = {player: i for i, player in enumerate(players)}
    player = np.array([who.get(p if isinstance(p, str) else None, len(players) - 1) for p in rackets["player_id"]])
    out = np.zeros((len(strings), cells))
    by_player = np.zeros((len(players), len(strings), weeks))
    for part in ("mains", "crosses"):
        of = kind[part][made.racket]
        chosen = takes & (of >= 0)
        r, c, s = made.racket[chosen], cell[chosen], of[chosen]
        m = cut[part][r] * loss
        out += np.bincount(s * cells + c, m, len(strings) * cells).reshape(len(strings), cells)
        shape = (len(players), len(strings), weeks)
        flat = np.ravel_multi_index((player[r], s, made.week[chosen]), shape)
        by_player += np.bincount(flat, m * factor[c], int(np.prod(shape))).reshape(shape) / draws
    empty = (row_jobs == 0) & (made.jobs.ravel() > 0)
    if empty.any() and row_jobs.sum() > 0:
        mean_job = out.sum(axis=1) / row_jobs.sum()
        out[:, empty] = mean_job[:, None]
        factor = np.where(empty, made.jobs.ravel(), factor)
    out *= factor[None, :]
    unknown = ids[(kind["mains"] < 0) & np.isin(np.arange(len(ids)), np.unique(made.racket))]
    return Demand(
        strings,
        out.reshape(len(strings), draws, weeks),
        players,
        by_player,
        _piece_metres(strings, kind, cut, made),
        tuple(unknown),
    )


def _piece_metres(
    strings: tuple[str, ...], kind: dict[str, np.ndarray], cut: dict[str, np.ndarray], made: Simulated
) -> dict[str, float]:
    """Mean metres a job takes of each string: the whole bed where both parts are of it, else its part."""
    jobs = np.bincount(made.racket, minlength=len(kind["mains"])).astype(float)
    out = {}
    for i, string_id in enumerate(strings):
        metres = cut["mains"] * (kind["mains"] == i) + cut["crosses"] * (kind["crosses"] == i)
        mine = metres > 0
        weight = jobs * mine if (jobs * mine).sum() > 0 else mine.astype(float)
        usual = float(np.nanmean(cut["mains"] + cut["crosses"])) if len(jobs) else 11.5
        out[string_id] = float(np.average(metres[mine], weights=weight[mine])) if mine.any() else usual
    return out
