"""Tension left from the pitch of the tapped bed.

In: pitch in Hz, and either the bed's first pitch or its frame, strings and pull. Out: tension left as a part of that a
day after stringing, with its spread. Tension goes as the pitch squared (Cross, Measuring string tension, 2006):
f = 1/2 sqrt(T / (m L)), L = sqrt(bed area), m = mass of a string of that length. The tension in the bed just after
stringing is about 0.70 of the machine's pull (Cross & Bower, Sports Engineering 4, 2001). Spreads are of the natural
logarithm, so that 0.03 is about 3 %.
"""

from __future__ import annotations

import numpy as np

from pipeline.wear.reference import value

NEWTON_PER_KG = 9.80665  # exact definition of the kilogram-force
FIRST_READING_DAYS = 3  # a reading so soon after stringing is the bed's own mark to hold later ones against


def linear_density_kg_m(density_g_cm3: np.ndarray, gauge_mm: np.ndarray) -> np.ndarray:
    """(n,) mass of a metre of string, kg/m: density times the area of a round cross-section."""
    return np.asarray(density_g_cm3 * 1000.0 * np.pi / 4.0 * np.square(gauge_mm / 1000.0))


def tension_newton(pitch_hz: np.ndarray, area_cm2: np.ndarray, density_kg_m: np.ndarray) -> np.ndarray:
    """(n,) tension in the bed, N: the inverse of pitch_at. area_cm2: of the bed. density_kg_m: mass of a metre of
    string.
    """
    length_m = np.sqrt(area_cm2) / 100.0
    return np.asarray(np.square(2.0 * pitch_hz) * density_kg_m * np.square(length_m))


def pitch_at(tension_n: np.ndarray, area_cm2: np.ndarray, density_kg_m: np.ndarray) -> np.ndarray:
    """(n,) pitch of the tapped bed, Hz: 1/2 sqrt(T / (m L)) with L = sqrt(area) and m = density_kg_m L.

    Example (Cross 2006): 62 lb in 100 square inches of 1.25 mm polyester. The pull itself would give 794 Hz (at
    1.38 g/cm3), outside the 500-700 Hz that beds sound at; 0.70 of it gives 665 Hz.
    """
    length_m = np.sqrt(area_cm2) / 100.0
    return np.asarray(0.5 * np.sqrt(tension_n / density_kg_m) / length_m)


def strung_tension_newton(pull_kg: np.ndarray) -> np.ndarray:
    """(n,) tension in the bed just after stringing, N, from the machine's pull in kg."""
    return np.asarray(value("strung_part_of_pull") * pull_kg * NEWTON_PER_KG)


def left_by_first_reading(
    pitch_hz: np.ndarray, first_hz: np.ndarray, left_at_first: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) part of the tension left and its log spread, from two readings of one bed.

    left_at_first: part the bed had left when the first was taken, 1 within the first day. Each reading is off by
    `pitch_error`, twice that in tension.
    """
    left = np.square(pitch_hz / first_hz) * left_at_first
    return np.asarray(left), np.full(np.shape(left), 2.0 * np.sqrt(2.0) * value("pitch_error"))


def left_by_pull(
    pitch_hz: np.ndarray, pull_kg: np.ndarray, area_cm2: np.ndarray, density_kg_m: np.ndarray, rest_loss_24h: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) part of the tension left and its log spread, from one reading and what the racket was strung with.

    rest_loss_24h: part lost in the first day, since what is left is held against the bed a day after stringing.
    """
    after_a_day = strung_tension_newton(pull_kg) * (1.0 - rest_loss_24h)
    left = tension_newton(pitch_hz, area_cm2, density_kg_m) / after_a_day
    spread = np.hypot(2.0 * value("pitch_error"), value("pitch_formula_error"))
    return np.asarray(left), np.full(np.shape(left), spread)


def combined(
    left: np.ndarray, spread: np.ndarray, other: np.ndarray, other_spread: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Two independent estimates of one thing as one: the mean of their logarithms, weighted by precision.

    An estimate that is not there (NaN) leaves the other as it is. All (n,); spreads are of the logarithm.
    """
    weight = np.where(np.isfinite(left) & (left > 0), 1.0 / np.square(spread), 0.0)
    other_weight = 1.0 / np.square(other_spread)
    log_left = np.log(np.where(weight > 0, left, 1.0))
    total = weight + other_weight
    return np.exp((weight * log_left + other_weight * np.log(other)) / total), np.asarray(1.0 / np.sqrt(total))
