"""What became of a ticket, step by step: its states, each with who and when.

In: a Store, a ticket. Out: one row a state: state, since when (the club's day or time), written_at (UTC), by.
"""

from __future__ import annotations

import pandas as pd

from pipeline.store import Store

STEP_COLUMNS = ("state", "state_on", "written_at", "by", "stringer")


def steps(store: Store, job_id: str) -> pd.DataFrame:
    """STEP_COLUMNS, oldest first; a state that was only corrected keeps the newest row."""
    old, now = store.history("jobs"), store.records("jobs")
    rows = pd.concat([frame[frame["job_id"] == job_id] for frame in (old, now)], ignore_index=True)
    when = rows["state_on_at"].fillna(pd.Series(pd.to_datetime(rows["state_on"]), index=rows.index))
    frame = pd.DataFrame(
        {
            "state": rows["state"],
            "state_on": when,
            "written_at": pd.to_datetime(rows["loaded_at"]),
            "by": rows["recorded_by"].fillna(""),
            "stringer": rows["stringer"].fillna(""),
        }
    )
    frame = frame.sort_values("written_at", kind="stable")
    is_same = frame["state"] == frame["state"].shift(-1)
    return frame[~is_same][list(STEP_COLUMNS)].reset_index(drop=True)
