"""A backtest in, its scores out: the table of `racket-fleet track-record --csv`, and the words a coach can repeat.

One row a measure; one column a way to forecast; a cell is empty (nan) where the measure does not apply to it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.fleet import scores
from pipeline.fleet.backtest import CALLED_FROM, Backtest, Calls, called_by_model, called_by_order, calls
from pipeline.fleet.thumb_rules import FLAT_HOURS
from pipeline.fleet.words import count, percent

CSV_COLUMNS = ("measure", "model", "times_a_week_rule", "days_since", "flat_hours", "recent_average")
# of the rackets: column, score that orders, chance lent
RACKET_WAYS = (
    ("model", "p_end", "p_end"),
    ("times_a_week_rule", "rule_used", "p_rule"),
    ("days_since", "days_since", "p_days"),
    ("flat_hours", "hours_played", "p_hours"),
)
LEVELS = (("p10", 0.1), ("p50", 0.5), ("p90", 0.9))

Rows = dict[str, dict[str, float]]


def measures(b: Backtest) -> pd.DataFrame:
    """The table: columns as CSV_COLUMNS."""
    rows: Rows = {}
    _racket_scores(b.rackets, rows)
    _racket_calls(b.rackets, rows)
    _week_scores(b.weeks, rows)
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=list(CSV_COLUMNS[1:]), dtype=float)
    return frame.rename_axis("measure").reset_index()


def _racket_scores(r: pd.DataFrame, rows: Rows) -> None:
    """AUC of every order; Brier, its skill and announced over real of every chance, on the fortnights all have one
    for.
    """
    for name in ("racket_fortnights", "came_in", "auc", "brier", "brier_skill", "expected_over_came_in"):
        rows[name] = {}
    lent = [chance for _, _, chance in RACKET_WAYS[1:] if r[chance].notna().any()]
    whole = r[r[lent].notna().all(axis=1)] if lent else r
    for way, score, chance in RACKET_WAYS:
        if r[score].isna().any():
            continue
        rows["racket_fortnights"][way] = len(r)
        rows["came_in"][way] = float(r["came_true"].sum())
        rows["auc"][way] = scores.auc(r[score], r["came_true"])
        used = r if way == "model" and whole.empty else whole
        if used[chance].isna().any() or used.empty:
            continue
        rows["brier"][way] = scores.brier(used[chance], used["came_true"])
        rows["brier_skill"][way] = scores.brier_skill(used[chance], used["came_true"])
        rows["expected_over_came_in"][way] = scores.expected_over_real(used[chance], used["came_true"])


def _put_calls(found: Calls, way: str, rows: Rows, suffix: str = "") -> None:
    for name, value in (
        ("called_due", found.called),
        ("called_and_came_in", found.came_in),
        ("came_in_not_called", found.uncalled),
    ):
        rows.setdefault(f"{name}{suffix}", {})[way] = value


def _racket_calls(r: pd.DataFrame, rows: Rows) -> None:
    """Calls of the model and of the times-a-week rule by their own lights; of the other orders, as many as the model's;
    of flat hours, those past each number of hours."""
    _put_calls(calls(r, called_by_model(r)), "model", rows)
    if r["rule_used"].notna().all():
        _put_calls(calls(r, r["rule_used"] >= 1.0), "times_a_week_rule", rows)
    for way, score, _ in RACKET_WAYS[2:]:
        if r[score].notna().all():
            _put_calls(calls(r, called_by_order(r, score)), way, rows)
    if r["hours_played"].notna().all():
        for hours in FLAT_HOURS:
            _put_calls(calls(r, r["hours_played"] >= hours), "flat_hours", rows, f"_past_{hours}_h")


def _week_scores(w: pd.DataFrame, rows: Rows) -> None:
    """Weekly restrings: counts, distance, quantile losses, and how often the 80 % band held."""
    for name in ("weeks", "jobs_foreseen_over_came", "crps", "crps_over_recent_average"):
        rows[name] = {}
    real = w["real"].astype(float)
    recent_crps = float(w["recent_crps"].mean())
    for way, prefix in (("model", ""), ("recent_average", "recent_")):
        rows["weeks"][way] = len(w)
        rows["jobs_foreseen_over_came"][way] = _ratio(w[f"{prefix}mean"].sum(), real.sum())
        rows["crps"][way] = float(w[f"{prefix}crps"].mean())
        for column, level in LEVELS:
            losses = [scores.pinball(q, level, y) for q, y in zip(w[f"{prefix}{column}"], real, strict=True)]
            rows.setdefault(f"pinball_{column[1:]}", {})[way] = float(np.mean(losses))
        for name, start, end in (("coverage_80", 0.1, 0.9), ("below_band", 0.0, 0.1), ("above_band", 0.9, 1.0)):
            rows.setdefault(name, {})[way] = _covered(w, prefix, start, end)
        pit = (w[f"{prefix}pit_low"] + w[f"{prefix}pit_high"]) / 2.0
        rows.setdefault("pit_mean", {})[way] = float(pit.mean())
    if w["rule"].notna().all():
        rule = rows["weeks"] | {"times_a_week_rule": len(w)}
        rows["weeks"] = rule
        rows["jobs_foreseen_over_came"]["times_a_week_rule"] = _ratio(w["rule"].sum(), real.sum())
        rows["crps"]["times_a_week_rule"] = float(w["crps_rule"].mean())
        for column, level in LEVELS:
            losses = [scores.pinball(q, level, y) for q, y in zip(w["rule"], real, strict=True)]
            rows[f"pinball_{column[1:]}"]["times_a_week_rule"] = float(np.mean(losses))
    for way, value in rows["crps"].items():
        rows["crps_over_recent_average"][way] = _ratio(value, recent_crps)


def _covered(w: pd.DataFrame, prefix: str, start: float, end: float) -> float:
    pairs = zip(w[f"{prefix}pit_low"], w[f"{prefix}pit_high"], strict=True)
    return float(np.mean([scores.band_coverage(low, high, start, end) for low, high in pairs]))


def _ratio(part: float, whole: float) -> float:
    return float(part) / float(whole) if whole > 0 else float("nan")


def headline(b: Backtest) -> str:
    """'Of 20 called due, 17 came in within two weeks; 3 came in that were not called'."""
    found = calls(b.rackets, called_by_model(b.rackets))
    if found.called == 0:
        return f"No racket was called due; {found.uncalled} came in that were not called"
    return (
        f"Of {found.called:,} called due, {found.came_in:,} came in within two weeks; "
        f"{found.uncalled:,} came in that were not called"
    )


def beside_the_rules(b: Backtest) -> str:
    """What the rules of thumb would have caught, in one or two sentences; '' where none applies."""
    r = b.rackets
    found, said = calls(r, called_by_model(r)), []
    if r["rule_used"].notna().all():
        rule = calls(r, r["rule_used"] >= 1.0)
        said.append(
            f"The times-a-week rule would have called {rule.called:,}, of which {rule.came_in:,} came in, and missed "
            f"{rule.uncalled:,}."
        )
    if found.called:
        by_days = calls(r, called_by_order(r, "days_since")).came_in
        text = f"With as many calls, going by the days since stringing catches {by_days:,}"
        if r["hours_played"].notna().all():
            text += f", going by the hours played {calls(r, called_by_order(r, 'hours_played')).came_in:,}"
        said.append(f"{text}.")
    return " ".join(said)


def weekly_words(b: Backtest) -> str:
    """How the weekly band held, in one sentence."""
    w = b.weeks
    inside = int(((w["real"] >= w["p10"].round()) & (w["real"] <= w["p90"].round())).sum())
    return (
        f"Weekly restrings: {inside} of {count(len(w), 'week')} came out inside the band, which is meant to hold "
        f"8 weeks in 10; {w['real'].sum():,.0f} restrings came where {w['mean'].sum():,.0f} were foreseen."
    )


def small_print(b: Backtest) -> list[str]:
    """How the counts were made, and what is not in them."""
    unreasoned = int((b.rackets["outcome"] == "unreasoned").sum())
    notes = [
        f"Called due: a chance of {percent(CALLED_FROM)} or more to break or to be handed in for lost feel within the "
        "two weeks. Each fortnight is called anew, with only what was dated by then; the calendar is taken as known in "
        "advance."
    ]
    if b.count_new_ended:
        notes.append(
            f"Not counted: {count(b.count_new_ended, 'bed')} strung after a call and ended before the next, on which "
            "no call could be made."
        )
    if unreasoned:
        notes.append(
            f"Not counted in these words: {count(unreasoned, 'bed')} that came out without a reason on file; the "
            "scores take each for wear in the share that the club's other endings have."
        )
    if b.count_left_out:
        notes.append(
            f"Left out: {count(b.count_left_out, 'racket')} that had ended by the day of the call, as it later turned "
            "out."
        )
    return notes
