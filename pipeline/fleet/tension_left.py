"""Tension left in every bed in play, with its band, from the pitch where it was measured and else from the model.

In: a Snapshot. Out: one row a racket in play: racket_id, tension_left_pct, p10, p90 (per cent of the tension a day
after stringing, 80 % band), source ('pitch' or 'model'). A reading is carried to the origin with the loss that the
model sees
since then, and weighed against the model by how sure each is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import duckdb
import numpy as np
import pandas as pd

from pipeline.sql import relation_text
from pipeline.wear import pitch
from pipeline.wear.bed_step import step_on
from pipeline.wear.reference import MATERIALS, value
from pipeline.wear.tension import tension_left_percent

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

Z_80 = 1.2815515655446004  # half-width of the 80 % band of a normal distribution, in standard deviations
LEAST_SPREAD = 0.02  # of the model's tension left, on a bed that has lost nothing yet (assumption)
USUAL_HEAD_CM2 = 632.0
COLUMNS = ("racket_id", "tension_left_pct", "p10", "p90", "source")


def publish_tension(s: Snapshot, con: duckdb.DuckDBPyConnection) -> None:
    """The view table `tension_left`."""
    frame = tension_left(s)
    con.register("incoming_tension", frame)
    con.execute("create or replace table tension_left as from incoming_tension")
    con.unregister("incoming_tension")


def tension_left(s: Snapshot) -> pd.DataFrame:
    """Tension left of the beds in play."""
    h, now = s.estimate.history, s.beds
    index, last = now.index, h.last[now.index]
    readings = _readings(s)
    model = _by_model(s, index, h.playability[last], h.age_hours[last])
    model_spread = np.maximum(value("tension_model_error") * (1.0 - model) / model, LEAST_SPREAD)
    left, spread = np.full(len(index), np.nan), np.full(len(index), np.nan)
    row = {bed: i for i, bed in enumerate(h.beds["bed_id"].to_numpy()[index])}
    mine = readings[readings["bed_id"].isin(row)]
    for bed_id, looks in mine.groupby("bed_id", sort=True):
        i = row[str(bed_id)]
        left[i], spread[i] = _from_readings(s, int(index[i]), looks)
        at = step_on(h, index[i : i + 1], looks["day_number"].to_numpy()[-1:])
        then = _by_model(s, index[i : i + 1], h.playability[at], h.age_hours[at])[0]
        since = model[i] / then
        left[i] *= since
        spread[i] = np.hypot(spread[i], value("tension_model_error") * (1.0 - since))
    best, best_spread = pitch.combined(left, spread, model, model_spread)
    best = np.minimum(best, 1.0)  # tension does not come back
    return pd.DataFrame(
        {
            "racket_id": now.racket_id,
            "tension_left_pct": 100.0 * best,
            "p10": 100.0 * best * np.exp(-Z_80 * best_spread),
            "p90": 100.0 * np.minimum(best * np.exp(Z_80 * best_spread), 1.0),
            "source": np.where(np.isfinite(left), "pitch", "model"),
        },
        columns=list(COLUMNS),
    )


def _readings(s: Snapshot) -> pd.DataFrame:
    """Pitch readings in order, each with its bed and the days between stringing and reading."""
    found = s.con.execute(
        f"""
        select i.bed_id, i.pitch_hz, extract(epoch from i.inspected_on)::bigint // 86400 as day_number,
               i.inspected_on - b.strung_on as days
        from ({relation_text("inspections_seen")}) as i
        join beds as b using (bed_id)
        where i.pitch_hz is not null
        order by i.bed_id, i.inspected_on, i.pitch_hz
        """
    )
    return found.df()


def _from_readings(s: Snapshot, bed: int, looks: pd.DataFrame) -> tuple[float, float]:
    """Part left at the newest reading, and its log spread. looks: the bed's readings in order."""
    newest = looks["pitch_hz"].to_numpy(dtype=float)[-1:]
    days = looks["days"].to_numpy(dtype=float)
    if days[0] <= pitch.FIRST_READING_DAYS and len(looks) > 1:
        h = s.estimate.history
        at = step_on(h, np.array([bed]), looks["day_number"].to_numpy()[:1])
        at_first = _by_model(s, np.array([bed]), h.playability[at], h.age_hours[at])
        left, spread = pitch.left_by_first_reading(newest, looks["pitch_hz"].to_numpy(dtype=float)[:1], at_first)
        return float(left[0]), float(spread[0])
    row = s.estimate.history.beds.iloc[bed]
    mains, crosses = (MATERIALS[str(row[f"{part}_material"])] if isinstance(row[f"{part}_material"], str)
                      else MATERIALS["unknown"] for part in ("mains", "crosses"))  # fmt: skip
    density = np.mean(
        [
            pitch.linear_density_kg_m(np.array([m.density_g_cm3]), np.array([_or(row[gauge], m.gauge_mm)]))
            for m, gauge in ((mains, "mains_gauge_mm"), (crosses, "crosses_gauge_mm"))
        ],
        axis=0,
    )
    pulls = [float(row[p]) for p in ("mains_kg", "crosses_kg") if pd.notna(row[p])]
    if not pulls:
        return float("nan"), float("nan")
    left, spread = pitch.left_by_pull(
        newest, np.array([np.mean(pulls)]), np.array([_or(row["head_cm2"], USUAL_HEAD_CM2)]), density,
        np.array([(mains.rest_loss_24h + crosses.rest_loss_24h) / 2.0]),
    )  # fmt: skip
    return float(left[0]), float(spread[0])


def _or(number: object, otherwise: float) -> float:
    return otherwise if pd.isna(number) else float(str(number))  # type: ignore[call-overload]


def _by_model(s: Snapshot, bed: np.ndarray, playability: np.ndarray, age_hours: np.ndarray) -> np.ndarray:
    """(n,) part left by the model."""
    lives, beds = s.estimate.learned.exposure.lives, s.estimate.history.beds
    material = beds["mains_material"].to_numpy()[bed]
    left = tension_left_percent(playability, age_hours, lives.dead_hours[bed], lives.rest[bed], material)
    return np.asarray(left) / 100.0
