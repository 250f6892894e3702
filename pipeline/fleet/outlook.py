"""Every bed that is in at the origin, looked at day by day ahead: life used, survival, cumulative incidence by cause.

In: History and Learned, the current rackets' state, ComingPlay. Out: Outlook. p_break (with mishits) and p_feel are
cumulative incidences with all causes active; days left are quantiles of what wear alone would take. The coming play's
uncertainty is averaged over a few quantiles of the player's load. Days are 1, 2, ... after the origin.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from pipeline.fleet.play import ComingPlay
from pipeline.wear.drift import Level
from pipeline.wear.history import SIGNS, History, bed_rows, codes_of, last_played
from pipeline.wear.learning import BREAKS, DEAD, Learned
from pipeline.wear.limits import LN2, cumulative_hazard, life_used_breaks, life_used_dead, survival
from pipeline.wear.looks import group_of, log_word, look_fade, told

if TYPE_CHECKING:
    from pipeline.fleet.takeover import Takeover

LOAD_NODES = 5
# how far a racket's part of its player's play over a fortnight is off what it was (assumption)
SHARE_SPREAD = 0.45
HORIZON_CAP_DAYS = 365.0
LEAST_UNSEEN = 15


@dataclass(frozen=True)
class CurrentBeds:
    """The beds in play at the origin, as arrays (n,): index into History's beds, shares of the player's play, state
    now; factor_*: log of the inspection multiplier from the origin on.
    """

    index: np.ndarray
    racket_id: np.ndarray
    player: np.ndarray
    squad: np.ndarray
    share: np.ndarray
    abrasion: np.ndarray
    playability: np.ndarray
    age_hours: np.ndarray
    factor_breaks: np.ndarray
    factor_dead: np.ndarray
    expected_breaks: np.ndarray
    expected_dead: np.ndarray


@dataclass(frozen=True)
class Outlook:
    """(n, n_days) arrays of the current beds; x_* the expected life used, day by day."""

    beds: CurrentBeds
    days: np.ndarray
    x_breaks: np.ndarray
    x_dead: np.ndarray
    p_break: np.ndarray
    p_feel: np.ndarray
    p_other: np.ndarray
    survive_wear: np.ndarray


def current_beds(h: History, learned: Learned, rackets: pd.DataFrame) -> CurrentBeds:
    """Beds in play. rackets: columns racket_id, bed_id, player_id, share (of the player's play), for those in play."""
    index = bed_rows(h, rackets["bed_id"])
    last = h.last[index]
    now = looks_now(h, learned, rackets)
    return CurrentBeds(
        index=index,
        racket_id=rackets["racket_id"].to_numpy(),
        player=codes_of(rackets["player_id"], h.players),
        squad=codes_of(rackets["squad"], h.squads),
        share=rackets["share"].to_numpy(dtype=float),
        abrasion=h.abrasion[last],
        playability=h.playability[last],
        age_hours=h.age_hours[last],
        factor_breaks=now["breaks"],
        factor_dead=now["goes_dead"],
        expected_breaks=learned.expected["breaks"][last],
        expected_dead=learned.expected["goes_dead"][last],
    )


def looks_now(h: History, learned: Learned, rackets: pd.DataFrame) -> dict[str, np.ndarray]:
    """limit -> (n,) log of the inspection multiplier in force from the origin on, a look on the origin's day included.

    rackets: bed_id (none missing), the last grade of each sign and looked_on, as in rackets_now.
    """
    index = bed_rows(h, rackets["bed_id"])
    looked_on = pd.to_datetime(rackets["looked_on"])
    seen = looked_on.notna().to_numpy()
    look_day = np.where(seen, (looked_on - pd.Timestamp(0)).dt.days.fillna(0).to_numpy(), 0).astype(np.int64)
    step = h.last[index].copy()
    for i in np.flatnonzero(seen):
        first, last = h.first[index[i]], h.last[index[i]]
        step[i] = first + np.searchsorted(h.day[first : last + 1], look_day[i])
    step = np.minimum(step, h.last[index])
    group = group_of(h.beds["mains_material"])[index]
    grades = rackets[list(SIGNS)].fillna(-1).to_numpy(dtype=np.int64)
    grades = told(grades, group, learned.exposure.x["goes_dead"][step])
    out = {}
    for limit, looks in learned.looks.items():
        x = learned.exposure.x[limit]
        fade = np.where(seen, look_fade(x[h.last[index]], x[step], learned.shapes.look_fade), 0.0)
        out[limit] = log_word(looks, group, grades) * fade
    return out


def outlook(
    h: History,
    learned: Learned,
    beds: CurrentBeds,
    play: ComingPlay,
    n_days: int,
    takeover: Takeover | None = None,
    levels: Mapping[str, Level] | None = None,
) -> Outlook:
    """Cumulative incidence per cause over n_days for every current bed.

    takeover: how rackets stand in for each other (none: each keeps its share). levels: of the beds' hazards, by limit
    (none: as learned from all beds). Twice: what the beds do first, then with what their ends leave to the others.
    """
    at = {k: (levels or learned.level)[k].level for k in ("breaks", "goes_dead")}
    if takeover is None:
        return _outlook(h, learned, beds, play, n_days, np.ones((len(beds.index), n_days)), at, LOAD_NODES)
    share = np.ones((len(beds.index), n_days))
    alone = _outlook(h, learned, beds, play, n_days, share, at, 1)
    share = takeover.factors(beds.share, beds.player, alone.p_break + alone.p_feel + alone.p_other)
    return _outlook(h, learned, beds, play, n_days, share, at, LOAD_NODES)


def _outlook(
    h: History,
    learned: Learned,
    beds: CurrentBeds,
    play: ComingPlay,
    n_days: int,
    part: np.ndarray,
    levels: dict[str, float],
    count_nodes: int,
) -> Outlook:
    """part: (n, n_days) play over the bed's share of it. count_nodes: quantiles of the load."""
    n = len(beds.index)
    part = part * beds.share[:, None]
    lives, s = learned.exposure.lives, learned.shapes
    family = np.maximum(h.family[beds.index], 0)
    player = beds.player
    in_play = {p: i for i, p in enumerate(play.players)}
    row = np.array([in_play.get(h.players[p], -1) if p < len(h.players) else -1 for p in player], dtype=np.int64)
    zero = np.zeros((1, play.abrasion.shape[1]))
    abrasion_daily = np.vstack([play.abrasion, zero])[row, :n_days] * part
    playability_daily = np.vstack([play.playability, zero])[row, :n_days] * part
    hours_daily = np.vstack([play.hours, zero])[row, :n_days] * part
    days = np.arange(1, n_days + 1)
    break_hours, dead_hours = lives.break_hours[beds.index], lives.dead_hours[beds.index]
    rest = s.rest_scale * lives.rest[beds.index]
    x0b = life_used_breaks(beds.abrasion, break_hours)
    x0d = life_used_dead(beds.playability, beds.age_hours, dead_hours, rest)
    z0b, z0d = cumulative_hazard(x0b, s.shape_breaks), cumulative_hazard(x0d, s.shape_dead)
    own = learned.racket[beds.index]
    fb, fd = learned.family["breaks"][family] * own, learned.family["goes_dead"][family] * own
    ab, bb = learned.a["breaks"][player], learned.b["breaks"][player]
    ad, bd = learned.a["goes_dead"][player], learned.b["goes_dead"][player]
    u0b, u0d = beds.expected_breaks, beds.expected_dead
    reports = learned.reports[player]
    age_days = (beds.age_hours - 12.0) / 24.0
    cv = np.sqrt(play.spread_level**2 + play.spread_week**2 / 2.0 + play.spread_club**2 + SHARE_SPREAD**2)
    cv = float(np.clip(cv, 0.05, 1.2))
    edges = (np.arange(count_nodes) + 0.5) / count_nodes
    nodes = stats.gamma.ppf(edges, 1.0 / cv**2, scale=cv**2)
    nodes = nodes / nodes.mean()
    p_break = np.zeros((n, n_days))
    p_feel, p_other, wear = np.zeros_like(p_break), np.zeros_like(p_break), np.zeros_like(p_break)
    cum_a, cum_p, cum_h = abrasion_daily.cumsum(1), playability_daily.cumsum(1), hours_daily.cumsum(1)
    ages = beds.age_hours[:, None] + 24.0 * days[None, :]
    for node in nodes:
        xb = life_used_breaks(beds.abrasion[:, None] + node * cum_a, break_hours[:, None])
        xd = life_used_dead(beds.playability[:, None] + node * cum_p, ages, dead_hours[:, None], rest[:, None])
        mb = np.exp(beds.factor_breaks[:, None] * np.power(0.5, (xb - x0b[:, None]) / s.look_fade))
        md = np.exp(beds.factor_dead[:, None] * np.power(0.5, (xd - x0d[:, None]) / s.look_fade))
        growth_b = (
            np.cumsum(mb * np.diff(cumulative_hazard(xb, s.shape_breaks), axis=1, prepend=z0b[:, None]), axis=1)
            * fb[:, None]
        )
        growth_d = (
            np.cumsum(md * np.diff(cumulative_hazard(xd, s.shape_dead), axis=1, prepend=z0d[:, None]), axis=1)
            * fd[:, None]
        )
        addb = _added(learned, "breaks", u0b, growth_b, ab / bb) * levels["breaks"]
        addd = _added(learned, "goes_dead", u0d, growth_d, ad / bd) * levels["goes_dead"]
        sb = survival(addb, ab[:, None], bb[:, None])
        sd = 1.0 - reports[:, None] * (1.0 - survival(addd, ad[:, None], bd[:, None]))
        sm = np.exp(-learned.mishit_per_hour * node * cum_h)
        rate = learned.other.rate(
            beds.squad[:, None], player[:, None], age_days[:, None] + days[None, :], np.maximum(xb, xd)
        )
        so = np.exp(-np.cumsum(rate, axis=1))
        total = sb * sd * sm * so
        before = np.concatenate([np.ones((n, 1)), total[:, :-1]], axis=1)
        hazards = [_step_hazard(v) for v in (sb, sd, sm, so)]
        all_hazard = np.maximum(sum(hazards), 1e-15)
        lost = before - total
        p_break += np.cumsum(lost * (hazards[0] + hazards[2]) / all_hazard, axis=1)
        p_feel += np.cumsum(lost * hazards[1] / all_hazard, axis=1)
        p_other += np.cumsum(lost * hazards[3] / all_hazard, axis=1)
        wear += sb * sd * sm
    k = float(len(nodes))
    x_breaks = life_used_breaks(beds.abrasion[:, None] + cum_a, break_hours[:, None])
    x_dead = life_used_dead(beds.playability[:, None] + cum_p, ages, dead_hours[:, None], rest[:, None])
    return Outlook(beds, days, x_breaks, x_dead, p_break / k, p_feel / k, p_other / k, wear / k)


def last_seen_play(h: History) -> np.ndarray:
    """(n_beds,) day since 1970 of a worn-out bed's last play, of beds whose play was written down with the racket
    within the last year; NaN for the others.
    """
    if h.n_beds == 0:
        return np.zeros(0)
    played_on = h.day[last_played(h)]
    named = np.sqrt(h.share_variance[h.last]) < 0.1 * np.maximum(h.hours[h.last], 0.5)
    worn = np.isin(h.cause, (BREAKS, DEAD)) & named & (h.hours[h.last] > 0.5) & (h.day[h.last] > h.as_of_day - 365)
    return np.where(worn, played_on, np.nan)


def unseen_days(h: History) -> np.ndarray:
    """(n,) days, at most 14, between a worn-out bed's last play and the day on which it was known that it had ended: a
    racket often lies in the bag before it is handed in. A short usual delay where too few are known."""
    handed_in = (pd.to_datetime(h.beds["handed_in_on"]) - pd.Timestamp(0)).dt.days.to_numpy(dtype=float)
    known_on = np.fmax(handed_in, h.day[h.last])
    known = np.clip(known_on - last_seen_play(h), 0.0, 14.0)
    known = known[np.isfinite(known)]
    return known if len(known) >= LEAST_UNSEEN else np.array([0.0, 0.0, 0.0, 1.0, 1.0, 2.0])


def _added(learned: Learned, limit: str, u0: np.ndarray, growth: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """(n, n_days) cumulative hazard added per unit of the player's multiplier: the growth through the club's own
    baseline. u0: (n,) expected hazard so far. mean: (n,) the player's mean multiplier.
    """
    warp = learned.baseline[limit]
    added = warp.warped(u0[:, None] + growth * mean[:, None]) - warp.warped(u0)[:, None]
    return np.asarray(added / mean[:, None])


def _step_hazard(survive: np.ndarray) -> np.ndarray:
    """Hazard of each day from survival at the ends of the days."""
    log_s = np.log(np.maximum(survive, 1e-12))
    return np.maximum(-np.diff(log_s, axis=1, prepend=0.0), 0.0)


def days_left(o: Outlook, quantiles: tuple[float, ...] = (0.1, 0.5, 0.9)) -> np.ndarray:
    """(n, quantiles) days until wear alone would have ended the bed with that chance; beyond the horizon by the last
    fortnight's hazard, at most HORIZON_CAP_DAYS."""
    n, n_days = o.survive_wear.shape
    out = np.zeros((n, len(quantiles)))
    surv = np.concatenate([np.ones((n, 1)), o.survive_wear], axis=1)
    tail = np.maximum((np.log(np.maximum(surv[:, -15], 1e-12)) - np.log(np.maximum(surv[:, -1], 1e-12))) / 14.0, 1e-6)
    for j, q in enumerate(quantiles):
        target = 1.0 - q
        inside = surv[:, -1] <= target
        at = np.argmax(surv <= target, axis=1)
        upper, lower = surv[np.arange(n), np.maximum(at - 1, 0)], surv[np.arange(n), at]
        part = np.where(upper > lower, (upper - target) / np.maximum(upper - lower, 1e-12), 0.0)
        beyond = n_days + np.log(np.maximum(surv[:, -1], 1e-12) / target) / tail
        out[:, j] = np.where(inside, at - 1 + part, np.minimum(beyond, HORIZON_CAP_DAYS))
    return np.minimum(out, HORIZON_CAP_DAYS)


def prob_dead(x: np.ndarray, shape: float) -> np.ndarray:
    """1 - 2**(-x**shape): chance that a bed with life used x is dead under the reference multiplier."""
    return 1.0 - np.exp(-LN2 * np.power(np.maximum(x, 0.0), shape))
