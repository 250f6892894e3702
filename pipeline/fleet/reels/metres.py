"""Metres of string a job takes: from the head and the pattern, unless the club wrote down what it cut.

In: head size (cm2), mains and crosses of the pattern; or a connection with the clean tables attached as `facts`. Out:
metres for mains and for crosses, knots and waste included. Source: geometry; held against reported totals of three
tournaments (9.9 to 11.4 m a racket) and the 12 m set of 22 + 18 feet. The numbers of the geometry are assumptions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np
import pandas as pd

USUAL_HEAD_CM2 = 645.0  # where a racket's head size is not on file: 100 square inches, common practice
LENGTH_TO_WIDTH = 1.3  # of the head, an ellipse; assumption (the rules' largest hitting surface has 1.35)
COVERED = 0.86  # the outermost string lies at this part of the half-axis; assumption
TURN_M = 0.035  # out of the frame and back in at each string's end; assumption
ENDS_M = 0.70  # a piece: two ends that reach the gripper and are cut off, and two knots; assumption
BRIDGE_M = 0.30  # what the crosses of a one-piece bed take to start, instead of ends of their own; assumption
MOST_MAINS_M = 8.5  # more than this written for the mains alone is the whole bed; assumption
ENOUGH_JOBS = 5  # as many jobs on file let the club's own cut correct the geometry


@dataclass(frozen=True)
class JobMetres:
    """Metres for the mains and for the crosses of one job."""

    mains_m: float
    crosses_m: float

    @property
    def total_m(self) -> float:
        """Metres of the whole bed."""
        return self.mains_m + self.crosses_m


def metres_per_job(head_cm2: float | None, mains: int, crosses: int, pieces: int = 2) -> JobMetres:
    """Metres by geometry: chords of an ellipse, evenly spaced, with turns at the frame, knots and waste.

    pieces: 1 where mains and crosses are strung from one length.

    >>> round(metres_per_job(632, 16, 19).total_m, 1)
    10.9
    """
    if mains < 1 or crosses < 1:
        raise ValueError(f"a pattern of {mains} mains and {crosses} crosses cannot be strung: mend it in rackets.csv.")
    area = USUAL_HEAD_CM2 if head_cm2 is None or math.isnan(head_cm2) or head_cm2 <= 0 else float(head_cm2)
    width_m = 2.0 * math.sqrt(area / (math.pi * LENGTH_TO_WIDTH)) / 100.0
    length_m = width_m * LENGTH_TO_WIDTH
    return JobMetres(
        _chords(mains, length_m) + mains * TURN_M + ENDS_M,
        _chords(crosses, width_m) + crosses * TURN_M + (ENDS_M if pieces > 1 else BRIDGE_M),
    )


def _chords(count: int, axis_m: float) -> float:
    place = COVERED * np.linspace(-1.0, 1.0, count) if count > 1 else np.zeros(1)
    return float(axis_m * np.sqrt(1.0 - place**2).sum())


def racket_metres(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """One row a racket on file: racket_id, mains_m, crosses_m and metres_from, which says where they come from:
    this racket (its own jobs), this frame (others of the model and pattern), this club (geometry, corrected by what
    the club cuts), head and pattern (geometry).
    """
    rackets = con.execute("select racket_id, frame, head_cm2, mains, crosses from facts.rackets order by 1").df()
    rackets["head_cm2"] = rackets["head_cm2"].fillna(USUAL_HEAD_CM2)
    shape = zip(rackets["head_cm2"], rackets["mains"], rackets["crosses"], strict=True)
    shapes = [metres_per_job(float(head), int(mains), int(crosses)) for head, mains, crosses in shape]
    rackets["geometry_mains"] = [m.mains_m for m in shapes]
    rackets["geometry_crosses"] = [m.crosses_m for m in shapes]
    cut = _recorded(con, as_of).merge(rackets, on="racket_id")
    whole = cut["crosses_m"].isna() & (cut["mains_m"] > MOST_MAINS_M)
    part = cut["geometry_mains"] / (cut["geometry_mains"] + cut["geometry_crosses"])
    total = cut["mains_m"].copy()
    cut["mains_m"] = np.where(whole, total * part, cut["mains_m"])
    cut["crosses_m"] = np.where(whole, total * (1.0 - part), cut["crosses_m"])
    frame_key = ["frame", "mains", "crosses"]
    out = rackets[["racket_id"]].copy()
    out["metres_from"] = "head and pattern"
    for name in ("mains", "crosses"):
        column, geometry = f"{name}_m", f"geometry_{name}"
        ratio = cut[column].sum() / cut.loc[cut[column].notna(), geometry].sum() if cut[column].notna().any() else 1.0
        enough = int(cut[column].notna().sum()) >= ENOUGH_JOBS
        own = rackets["racket_id"].map(cut.groupby("racket_id")[column].mean())
        frames = cut.groupby(frame_key)[column].mean().rename("same").reset_index()
        same = rackets.merge(frames, on=frame_key, how="left")["same"].set_axis(rackets.index)
        out[column] = own.fillna(same).fillna(rackets[geometry] * (ratio if enough else 1.0)).astype(float)
        if name == "mains":
            out.loc[:, "metres_from"] = "this club" if enough else "head and pattern"
            out.loc[same.notna(), "metres_from"] = "this frame"
            out.loc[own.notna(), "metres_from"] = "this racket"
    return out[["racket_id", "mains_m", "crosses_m", "metres_from"]]


def _recorded(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    return con.execute(
        "select racket_id, mains_m, crosses_m from facts.restrings "
        "where strung_on <= $day and (mains_m is not null or crosses_m is not null)",
        {"day": as_of},
    ).df()
