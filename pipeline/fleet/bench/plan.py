"""The bench plan of a club: which racket on which day by whom, what is late, and the smallest mends.

In: a BenchSource, the club's settings, the plan's first day and weeks. Out: BenchPlan, with frames for the command and
the page, and a document that is kept beside the view. Minutes at the bench, days as dates.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from pipeline.fleet.bench.costs import USUAL, PlanCosts, day_costs, late_weight
from pipeline.fleet.bench.hours import BenchHours, bench_hours
from pipeline.fleet.bench.jobs import BenchJobs, bench_jobs
from pipeline.fleet.bench.mends import Mends, mends
from pipeline.fleet.bench.problem import NOT_PLACED, Assignment, BenchProblem, used_minutes
from pipeline.fleet.bench.solving import TIME_LIMIT_SECONDS, solve
from pipeline.fleet.bench.source import BenchSource
from pipeline.fleet.bench.together import put_together
from pipeline.fleet.bench_minutes import BenchTimes, bench_times
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings

WEEKS = 2
MOST_WEEKS = 8
MOST_KEPT = 0.5  # at most this part of the hours is kept for walk-ins; assumption
CSV_COLUMNS = (
    "day", "stringer", "order", "racket_id", "player_id", "mains_string_id", "crosses_string_id", "mains_kg",
    "crosses_kg", "minutes", "due_on", "late_days",
)  # fmt: skip


@dataclass(frozen=True)
class BenchPlan:
    """jobs: one row a job (see bench.jobs) with minutes, day, stringer, order, late_days (days after due_on; null
    without a place) and early_days. hours: one row a day and stringer: minutes there are, planned, kept for walk-ins.
    mends: None where nothing is late. cost and gap as in Assignment.
    """

    as_of: date
    first_on: date
    weeks: int
    jobs: pd.DataFrame
    hours: pd.DataFrame
    walk_ins: list[float]
    mends: Mends | None
    notes: tuple[str, ...]
    cost: float
    gap: float
    is_proven: bool
    overtime_minutes: float = 0.0
    extra: list[dict[str, Any]] = field(default_factory=list)

    @property
    def late(self) -> pd.DataFrame:
        """Jobs that are late or find no place, the latest first."""
        rows = self.jobs[self.jobs["day"].isna() | (self.jobs["late_days"].fillna(0) > 0)]
        return rows.sort_values(
            ["late_days", "due_on", "racket_id"], ascending=[False, True, True], na_position="first"
        )

    def csv_frame(self) -> pd.DataFrame:
        """The columns of `racket-fleet bench --csv`, by day, stringer and order; jobs without a place come last."""
        frame = self.jobs.sort_values(["day", "stringer", "order", "due_on", "racket_id"], na_position="last")
        return frame[list(CSV_COLUMNS)].reset_index(drop=True)


def make_plan(
    s: BenchSource,
    settings: ClubSettings,
    first_on: date | None = None,
    weeks: int = WEEKS,
    overtime_minutes: float = 0.0,
    seconds: float = TIME_LIMIT_SECONDS,
    costs: PlanCosts = USUAL,
) -> BenchPlan:
    """Plan the bench from first_on (default the day after the origin). overtime_minutes: at most so many on top of a
    day on which a stringer is there; none unless asked for.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise StoreError(f"a bench plan reaches 1 to {MOST_WEEKS} weeks ahead; {weeks} were asked for.")
    start = first_on or s.as_of + timedelta(days=1)
    hours = bench_hours(s.con, start, 7 * weeks, s.as_of)
    if not hours.is_known:
        raise StoreError(
            "no hours at the bench are on file, so there is nothing to plan with: load bench.csv, or write the hours "
            "down on the page Write down."
        )
    jobs = bench_jobs(s, settings, hours.days)
    return plan_of(jobs, hours, bench_times(s.con), s.as_of, s.mean_minutes, overtime_minutes, seconds, costs)


def plan_of(
    jobs: BenchJobs,
    hours: BenchHours,
    times: BenchTimes,
    as_of: date,
    mean_minutes: float,
    overtime_minutes: float = 0.0,
    seconds: float = TIME_LIMIT_SECONDS,
    costs: PlanCosts = USUAL,
) -> BenchPlan:
    """The plan of given jobs and hours."""
    kept = _room_for_walk_ins(jobs.walk_ins * mean_minutes, hours.minutes)
    problem, last_good, weight = _problem(jobs.rows, hours, times, kept, overtime_minutes, costs)
    player = pd.factorize(jobs.rows["player_id"])[0] if len(jobs.rows) else np.zeros(0, dtype=np.int64)
    made = put_together(problem, solve(problem, seconds), player)
    rows = _placed(jobs.rows, problem, made, hours)
    is_late = bool(((made.day > last_good) | (made.day == NOT_PLACED)).any())
    # what is on the machine is the last to be sent out
    matters = weight + np.where(jobs.rows["state"] == "on_bench", 1e3, 0.0)
    found = mends(problem, last_good, matters) if is_late else None
    return BenchPlan(
        as_of=as_of,
        first_on=hours.days[0],
        weeks=len(hours.days) // 7,
        jobs=rows,
        hours=_hours_frame(hours, used_minutes(problem, made.day, made.stringer), kept),
        walk_ins=[float(n) for n in jobs.walk_ins],
        mends=found,
        notes=jobs.notes,
        cost=made.cost,
        gap=made.gap,
        is_proven=made.is_proven,
        overtime_minutes=overtime_minutes,
        extra=_extra_rows(found, hours),
    )


def _room_for_walk_ins(minutes: np.ndarray, hours: np.ndarray) -> np.ndarray:
    """(stringers, days) minutes kept free: each week's walk-ins over the hours of that week, in proportion."""
    kept = np.zeros(hours.shape)
    for week, wanted in enumerate(minutes):
        days = slice(7 * week, 7 * week + 7)
        there = float(hours[:, days].sum())
        if there > 0:
            kept[:, days] = hours[:, days] * min(float(wanted) / there, MOST_KEPT)
    return kept


def _problem(
    rows: pd.DataFrame,
    hours: BenchHours,
    times: BenchTimes,
    kept: np.ndarray,
    overtime_minutes: float,
    costs: PlanCosts,
) -> tuple[BenchProblem, np.ndarray, np.ndarray]:
    """The numbers of the plan; each job's last good day and its weight."""
    n, days, first_on = len(rows), len(hours.days), hours.days[0]
    minutes = np.array(
        [[times.minutes(kind, stringer) for stringer in hours.stringers] for kind in rows["bed_kind"]], dtype=float
    ).reshape(n, len(hours.stringers))
    cost, not_placed = np.zeros((n, days)), np.zeros(n)
    last_good, weight = np.zeros(n, dtype=np.int64), np.zeros(n)
    for i, row in enumerate(rows.to_dict("records")):
        due, free, ends = ((row[name] - first_on).days for name in ("due_on", "free_on", "ends_on"))
        weight[i] = late_weight(row["role"], bool(row["is_for_event"]), float(row["chance"]), costs)
        cost[i], not_placed[i] = day_costs(days, free, due, weight[i], float(row["life_a_day"]), ends, costs)
        last_good[i] = max(due, free, 0)
    overtime = np.where(hours.minutes > 0, overtime_minutes, 0.0)
    problem = BenchProblem(
        minutes, cost, np.maximum(hours.minutes - kept, 0.0), not_placed, kept, costs.kept_minute, overtime,
        costs.overtime_minute,
    )  # fmt: skip
    return problem, last_good, weight


def _placed(rows: pd.DataFrame, problem: BenchProblem, made: Assignment, hours: BenchHours) -> pd.DataFrame:
    """The jobs with their place, their minutes and how late or early that is."""
    out = rows.copy()
    out["number"] = np.arange(len(out))  # in the order of the problem, which mends speak of
    placed = made.day != NOT_PLACED
    out["day"] = [hours.days[d] if ok else None for d, ok in zip(made.day, placed, strict=True)]
    out["stringer"] = [hours.stringers[k] if ok else None for k, ok in zip(made.stringer, placed, strict=True)]
    out["minutes"] = [
        float(problem.minutes[i, made.stringer[i]]) if ok else float(problem.minutes[i].min(initial=np.inf))
        for i, ok in enumerate(placed)
    ]
    out["minutes"] = out["minutes"].replace(np.inf, np.nan).round(0)
    off = [None if day is None else (day - due).days for day, due in zip(out["day"], out["due_on"], strict=True)]
    out["late_days"] = pd.array([None if k is None else max(k, 0) for k in off], dtype="Int64")
    ends = [None if day is None else (ends - day).days for day, ends in zip(out["day"], out["ends_on"], strict=True)]
    out["early_days"] = pd.array([None if k is None else max(k, 0) for k in ends], dtype="Int64")
    out["order"] = pd.array([None] * len(out), dtype="Int64")
    for _, mine in out[placed].groupby(["day", "stringer"], sort=False):
        out.loc[in_order(mine), "order"] = np.arange(1, len(mine) + 1)
    return out.sort_values(["day", "stringer", "order", "due_on", "racket_id"], na_position="last").reset_index(
        drop=True
    )


def in_order(mine: pd.DataFrame) -> list[Any]:
    """The order of one stringer's day: what is on the machine first, then the earliest due; a player's rackets follow
    each other, at the place of the most urgent one. mine: due_on, player_id, racket_id, state; its index in order.
    """
    first_due = mine.groupby("player_id", dropna=False)["due_on"].transform("min")
    keyed = mine.assign(
        is_waiting=(mine["state"] != "on_bench").astype(int), first_due=first_due, who=mine["player_id"].fillna("")
    )
    return list(keyed.sort_values(["is_waiting", "first_due", "who", "due_on", "racket_id"], kind="stable").index)


def _hours_frame(hours: BenchHours, used: np.ndarray, kept: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "day": day,
                "stringer": stringer,
                "minutes": float(hours.minutes[i, k]),
                "is_written": bool(hours.is_written[i, k]),
                "planned": float(used[i, k]),
                "kept": float(min(kept[i, k], max(hours.minutes[i, k] - used[i, k], 0.0))),
            }
            for k, day in enumerate(hours.days)
            for i, stringer in enumerate(hours.stringers)
        ],
        columns=["day", "stringer", "minutes", "is_written", "planned", "kept"],
    )


def _extra_rows(found: Mends | None, hours: BenchHours) -> list[dict[str, Any]]:
    if found is None or found.extra is None:
        return []
    return [
        {"day": hours.days[k], "stringer": hours.stringers[i], "minutes": float(np.ceil(found.extra[i, k] - 1e-6))}
        for k, i in zip(*np.nonzero(found.extra.T > 0.5), strict=True)
    ]
