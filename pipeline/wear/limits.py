"""The two limits of a string bed as mathematics: lives, life used, cumulative hazard, survival.

In: play in reference hours, age in hours, what is in the frame. Out: life used x (1 = the median bed has ended),
z = ln 2 * x**k (Weibull; z = ln 2 at x = 1), and survival under a gamma multiplier. Pure functions on arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.wear.reference import MATERIALS, value

LN2 = float(np.log(2.0))
STIFF = ("polyester", "aramid")
REFERENCE_DENSITY = 16 * 19 / 632.0


@dataclass(frozen=True)
class Lives:
    """Reference lives of beds, one entry a bed.

    break_hours: abrasion hours to the median break. dead_hours: playability hours to the median dead bed at no rest.
    rest: part of a life per decade of hours since stringing.
    """

    break_hours: np.ndarray
    dead_hours: np.ndarray
    rest: np.ndarray


def break_features(beds: pd.DataFrame) -> tuple[tuple[str, ...], np.ndarray]:
    """What a club's endings may correct about the life to breaking: names and (n_beds, q) effects on the log life
    at 1.
    """
    gauge, gauge_ref, density = _gauge_and_density(beds)
    shaped = (beds["mains_profile"] == "shaped").to_numpy(dtype=float)
    return ("gauge_exponent", "openness_exponent", "shaped_life"), np.stack(
        [np.log(gauge / gauge_ref), np.log(density / REFERENCE_DENSITY), shaped], axis=1
    )


def _gauge_and_density(beds: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    gauge_ref = np.array([MATERIALS[m].gauge_mm for m in beds["mains_material"].fillna("unknown")])
    gauge = beds["mains_gauge_mm"].to_numpy(dtype=float)
    density = beds["density_per_cm2"].to_numpy(dtype=float)
    return (
        np.where(np.isfinite(gauge), gauge, gauge_ref),
        gauge_ref,
        np.where(np.isfinite(density) & (density > 0), density, REFERENCE_DENSITY),
    )


def lives_of(beds: pd.DataFrame, effects: dict[str, float] | None = None) -> Lives:
    """Reference lives from materials, gauge, profile, pattern and hybrid.

    beds: columns mains_material, crosses_material, mains_gauge_mm (mm), mains_profile, density_per_cm2 (crossings/cm2).
    Unknown strings take the values of `other`; a missing gauge or pattern the reference one.
    effects: learned corrections of the life to breaking, by the names of break_features.
    """
    mains = beds["mains_material"].fillna("unknown").to_numpy()
    crosses = beds["crosses_material"].fillna("unknown").to_numpy()
    of = {m: MATERIALS[m] for m in set(mains) | set(crosses)}
    gauge, gauge_ref, density = _gauge_and_density(beds)
    stiff_mains = np.isin(mains, STIFF)
    stiff_crosses = np.isin(crosses, STIFF)
    break_hours = (
        np.array([of[m].break_hours for m in mains])
        * (gauge / gauge_ref) ** value("gauge_exponent")
        * (density / REFERENCE_DENSITY) ** value("openness_exponent")
        * np.where(beds["mains_profile"].to_numpy() == "shaped", value("shaped_life"), 1.0)
        * np.where(~stiff_mains & stiff_crosses, value("sawn_life"), 1.0)
    )
    if effects:
        names, features = break_features(beds)
        break_hours = break_hours * np.exp(features @ np.array([effects.get(n, 0.0) for n in names]))
    dead_mains = np.array([of[m].dead_hours for m in mains])
    dead_hours = dead_mains * np.where(stiff_mains & ~stiff_crosses, value("soft_cross_life"), 1.0)
    rest = np.array(
        [0.6 * of[m].rest_per_decade + 0.4 * of[c].rest_per_decade for m, c in zip(mains, crosses, strict=True)]
    )
    return Lives(break_hours, dead_hours, rest)


def life_used_breaks(abrasion_hours: np.ndarray, break_hours: np.ndarray) -> np.ndarray:
    """x of breaking: abrasion hours over the reference life."""
    return abrasion_hours / break_hours


def life_used_dead(
    playability_hours: np.ndarray, age_hours: np.ndarray, dead_hours: np.ndarray, rest: np.ndarray
) -> np.ndarray:
    """x of going dead: playability hours over the reference life, plus the rest loss, linear in the log of the age
    in hours.
    """
    return playability_hours / dead_hours + rest * np.log10(1.0 + age_hours)


def cumulative_hazard(x: np.ndarray, shape: float) -> np.ndarray:
    """z = ln 2 * x**shape: Weibull cumulative hazard with median 1."""
    return LN2 * np.power(np.maximum(x, 0.0), shape)


def life_at_hazard(z: np.ndarray, shape: float) -> np.ndarray:
    """Inverse of cumulative_hazard."""
    return np.power(np.maximum(z, 0.0) / LN2, 1.0 / shape)


def survival(added: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Chance to outlast `added` more cumulative hazard under a Gamma(a, rate b) multiplier: (b / (b + added)) ** a."""
    return np.exp(a * (np.log(b) - np.log(b + added)))
