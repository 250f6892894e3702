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
from pipeline.wear.learning import BREAKS, DEAD, LIMITS, Learned
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
    ahead = _Ahead(h, learned, beds, _play_ahead(h, beds, play, n_days, part), n_days)
    sums = np.zeros((4, len(beds.index), n_days))
    nodes = _load_nodes(play, count_nodes)
    for node in nodes:
        x_breaks, x_dead = ahead.life_used(float(node))
        by_breaks = ahead.survive("breaks", x_breaks, levels["breaks"])
        by_feel = 1.0 - ahead.reports * (1.0 - ahead.survive("goes_dead", x_dead, levels["goes_dead"]))
        by_mishits = np.exp(-learned.mishit_per_hour * node * ahead.hours)
        by_others = np.exp(-np.cumsum(ahead.other_rate(np.maximum(x_breaks, x_dead)), axis=1))
        total = by_breaks * by_feel * by_mishits * by_others
        hazards = [_step_hazard(survive) for survive in (by_breaks, by_feel, by_mishits, by_others)]
        all_hazard = np.maximum(sum(hazards), 1e-15)
        lost = np.concatenate([np.ones((len(total), 1)), total[:, :-1]], axis=1) - total
        sums[0] += np.cumsum(lost * (hazards[0] + hazards[2]) / all_hazard, axis=1)
        sums[1] += np.cumsum(lost * hazards[1] / all_hazard, axis=1)
        sums[2] += np.cumsum(lost * hazards[3] / all_hazard, axis=1)
        sums[3] += by_breaks * by_feel * by_mishits
    p_break, p_feel, p_other, survive_wear = sums / float(len(nodes))
    x_breaks, x_dead = ahead.life_used(1.0)
    return Outlook(beds, np.arange(1, n_days + 1), x_breaks, x_dead, p_break, p_feel, p_other, survive_wear)


def _play_ahead(
    h: History, beds: CurrentBeds, play: ComingPlay, n_days: int, part: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n, n_days) each: expected play on every bed by the end of each day, as abrasion, as playability, in hours."""
    row = codes_of(np.array([*h.players, None], dtype=object)[beds.player], play.players)
    nobody, share = np.zeros((1, play.hours.shape[1])), part * beds.share[:, None]
    abrasion, playability, hours = (
        (np.vstack([daily, nobody])[row, :n_days] * share).cumsum(1)
        for daily in (play.abrasion, play.playability, play.hours)
    )
    return abrasion, playability, hours


def _load_nodes(play: ComingPlay, count: int) -> np.ndarray:
    """(count,) quantiles of a bed's play over what is expected of it, their mean 1."""
    cv = np.sqrt(play.spread_level**2 + play.spread_week**2 / 2.0 + play.spread_club**2 + SHARE_SPREAD**2)
    cv = float(np.clip(cv, 0.05, 1.2))
    nodes = stats.gamma.ppf((np.arange(count) + 0.5) / count, 1.0 / cv**2, scale=cv**2)
    return np.asarray(nodes / nodes.mean())


class _Ahead:
    """The current beds over the coming days, under a multiple of the expected play."""

    def __init__(
        self, h: History, learned: Learned, beds: CurrentBeds, play: tuple[np.ndarray, ...], n_days: int
    ) -> None:
        self.learned, self.beds, (self.abrasion, self.playability, self.hours) = learned, beds, play
        days, lives, shapes = np.arange(1, n_days + 1), learned.exposure.lives, learned.shapes
        self.break_hours, self.dead_hours = lives.break_hours[beds.index], lives.dead_hours[beds.index]
        self.rest = shapes.rest_scale * lives.rest[beds.index]
        self.age_hours = beds.age_hours[:, None] + 24.0 * days[None, :]
        self.age_days = ((beds.age_hours - 12.0) / 24.0)[:, None] + days[None, :]
        self.reports = learned.reports[beds.player][:, None]
        self.x_now = {
            "breaks": life_used_breaks(beds.abrasion, self.break_hours),
            "goes_dead": life_used_dead(beds.playability, beds.age_hours, self.dead_hours, self.rest),
        }
        family, own = np.maximum(h.family[beds.index], 0), learned.racket[beds.index]
        self.unit = {k: learned.family[k][family] * own for k in LIMITS}
        self.look = {"breaks": beds.factor_breaks, "goes_dead": beds.factor_dead}
        self.expected = {"breaks": beds.expected_breaks, "goes_dead": beds.expected_dead}

    def life_used(self, load: float) -> tuple[np.ndarray, np.ndarray]:
        """(n, n_days) each, by limit."""
        beds = self.beds
        return (
            life_used_breaks(beds.abrasion[:, None] + load * self.abrasion, self.break_hours[:, None]),
            life_used_dead(
                beds.playability[:, None] + load * self.playability, self.age_hours, self.dead_hours[:, None],
                self.rest[:, None],
            ),
        )  # fmt: skip

    def survive(self, limit: str, x: np.ndarray, level: float) -> np.ndarray:
        """(n, n_days) chance that this limit has not ended the bed, whoever reports it. x: life used."""
        learned, player, now = self.learned, self.beds.player, self.x_now[limit]
        word = self.look[limit][:, None] * np.power(0.5, (x - now[:, None]) / learned.shapes.look_fade)
        shape = learned.exposure.shape[limit]
        z_now = cumulative_hazard(now, shape)
        added = np.diff(cumulative_hazard(x, shape), axis=1, prepend=z_now[:, None])
        growth = np.cumsum(np.exp(word) * added, axis=1) * self.unit[limit][:, None]
        a, b = learned.a[limit][player], learned.b[limit][player]
        hazard = _added(learned, limit, self.expected[limit], growth, a / b) * level
        return np.asarray(survival(hazard, a[:, None], b[:, None]))

    def other_rate(self, wear: np.ndarray) -> np.ndarray:
        """(n, n_days) a day, of restrings that wear did not ask for. wear: the further limit's life used."""
        beds = self.beds
        return np.asarray(self.learned.other.rate(beds.squad[:, None], beds.player[:, None], self.age_days, wear))


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
