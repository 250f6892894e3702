"""What moved a racket's date: hours of play from the reference life of its string to its own median end, step by step.

In: a Snapshot. Out: one row a racket in play and step (racket_id, limit, step, label, hours, order): the first step is
the life of such a string in reference play, each next one what one thing takes or adds, and their sum is the bed's own
median, in hours of play since it was strung: half of such beds, having lasted as this one has, are ended by then by the
limit that comes first. Hours are on the clock, at the bed's own mix of play and its pace.

Every step is a difference of two medians, each with one thing more in it (spin, level, ...), so that they add up by
construction. The median under the player's multiplier theta ~ Gamma(a, b) is where the added hazard is
b (2**(1/a) - 1). Whether the player complains at all is left out: these are the hours until a player who does would.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import duckdb
import numpy as np
import pandas as pd

from pipeline.wear.limits import LN2, cumulative_hazard
from pipeline.wear.reference import MATERIALS, SESSION_WEIGHTS

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

LIMIT_HORIZON_DAYS = 42
ENOUGH_HOURS = 1.0  # of play on the bed, to take its mix of play from it; else the player's coming play
LEAST_PACE = 0.03  # hours a day: a bed nobody plays would have no hours to speak of
MOST_HOURS = 2000.0
HALVINGS = 45
STEPS = {
    "string": "reference life of the string",
    "build": "gauge, pattern and profile",
    "rest": "rest between sessions",
    "spin": "spin",
    "level": "level of play",
    "sessions": "how hard the sessions were",
    "surface": "surface",
    "club": "how such strings last in this club",
    "player": "this player's history",
    "racket": "this racket's own record",
    "lasted": "it has lasted so far",
    "look": "the inspections",
}
# the play of the beds that are in by what it was like; one pass over the sessions, however many beds came before
_PLAYED = """
select x.bed_row - 1 as bed, coalesce(s.spin, 'moderate') as spin, coalesce(s.level, 'regional') as level, s.surface,
       exact_sum(s.effective_hours * x.share) as hours
from session_beds as x
join rackets_now as r on r.bed_id = x.bed_id
join beds as b on b.bed_id = r.bed_id
join sessions_described as s using (session_row)
where s.played_on <= b.last_day
group by all
order by all
"""
COLUMNS = ("racket_id", "limit", "step", "label", "hours", "order")


def publish_breakdown(s: Snapshot, con: duckdb.DuckDBPyConnection) -> None:
    """The view table `bed_breakdown`."""
    frame = breakdown(s)
    con.register("incoming_breakdown", frame)
    con.execute("create or replace table bed_breakdown as from incoming_breakdown")
    con.unregister("incoming_breakdown")


def breakdown(s: Snapshot) -> pd.DataFrame:
    """The steps of every bed in play."""
    o = s.outlook(LIMIT_HORIZON_DAYS)
    breaks_first = o.p_break[:, -1] >= o.p_feel[:, -1]
    frames = []
    for limit, chosen in (("breaks", breaks_first), ("goes_dead", ~breaks_first)):
        rows = np.flatnonzero(chosen)
        if len(rows):
            medians = medians_by_step(s, limit, rows)
            frames.append(_as_rows(s.beds.racket_id[rows], limit, medians))
    if not frames:
        return pd.DataFrame({c: pd.Series(dtype="object" if c in COLUMNS[:4] else "float64") for c in COLUMNS})
    return pd.concat(frames, ignore_index=True).sort_values(["racket_id", "order"]).reset_index(drop=True)


def _as_rows(racket_id: np.ndarray, limit: str, medians: dict[str, np.ndarray]) -> pd.DataFrame:
    """Differences of consecutive medians, one row a racket and step."""
    values = np.stack(list(medians.values()), axis=1)
    hours = np.diff(values, axis=1, prepend=0.0)
    n, steps = hours.shape
    return pd.DataFrame(
        {
            "racket_id": np.repeat(racket_id, steps),
            "limit": limit,
            "step": np.tile(list(medians), n),
            "label": np.tile([STEPS[name] for name in medians], n),
            "hours": hours.ravel(),
            "order": np.tile(np.arange(1, steps + 1), n),
        }
    )


def medians_by_step(s: Snapshot, limit: str, rows: np.ndarray) -> dict[str, np.ndarray]:
    """step -> (m,) median hours of play with everything up to that step in it. rows: into s.beds."""
    h, learned, now = s.estimate.history, s.estimate.learned, s.beds
    index, player = now.index[rows], now.player[rows]
    last = h.last[index]
    shape = learned.exposure.shape[limit]
    is_break = limit == "breaks"
    lives = learned.exposure.lives
    material = [
        MATERIALS[str(m)] if isinstance(m, str) else MATERIALS["unknown"]
        for m in h.beds["mains_material"].to_numpy()[index]
    ]
    life = (lives.break_hours if is_break else lives.dead_hours)[index]
    rest = np.zeros(len(rows)) if is_break else (learned.shapes.rest_scale * lives.rest)[index]
    pace = _pace(s, rows)
    out = {"string": np.array([m.break_hours if is_break else m.dead_hours for m in material]), "build": life.copy()}
    one = np.ones(len(rows))
    factors = _play_factors(s, rows, limit)

    def at_life(x: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Hours of play at which x lives are used, from a fresh bed at the usual pace."""
        return _reached(lambda hours: hours * weight / life + rest * np.log10(1.0 + 24.0 * hours / pace), x)

    weight = one.copy()
    if not is_break:
        out["rest"] = at_life(one, weight)
    for name, factor in factors.items():
        weight = weight * factor
        out[name] = at_life(one, weight)
    # --- multipliers: u is the expected hazard, the club's own baseline bends it, the newest weeks' level scales it
    family = learned.family[limit][np.maximum(h.family[index], 0)]
    a, b = learned.a[limit][player], learned.b[limit][player]
    mean, own, level, warp = a / b, learned.racket[index], learned.level[limit].level, learned.baseline[limit]
    half = b * (np.power(2.0, 1.0 / a) - 1.0) * mean / level
    club = warp.unwarped(np.full(len(rows), LN2 / level))
    out["club"] = at_life(np.power(club / (LN2 * family), 1.0 / shape), weight)
    with_player = warp.unwarped(half)
    out["player"] = at_life(np.power(with_player / (LN2 * family * mean), 1.0 / shape), weight)
    unit = LN2 * family * mean * own
    out["racket"] = at_life(np.power(with_player / unit, 1.0 / shape), weight)
    # --- from the bed as it stands: what it has outlasted is behind it
    done = (now.abrasion if is_break else now.playability)[rows]
    age, hours_now = now.age_hours[rows], h.hours[last]

    def x_after(more: np.ndarray) -> np.ndarray:
        """Lives used after so many more hours of play."""
        return (done + more * weight) / life + rest * np.log10(1.0 + age + 24.0 * more / pace)

    x_now = x_after(np.zeros(len(rows)))
    z_now = unit * np.power(x_now, shape)
    u_now = (now.expected_breaks if is_break else now.expected_dead)[rows]
    e = learned.exposure
    looked = np.add.reduceat(e.added(h, limit) * learned.factor[limit], h.first)[index]
    bare = cumulative_hazard(e.x[limit][last], shape)
    u_unseen = u_now * np.where(looked > 0, bare / np.maximum(looked, 1e-300), 1.0)
    to_go = warp.unwarped(warp.warped(u_unseen) + half) - u_unseen
    out["lasted"] = hours_now + _reached(lambda more: unit * np.power(x_after(more), shape) - z_now, to_go)
    seen = (now.factor_breaks if is_break else now.factor_dead)[rows]
    to_go = warp.unwarped(warp.warped(u_now) + half) - u_now

    def growth(more: np.ndarray) -> np.ndarray:
        return _faded_growth(x_now, x_after(more), shape, seen, learned.shapes.look_fade) * unit / LN2

    out["look"] = hours_now + _reached(growth, to_go)
    return out


def _faded_growth(x0: np.ndarray, x1: np.ndarray, shape: float, log_look: np.ndarray, fade: float) -> np.ndarray:
    """Hazard between two lives used under a look's multiplier that fades with play: the integral of
    exp(log_look * 0.5**((x - x0) / fade)) dz with z = ln 2 x**shape, by Gauss-Legendre on a few pieces."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    x = x0[..., None] + (x1 - x0)[..., None] * (nodes + 1.0) / 2.0
    look = np.exp(log_look[..., None] * np.power(0.5, (x - x0[..., None]) / fade))
    density = LN2 * shape * np.power(np.maximum(x, 0.0), shape - 1.0)
    return np.asarray((look * density) @ weights * (x1 - x0) / 2.0)


def _reached(rising: Callable[[np.ndarray], np.ndarray], target: np.ndarray) -> np.ndarray:
    """(n,) hours at which a rising function of hours reaches the target, by halving; at most MOST_HOURS."""
    low, high = np.zeros(len(target)), np.full(len(target), MOST_HOURS)
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        is_above = rising(middle) >= target
        high, low = np.where(is_above, middle, high), np.where(is_above, low, middle)
    return (low + high) / 2.0


def _pace(s: Snapshot, rows: np.ndarray) -> np.ndarray:
    """(m,) hours of play a day on the bed: what it has had and what the next weeks bring, together."""
    h, now = s.estimate.history, s.beds
    hours, age_days = h.hours[h.last[now.index[rows]]], now.age_hours[rows] / 24.0
    ahead = s.play_ahead(LIMIT_HORIZON_DAYS).hours[:, :LIMIT_HORIZON_DAYS].sum(axis=1)
    coming = _of_player(s, rows, ahead) * now.share[rows]
    return np.maximum((hours + coming) / (age_days + LIMIT_HORIZON_DAYS), LEAST_PACE)


def _of_player(s: Snapshot, rows: np.ndarray, values: np.ndarray) -> np.ndarray:
    """A player's value of the coming play for each row; 0 where nobody holds the racket."""
    at = {p: i for i, p in enumerate(s.play.players)}
    players = (*s.estimate.history.players, "")
    take = [at.get(players[p], -1) for p in s.beds.player[rows]]
    return np.append(values, 0.0)[take]


def _play_factors(s: Snapshot, rows: np.ndarray, limit: str) -> dict[str, np.ndarray]:
    """step -> (m,) by how much that side of the play makes an hour on the clock count for more or less.

    Taken in turn over the bed's own sessions, each with the ones before it, so that the product is the bed's reference
    hours in an hour of play. A bed that has hardly been played takes its player's coming play, spin and level.
    """
    h, now, weights = s.estimate.history, s.beds, {(f, lv): (a, p) for f, lv, a, p in s.estimate.weights}
    column = 0 if limit == "breaks" else 1
    index = now.index[rows]
    if "bed_play" not in s.frames:
        s.frames["bed_play"] = s.con.execute(_PLAYED).df()
    place = np.full(h.n_beds, -1)
    place[index] = np.arange(len(index))
    played = s.frames["bed_play"].assign(at=lambda f: place[f["bed"]]).query("at >= 0")
    at, running = played["at"].to_numpy(), played["hours"].to_numpy(dtype=float)
    clock = h.hours[h.last[index]]
    is_played = clock >= ENOUGH_HOURS
    people = s.rackets.set_index("racket_id").reindex(now.racket_id[rows])
    coming_hours = _of_player(s, rows, s.play.hours.sum(axis=1))
    coming = _of_player(s, rows, (s.play.abrasion if column == 0 else s.play.playability).sum(axis=1))
    total = np.where(
        is_played,
        (now.abrasion if column == 0 else now.playability)[rows] / np.maximum(clock, ENOUGH_HOURS),
        np.where(coming_hours > 0, coming / np.maximum(coming_hours, 1e-9), 1.0),
    )
    total = np.maximum(total, 0.05)
    out: dict[str, np.ndarray] = {}
    before, product = np.bincount(at, running, len(rows)), np.ones(len(rows))
    for feature in ("spin", "level", "surface"):
        table = {level: weights[feature, level][column] for level in SESSION_WEIGHTS[feature]}
        running = running * played[feature].map(table).fillna(1.0).to_numpy(dtype=float)
        after = np.bincount(at, running, len(rows))
        usual = np.ones(len(rows))
        if feature in people:
            usual = np.array([table.get(str(v), 1.0) for v in people[feature]])
        out[feature] = np.where(is_played, after / np.maximum(before, 1e-9), usual)
        before, product = after, product * out[feature]
    # what is left is how hard an hour was: the activity, the intensity, the balls counted
    sessions = total / product
    if limit == "goes_dead":  # spin and surface do not wear a bed dead
        return {"level": out["level"], "sessions": sessions * out["spin"] * out["surface"]}
    return {"spin": out["spin"], "level": out["level"], "sessions": sessions, "surface": out["surface"]}
