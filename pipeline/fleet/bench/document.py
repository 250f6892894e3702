"""A bench plan as the document that is kept beside the view, and back.

In: BenchPlan. Out: a dict that JSON can hold; dates as ISO text, what is missing as null.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pipeline.fleet.bench.mends import Mends
from pipeline.fleet.bench.plan import BenchPlan

NAME = "bench"
JOB_DATES = ("due_on", "free_on", "ends_on", "day")
WHOLE = ("late_days", "early_days", "order")


def to_document(plan: BenchPlan) -> dict[str, Any]:
    """The plan as plain values."""
    return {
        "as_of": plan.as_of.isoformat(),
        "first_on": plan.first_on.isoformat(),
        "weeks": plan.weeks,
        "jobs": _records(plan.jobs),
        "hours": _records(plan.hours),
        "walk_ins": plan.walk_ins,
        "mends": None
        if plan.mends is None
        else {
            "extra": None if plan.mends.extra is None else plan.mends.extra.tolist(),
            "sent_out": list(plan.mends.sent_out),
            "too_long": list(plan.mends.too_long),
        },
        "notes": list(plan.notes),
        "cost": plan.cost,
        "gap": plan.gap,
        "is_proven": plan.is_proven,
        "overtime_minutes": plan.overtime_minutes,
        "extra": [row | {"day": row["day"].isoformat()} for row in plan.extra],
        "job_columns": list(plan.jobs.columns),
    }


def from_document(found: dict[str, Any]) -> BenchPlan:
    """The plan as it was; raises KeyError, TypeError or ValueError where the document is no plan."""
    jobs = pd.DataFrame(found["jobs"], columns=found["job_columns"])
    for name in JOB_DATES:
        jobs[name] = [None if value is None else date.fromisoformat(value) for value in jobs[name]]
        jobs[name] = jobs[name].astype(object)
    for name in WHOLE:
        jobs[name] = pd.array([None if pd.isna(value) else int(value) for value in jobs[name]], dtype="Int64")
    hours = pd.DataFrame(found["hours"], columns=["day", "stringer", "minutes", "is_written", "planned", "kept"])
    hours["day"] = [date.fromisoformat(value) for value in hours["day"]]
    given = found["mends"]
    mends = None
    if given is not None:
        extra = None if given["extra"] is None else np.array(given["extra"], dtype=float)
        mends = Mends(extra, tuple(given["sent_out"]), tuple(given["too_long"]))
    return BenchPlan(
        as_of=date.fromisoformat(found["as_of"]),
        first_on=date.fromisoformat(found["first_on"]),
        weeks=int(found["weeks"]),
        jobs=jobs,
        hours=hours,
        walk_ins=[float(n) for n in found["walk_ins"]],
        mends=mends,
        notes=tuple(found["notes"]),
        cost=float(found["cost"]),
        gap=float(found["gap"]),
        is_proven=bool(found["is_proven"]),
        overtime_minutes=float(found["overtime_minutes"]),
        extra=[row | {"day": date.fromisoformat(row["day"])} for row in found["extra"]],
    )


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): _plain(value) for name, value in row.items()} for row in frame.to_dict("records")]


def _plain(value: Any) -> Any:
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, (date, pd.Timestamp)):
        return value.isoformat()[:10]
    if isinstance(value, (np.bool_, np.integer, np.floating)):
        return value.item()
    return value
