"""The cheapest point to restring: replace at an age, or when it fails, whichever comes first.

In: how lives are spread, the cost of a planned job and of a failing. Out: the age with the lowest cost an hour in the
long run, and that cost. Formula: g(T) = (planned S(T) + failing F(T)) / integral of S from 0 to T; at its lowest,
h(T) integral of S - F(T) = planned / (failing - planned). Hours of play. Source: age replacement, reliability
textbooks. Where beds do not wear out (Weibull shape at most 1), or failing costs no more than a job: never.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import integrate, optimize, special

LONGEST_LIVES = 20.0  # ages are looked for up to so many scales


@dataclass(frozen=True)
class CheapestPoint:
    """age_hours: None means never: wait for the failing. cost_per_hour there; never_per_hour without any replacing."""

    age_hours: float | None
    cost_per_hour: float
    never_per_hour: float


def weibull_cost_per_hour(age_hours: float, shape: float, scale: float, planned: float, failing: float) -> float:
    """Long-run cost an hour of replacing at that age (numerical integration of the survival).

    >>> round(weibull_cost_per_hour(493.05, 2.5, 1000, 1, 5), 7)
    0.003462
    """
    lived, _ = integrate.quad(lambda t: math.exp(-((t / scale) ** shape)), 0.0, age_hours, limit=200)
    survive = math.exp(-((age_hours / scale) ** shape))
    return (planned * survive + failing * (1.0 - survive)) / lived


def weibull_cheapest(shape: float, scale: float, planned: float, failing: float) -> CheapestPoint:
    """The cheapest age for Weibull lives.

    >>> found = weibull_cheapest(2.5, 1000, 1, 5)
    >>> round(found.age_hours, 2), round(found.cost_per_hour, 7), round(found.never_per_hour, 7)
    (493.05, 0.003462, 0.0056353)
    """
    if min(shape, scale, planned, failing) <= 0:
        raise ValueError("Shape, scale and both costs must be above 0.")
    never = failing / (scale * float(special.gamma(1.0 + 1.0 / shape)))
    if shape <= 1.0 or failing <= planned:
        return CheapestPoint(None, never, never)

    def slope(t: float) -> float:
        lived, _ = integrate.quad(lambda u: math.exp(-((u / scale) ** shape)), 0.0, t, limit=200)
        hazard = shape / scale * (t / scale) ** (shape - 1.0)
        return hazard * lived - (1.0 - math.exp(-((t / scale) ** shape))) - planned / (failing - planned)

    high = LONGEST_LIVES * scale
    if slope(high) < 0:
        return CheapestPoint(None, never, never)
    age = float(optimize.brentq(slope, 1e-6 * scale, high, xtol=1e-10 * scale, rtol=1e-12))
    return CheapestPoint(age, weibull_cost_per_hour(age, shape, scale, planned, failing), never)


def cost_per_hour_at(
    ages_hours: np.ndarray,
    life_hours: np.ndarray,
    has_ended: np.ndarray,
    is_failing: np.ndarray,
    planned: float,
    failing: float,
) -> np.ndarray:
    """(ages,) long-run cost an hour of replacing at each age, for lives as they were seen or simulated.

    life_hours: (n,) hours until the end, or so far. has_ended: (n,) False where it had not ended. is_failing: (n,)
    the end cost `failing`; other ends cost `planned`, as does a replacement. Survival is Kaplan-Meier's, failings its
    cumulative incidence (Aalen-Johansen). Ages beyond the longest life seen are nan.
    """
    if not len(life_hours):
        return np.full(len(ages_hours), np.nan)
    order = np.argsort(life_hours, kind="stable")
    t, ended, fails = life_hours[order], has_ended[order], is_failing[order] & has_ended[order]
    n = len(t)
    at_risk = n - np.arange(n)
    step = np.where(ended, 1.0 - 1.0 / at_risk, 1.0)
    survive = np.cumprod(step)
    before = np.concatenate([[1.0], survive[:-1]])
    failed = np.cumsum(np.where(fails, before / at_risk, 0.0))
    lived = np.cumsum(before * np.diff(t, prepend=0.0))
    at = np.searchsorted(t, ages_hours, side="right") - 1
    known = at >= 0
    i = np.maximum(at, 0)
    s_at = np.where(known, survive[i], 1.0)
    f_at = np.where(known, failed[i], 0.0)
    l_at = np.where(known, lived[i], 0.0) + s_at * (ages_hours - np.where(known, t[i], 0.0))
    cost = (planned * (1.0 - f_at) + failing * f_at) / np.maximum(l_at, 1e-12)
    return np.where(ages_hours <= t[-1], cost, np.nan)


def cheapest_seen(
    life_hours: np.ndarray,
    has_ended: np.ndarray,
    is_failing: np.ndarray,
    planned: float,
    failing: float,
    least_saving: float = 0.01,
) -> CheapestPoint:
    """The cheapest age for lives as seen; never where it saves less than `least_saving` of the cost of waiting.

    Ages are looked for where at least a twentieth of beds are still in: the far tail rests on few.
    """
    if len(life_hours) == 0 or not has_ended.any():
        return CheapestPoint(None, math.nan, math.nan)
    longest = float(np.quantile(life_hours, 0.995))
    never = float(cost_per_hour_at(np.array([longest]), life_hours, has_ended, is_failing, planned, failing)[0])
    ages = np.quantile(life_hours, np.linspace(0.01, 0.95, 400))
    cost = cost_per_hour_at(ages[ages > 0], life_hours, has_ended, is_failing, planned, failing)
    ages = ages[ages > 0]
    if not len(ages) or np.isnan(cost).all():
        return CheapestPoint(None, never, never)
    # the curve is flat near its lowest point and noisy: the middle of the ages within 1 % of it
    best = int(np.nanargmin(cost))
    near = np.flatnonzero(cost <= cost[best] * 1.01)
    age = float(ages[near].mean()) if len(near) > 4 else float(ages[best])
    at = float(cost_per_hour_at(np.array([age]), life_hours, has_ended, is_failing, planned, failing)[0])
    if failing <= planned or at > never * (1.0 - least_saving):
        return CheapestPoint(None, never, never)
    return CheapestPoint(age, at, never)
