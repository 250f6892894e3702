"""The marginal likelihood of players whose rackets differ: two gamma levels, one under the other, integrated out.

In: endings and hazard of every racket of a player, and the strengths of both levels. Out: each player's log likelihood
with its slopes. A player's multiplier is theta ~ Gamma(a, a), a racket's under it rho ~ Gamma(c, c), and the racket's
endings N meet the hazard theta rho H. Given theta the rackets are in closed form,

    integral over rho: Gamma(c + N) / Gamma(c) c**-N theta**N (1 + theta H / c)**-(c + N)

and what is left is log-concave in t = log theta. It is added up over evenly spaced t (the trapezoidal rule, which
converges faster than any power on such integrands: Trefethen & Weideman, SIAM Review 56, 2014, from memory); to the
left, where it falls off as exp((a + n) t), the points go on as a geometric series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaln, digamma, gammaln

POINTS = 32
STEPS_TO_MODE = 12
SPREADS_LEFT, SPREADS_RIGHT = 8.0, 7.0


@dataclass(frozen=True)
class Marginal:
    """log_like, by_a: (n_players,) log likelihood of each and its slope in a. by_hazard: (n_rackets,) its slope in each
    racket's hazard, which is less the mean of theta times rho."""

    log_like: np.ndarray
    by_a: np.ndarray
    by_hazard: np.ndarray


def marginal(endings: np.ndarray, hazard: np.ndarray, player: np.ndarray, n: int, a: float, c: float) -> Marginal:
    """Both levels integrated out. endings, hazard, player: (n_rackets,), sorted by player, who are 0 to n - 1 and have
    a racket each. a, c: strengths of players and of rackets, in endings."""
    first = np.searchsorted(player, np.arange(n))
    total = np.add.reduceat(endings, first) if n else np.zeros(0)
    power, weight = a + total, c + endings
    t = np.log(power / (a + (np.add.reduceat(hazard, first) if n else total)))
    curve = power
    for _ in range(STEPS_TO_MODE):
        theta = np.exp(t)
        part = theta[player] * hazard / (c + theta[player] * hazard)
        slope = power - a * theta - np.add.reduceat(weight * part, first)
        curve = a * theta + np.add.reduceat(weight * part * (1.0 - part), first)
        t = t + np.clip(slope / curve, -1.0, 1.0)
    spread = 1.0 / np.sqrt(curve)
    # where theta is a ten-thousandth of what the endings say, only the power is left
    left = np.minimum(SPREADS_LEFT * spread, 10.0 + np.maximum(np.log(power), 0.0))
    right = np.minimum(SPREADS_RIGHT * spread, 6.0 + np.maximum(-np.log(power), 0.0))
    gap = (left + right) / (POINTS - 1)
    # everything is against the mode, so that a large strength leaves digits to tell the points apart
    away = gap[:, None] * np.arange(POINTS)[None, :] - left[:, None]
    middle = np.exp(t)
    theta = middle[:, None] * np.exp(away)
    load = theta[player] * hazard[:, None]
    load_there = np.log1p(middle[player] * hazard / c)
    inside = power[:, None] * away - a * middle[:, None] * np.expm1(away)
    inside -= np.add.reduceat(weight[:, None] * (np.log1p(load / c) - load_there[:, None]), first, axis=0)
    share = np.repeat(gap[:, None], POINTS, axis=1)
    beyond = -np.expm1(-power * gap)
    share[:, 0] = gap / beyond
    mass = share * np.exp(inside)
    whole = mass.sum(axis=1)
    mass /= whole[:, None]
    # log (Gamma(c + N) / Gamma(c)) by way of the beta function: a difference of two large logarithms says nothing
    some = np.maximum(endings, 1e-12)
    known = np.add.reduceat(np.where(endings > 0.0, gammaln(some) - betaln(c, some) - endings * np.log(c), 0.0), first)
    there = power * t - a * np.expm1(t) - np.add.reduceat(weight * load_there, first)
    log_like = np.log(whole) + there + (a * np.log(a) - a - gammaln(a)) + known
    # of the leftmost point the mean of log theta is that of all the series it stands for
    mean_log = t + (mass * away).sum(axis=1) - mass[:, 0] * gap * (1.0 - beyond) / beyond
    by_a = np.log(a) + 1.0 - digamma(a) + mean_log - (mass * theta).sum(axis=1)
    mean = (mass[player] * theta[player] / (c + load)).sum(axis=1)
    return Marginal(log_like, by_a, -weight * mean)
