"""Shapes, prior strengths, session weights and string exponents fitted to the club's own endings.

In: History and what is known of causes and inspections. Out: Fit. Penalised maximum marginal likelihood: the gamma
multipliers of players and of their rackets are integrated out (`nested`), the likelihood of an ending is the hazard
added since the session before its last (so dx/dt is in it), and a normal prior at the trade value, on the log scale,
holds each number where the club has little to say. The gradient is analytic, and its slope at the optimum gives the
spreads.

For one limit, a player's rackets r with endings i and hazards H_r = f * sum(m dz), theta ~ Gamma(a, a), rho ~ Gamma(c):
    log L_p = sum_i r_i log(f m_i dz_i) + log E[theta**n prod_r rho_r**n_r exp(-theta rho_r H_r)]
and, for going dead, a player without any such ending may be one who never reports: log(pi L_p + 1 - pi).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from pipeline.wear.history import History, last_played
from pipeline.wear.limits import LN2
from pipeline.wear.nested import marginal
from pipeline.wear.reference import SESSION_WEIGHTS

LEAST_ADDED = 1e-9  # of hazard in the stretch in which a bed ended
SLOPE_STEP = 1e-3
REFERENCE_LEVELS = {
    "activity": ("singles",),
    "intensity": ("normal", "match"),
    "surface": ("hard",),
    "spin": ("moderate",),
    "level": ("regional",),
}
# spread of the prior on the log scale
SPREAD = {"shape": 0.25, "strength": 0.7, "family": 0.7, "weight": 0.25, "exponent": 1.0, "ratio": 0.3, "rest": 0.4}


@dataclass(frozen=True)
class Problem:
    """What the likelihood of one limit needs; arrays as in History.

    base_life: (n_beds,) reference life of the bed. rest_log: (n_steps,) rest * log10(1 + age) or zeros.
    multiplier: (n_steps,) inspection multiplier. ended: (n_beds,) share of this cause in the bed's ending.
    counts: (n_beds,) 1 where the bed teaches this limit. outlasted: (n_beds,) part of its last stretch that it was in
    for. bed_features: (n_beds, q) log-life effects.
    """

    h: History
    limit: str
    base_life: np.ndarray
    rest_log: np.ndarray
    multiplier: np.ndarray
    ended: np.ndarray
    counts: np.ndarray
    outlasted: np.ndarray
    bed_features: np.ndarray
    bed_feature_names: tuple[str, ...]
    trade_shape: float
    trade_strength: float
    share_reporting: float
    strength_family: float
    strength_racket: float


@dataclass(frozen=True)
class Fit:
    """Fitted numbers of one limit. weights: (feature, level) -> weight; bed_effects: name -> effect on log life.

    spreads: name -> standard deviation, of the logarithm (of bed_effects as they are); see `names_of` for the names.
    steepness: part of the shape that forecasts are made with.
    """

    limit: str
    shape: float
    strength: float
    rest_scale: float
    family: np.ndarray
    weights: dict[tuple[str, str], float]
    bed_effects: dict[str, float]
    log_likelihood: float
    trade_log_likelihood: float
    endings: float
    spreads: dict[str, float]
    steepness: float = 1.0


class _Layout:
    """Where each parameter stands in the vector."""

    def __init__(self, p: Problem) -> None:
        column = 0 if p.limit == "breaks" else 1
        self.weight_keys: list[tuple[str, str]] = []
        trade: list[float] = []
        # (n_rows,) index of the weight of each row of play by feature; -1 where its level is held
        self.codes: dict[str, np.ndarray] = {}
        # levels held at their trade value are part of the offset
        self.offset = np.zeros(len(p.h.play.hours))
        for feature, levels in SESSION_WEIGHTS.items():
            names, code = p.h.play.coded(feature)
            present = set(np.array(names)[np.unique(code[code >= 0])]) if len(names) else set()
            index = {}
            for level, pair in levels.items():
                if level in REFERENCE_LEVELS[feature] or level not in present:
                    continue
                if p.limit == "goes_dead" and feature in ("surface", "spin"):
                    continue
                index[level] = len(self.weight_keys)
                self.weight_keys.append((feature, level))
                trade.append(np.log(pair[column]))
            self.codes[feature] = np.array([*(index.get(n, -1) for n in names), -1], dtype=np.int64)[code]
            held = [0.0 if n in index or n not in levels else float(np.log(levels[n][column])) for n in names]
            self.offset += np.array([*held, 0.0])[code]
        # the last stretch: from the last step played to the end, since a racket may lie in the bag for days
        self.start = last_played(p.h)
        self.is_last_stretch = np.arange(len(p.h.day)) >= self.start[p.h.bed]
        # rackets under players; a bed of nobody's is as if its racket had a player of its own
        owner = np.where(p.h.player >= 0, p.h.player, len(p.h.players) + p.h.racket)
        n_rackets = int(p.h.racket.max(initial=-1)) + 1
        found, self.racket = np.unique(owner * n_rackets + p.h.racket, return_inverse=True)
        owners, self.player = np.unique(found // max(n_rackets, 1), return_inverse=True)
        self.n_rackets, self.n_players = len(found), len(owners)
        self.n_weights = len(self.weight_keys)
        self.trade_weights = np.array(trade)
        self.n_family = len(p.h.families)
        self.n_bed = p.bed_features.shape[1]
        self.size = 3 + self.n_family + self.n_weights + self.n_bed

    def split(self, v: np.ndarray) -> tuple[float, float, float, np.ndarray, np.ndarray, np.ndarray]:
        i = 3
        family = v[i : i + self.n_family]
        i += self.n_family
        weights = v[i : i + self.n_weights]
        return v[0], v[1], v[2], family, weights, v[i + self.n_weights :]


def _segment_cumsum(values: np.ndarray, first: np.ndarray, bed: np.ndarray) -> np.ndarray:
    total = np.cumsum(values)
    return total - (total[first] - values[first])[bed]


def _reverse_segment_cumsum(values: np.ndarray, last: np.ndarray, bed: np.ndarray) -> np.ndarray:
    total = np.cumsum(values[::-1])[::-1]
    after = np.append(total, 0.0)[last + 1]
    return total - after[bed]


def objective(v: np.ndarray, p: Problem, at: _Layout) -> tuple[float, np.ndarray]:
    """Negative penalised log marginal likelihood and its gradient."""
    h = p.h
    log_k, log_a, log_rest, log_f, weights, effects = at.split(v)
    k, a, rest_scale = np.exp(log_k), np.exp(log_a), np.exp(log_rest)
    family = np.maximum(h.family, 0)
    log_w = at.offset.copy()
    for codes in at.codes.values():
        log_w += np.where(codes >= 0, weights[np.maximum(codes, 0)] if at.n_weights else 0.0, 0.0)
    cost = h.play.hours * np.exp(log_w)
    play = np.bincount(h.play.step, cost, len(h.bed))
    inverse_life = np.exp(-(p.bed_features @ effects)) / p.base_life
    play_x = _segment_cumsum(play, h.first, h.bed) * inverse_life[h.bed]
    x = np.maximum(play_x + rest_scale * p.rest_log, 1e-9)
    z = LN2 * np.power(x, k)
    is_first = np.zeros(len(z), dtype=bool)
    is_first[h.first] = True
    dz = z - np.where(is_first, 0.0, np.concatenate([[0.0], z[:-1]]))
    f = np.exp(log_f)[family]
    ended = p.ended * p.counts
    # an ending falls somewhere within the last stretch
    wm = p.multiplier * np.where(at.is_last_stretch, p.outlasted[h.bed], 1.0)
    bed_hazard = np.add.reduceat(wm * dz, h.first) * p.counts
    z_racket = np.bincount(at.racket, bed_hazard * f, at.n_rackets)
    n_racket = np.bincount(at.racket, ended, at.n_rackets)
    # its likelihood is the hazard of that stretch
    has_before = at.start != h.first
    z_start = np.where(has_before, z[np.maximum(at.start - 1, 0)], 0.0)
    added = np.maximum(z[h.last] - z_start, LEAST_ADDED)
    log_like = float((ended * (log_f[family] + np.log(p.multiplier[h.last] * added))).sum())
    made = marginal(n_racket, z_racket, at.player, at.n_players, a, p.strength_racket)
    full, d_a, d_z = made.log_like, made.by_a, made.by_hazard
    if p.limit == "goes_dead":
        # without any such ending the player may be one who never reports
        none = np.bincount(at.player, n_racket, at.n_players) < 0.5
        silent = p.share_reporting * np.exp(np.minimum(full, 0.0))
        mix = silent + 1.0 - p.share_reporting
        speaks = np.where(none, silent / mix, 1.0)
        full = np.where(none, np.log(mix), full)
        d_a, d_z = d_a * speaks, d_z * speaks[at.player]
    log_like += float(full.sum())
    # gradient with respect to every z
    per_bed = d_z[at.racket] * f * p.counts
    next_wm = np.where(np.append(is_first[1:], True), 0.0, np.append(wm[1:], 0.0))
    g = per_bed[h.bed] * (wm - next_wm)
    by_added = ended / added * (added > LEAST_ADDED)
    g[h.last] += by_added
    np.add.at(g, (at.start - 1)[has_before], -by_added[has_before])
    g_x = g * LN2 * k * np.power(x, k - 1.0)
    grad = np.zeros(at.size)
    grad[0] = float((g * z * np.log(x)).sum()) * k
    grad[1] = float(d_a.sum()) * a
    grad[2] = float((g_x * p.rest_log).sum()) * rest_scale
    grad[3 : 3 + at.n_family] = np.bincount(family, ended + d_z[at.racket] * f * bed_hazard, at.n_family)
    tail = _reverse_segment_cumsum(g_x * inverse_life[h.bed], h.last, h.bed)
    row = cost * tail[h.play.step]
    base = 3 + at.n_family
    for codes in at.codes.values():
        used = codes >= 0
        grad[base : base + at.n_weights] += np.bincount(codes[used], row[used], at.n_weights)
    if at.n_bed:
        grad[base + at.n_weights :] = -(p.bed_features.T @ np.add.reduceat(g_x * play_x, h.first))
    penalty = _put_priors(v, p, at, grad)
    return -(log_like - penalty), -grad


def _put_priors(v: np.ndarray, p: Problem, at: _Layout, grad: np.ndarray) -> float:
    """What the priors take off the log likelihood; its gradient is taken off `grad` in place."""
    _, _, _, log_f, weights, effects = at.split(v)
    base = 3 + at.n_family
    penalty = 0.0
    for i, trade, spread in (
        (0, np.log(p.trade_shape), SPREAD["shape"]),
        (1, np.log(p.trade_strength), SPREAD["strength"]),
        (2, 0.0, SPREAD["rest"]),
    ):
        penalty += 0.5 * ((v[i] - trade) / spread) ** 2
        grad[i] -= (v[i] - trade) / spread**2
    # family: Gamma(s, s) on f
    s = p.strength_family
    penalty -= float((s * log_f - s * np.exp(log_f)).sum())
    grad[3 : 3 + at.n_family] += s - s * np.exp(log_f)
    delta = weights - at.trade_weights
    penalty += 0.5 * float((delta**2).sum()) / SPREAD["weight"] ** 2
    grad[base : base + at.n_weights] -= delta / SPREAD["weight"] ** 2
    if at.n_bed:
        spreads = np.array(
            [SPREAD["exponent"] if n.endswith("exponent") else SPREAD["ratio"] for n in p.bed_feature_names]
        )
        penalty += 0.5 * float(((effects / spreads) ** 2).sum())
        grad[base + at.n_weights :] -= effects / spreads**2
    return penalty


def names_of(p: Problem, at: _Layout) -> list[str]:
    """The parameters by name, in the order of the vector."""
    families = [f"family {name}" for name in p.h.families]
    weights = [f"{feature} {level}" for feature, level in at.weight_keys]
    return ["shape", "strength", "rest_scale", *families, *weights, *p.bed_feature_names]


def spreads_at(v: np.ndarray, p: Problem, at: _Layout) -> np.ndarray:
    """(size,) standard deviations by the curvature at the optimum (Laplace): root of the diagonal of the inverse
    Hessian of the penalised marginal likelihood, which is the slope of its analytic gradient."""
    hessian = np.empty((at.size, at.size))
    for i in range(at.size):
        step = np.zeros(at.size)
        step[i] = SLOPE_STEP
        hessian[i] = (objective(v + step, p, at)[1] - objective(v - step, p, at)[1]) / (2.0 * SLOPE_STEP)
    values, vectors = np.linalg.eigh((hessian + hessian.T) / 2.0)
    # a direction that curves the wrong way stands at a bound: it says no more than the prior of the widest number
    return np.asarray(np.sqrt((vectors**2 / np.maximum(values, 1.0 / max(SPREAD.values()) ** 2)[None, :]).sum(axis=1)))


def fit(p: Problem, max_iterations: int = 80, has_spreads: bool = True) -> Fit:
    """Maximise the penalised marginal likelihood from the trade values on. has_spreads: work the spreads out too."""
    at = _Layout(p)
    v0 = np.zeros(at.size)
    v0[0], v0[1] = np.log(p.trade_shape), np.log(p.trade_strength)
    base = 3 + at.n_family
    v0[base : base + at.n_weights] = at.trade_weights
    bounds: list[tuple[float | None, float | None]] = [
        (np.log(0.7), np.log(9.0)),
        (np.log(0.15), np.log(50.0)),
        (-3.0, 1.5),
    ]
    bounds += [(-6.0, 6.0)] * at.n_family + [(-2.5, 2.5)] * (at.n_weights + at.n_bed)
    found = minimize(
        objective, v0, args=(p, at), jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": max_iterations}
    )
    log_k, log_a, log_rest, log_f, weights, effects = at.split(found.x)
    spreads = spreads_at(found.x, p, at) if has_spreads else np.zeros(0)
    return Fit(
        p.limit,
        float(np.exp(log_k)),
        float(np.exp(log_a)),
        float(np.exp(log_rest)),
        np.exp(log_f),
        {key: float(np.exp(w)) for key, w in zip(at.weight_keys, weights, strict=True)},
        dict(zip(p.bed_feature_names, (float(e) for e in effects), strict=True)),
        -float(found.fun),
        -float(objective(v0, p, at)[0]),
        float((p.ended * p.counts).sum()),
        dict(zip(names_of(p, at), (float(x) for x in spreads), strict=False)),
    )
