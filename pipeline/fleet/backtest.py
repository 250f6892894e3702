"""The forecast as it would have been given, fortnight by fortnight, beside what the club's own log then recorded.

In: a connection with the clean tables as `facts`, the day up to which the log counts, and how many weeks to go back.
Out: Backtest: one row a racket and fortnight, one row a week, and from them the table of `racket-fleet track-record`.
At each origin the model learns anew from what was dated up to then; the calendar alone is taken as known. The windows
follow each other without overlap, so that every ending and every week counts once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet import scores, thumb_rules
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.sql import run_relations
from pipeline.store import StoreError
from pipeline.wear.estimate import Kept
from pipeline.wear.reference import VALUES, session_weight_rows

WINDOW_DAYS = 14
WINDOW_WEEKS = 2
LEARNING_DAYS = 28
DEFAULT_WEEKS = 12
DRAWS = 2000
# a racket counts as called due from this chance to end within the window on: more likely than not
CALLED_FROM = 0.5

Progress = Callable[[int, int, date], None]  # fortnights done, fortnights in all, the origin at hand


@dataclass(frozen=True)
class Backtest:
    """What was foreseen beside what came.

    rackets: origin, racket_id, bed_id, p_end, outcome (wear, unreasoned, other, in), came_true (1 ended by wear, 0 not,
    between where no reason was written down), days_since, hours_played, rule_used, p_days, p_hours, p_rule.
    weeks: origin, week, starts_on, real, mean, p10, p50, p90, pit_low, pit_high, pit, crps, the same of the recent
    average (recent_*), rule and crps_rule. count_left_out: rackets that by the later log had ended by the origin;
    count_new_ended: beds strung after the call that ended before the next.
    """

    as_of: date
    weeks_asked: int
    rackets: pd.DataFrame
    weeks: pd.DataFrame
    count_left_out: int
    count_new_ended: int

    @property
    def first_day(self) -> date:
        """The day after the first origin."""
        return min(self.weeks["starts_on"])

    @property
    def count_weeks(self) -> int:
        """How many weeks were looked back on."""
        return len(self.weeks)


@dataclass(frozen=True)
class Calls:
    """How many were called due, how many of these came in, and how many came in uncalled."""

    called: int
    came_in: int
    uncalled: int


def backtest(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    weeks: int = DEFAULT_WEEKS,
    settings: object | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
    kept: Kept | None = None,
) -> Backtest:
    """Go back `weeks` (in fortnights, as far as the log reaches) and hold every forecast against the log of `as_of`.

    kept: trade values, where a person chose them; else every origin learns from what was known then.
    """
    beds, strung = log_of(con, as_of)
    origins = origins_of(strung, as_of, weeks)
    rng = np.random.default_rng(seed)
    share = wear_share(beds)
    rackets, week_rows, left_out, new_ended = [], [], 0, 0
    for n, origin in enumerate(origins):
        if progress:
            progress(n, len(origins), origin)
        made = snapshot(con, origin, settings, kept)
        if made.rackets.empty:
            continue
        rules = thumb_rules.rule_scores(con, origin, WINDOW_DAYS)
        judged, missing = judge_rackets(made, rules, beds, origin, share)
        rackets.append(judged)
        left_out += missing
        new_ended += count_new_ended(beds, origin)
        week_rows += judge_weeks(made, rules, strung, origin, draws, seed, rng)
    if progress:
        progress(len(origins), len(origins), as_of)
    if not rackets or sum(map(len, rackets)) == 0:
        raise StoreError(
            f"no racket had strings in play on the days to look back from (from {origins[0]} on): "
            "load older restrings, or choose a later --on."
        )
    return Backtest(as_of, weeks, pd.concat(rackets, ignore_index=True), pd.DataFrame(week_rows), left_out, new_ended)


def log_of(con: duckdb.DuckDBPyConnection, as_of: date) -> tuple[pd.DataFrame, list[date]]:
    """What the log up to as_of says of every bed (bed_id, strung_on, ended_on, cause) and the days of all restrings."""
    run_relations(con, as_of, [(v.name, v.value) for v in VALUES], list(session_weight_rows()))
    beds = con.execute("select bed_id, racket_id, strung_on, ended_on, cause from beds order by bed_id").df()
    for name in ("strung_on", "ended_on"):
        beds[name] = pd.to_datetime(beds[name])
    strung = [day for (day,) in con.execute("select strung_on from restrings_clean order by strung_on").fetchall()]
    return beds, strung


def origins_of(strung_on: list[date], as_of: date, weeks: int) -> list[date]:
    """The origins, oldest first: fortnights back from as_of, leaving four weeks of log to learn from."""
    if weeks < WINDOW_WEEKS:
        raise ValueError(f"A track record covers at least {WINDOW_WEEKS} weeks; {weeks} were asked for.")
    least_weeks = (LEARNING_DAYS + WINDOW_DAYS) // 7
    if not strung_on:
        raise StoreError(
            f"no restring is on file up to {as_of}, so there is no forecast to look back on: load restrings.csv first, "
            "or choose a later --on."
        )
    first = strung_on[0]
    fitting = (as_of - first).days - LEARNING_DAYS
    count = min(weeks // WINDOW_WEEKS, max(fitting, 0) // WINDOW_DAYS)
    if count < 1:
        ready_on = first + timedelta(days=LEARNING_DAYS + WINDOW_DAYS)
        raise StoreError(
            f"the restrings on file reach from {first} to {as_of}, which is too short to look back on: a track record "
            f"needs {least_weeks} weeks, so load older restrings or ask again from {ready_on} on."
        )
    return [as_of - timedelta(days=WINDOW_DAYS * n) for n in range(count, 0, -1)]


def wear_share(beds: pd.DataFrame) -> float:
    """Share of wear (breaks, mishits, lost feel) among the endings that have a reason; what an ending without one is
    taken to be worth. (wear + 1) / (reasons + 2), so that a club without any reason gets one half."""
    wear = beds["cause"].isin(thumb_rules.WEAR_CAUSES).sum()
    known = wear + (beds["cause"] == "other").sum()
    return float((wear + 1) / (known + 2))


def _ends_inside(ended_on: pd.Series, origin: date) -> pd.Series:
    start = pd.Timestamp(origin)
    return (ended_on > start) & (ended_on <= start + pd.Timedelta(days=WINDOW_DAYS))


def judge_rackets(
    made: Snapshot, rules: thumb_rules.RuleScores, beds: pd.DataFrame, origin: date, share: float
) -> tuple[pd.DataFrame, int]:
    """One row a racket in play at the origin; and how many were left out, having ended by then as the log now says."""
    ranked = made.ranking(WINDOW_DAYS)
    ranked = ranked.loc[ranked["status"] == "in_play", ["racket_id", "bed_id", "p_end"]]
    rows = ranked.merge(beds[["bed_id", "ended_on", "cause"]], on="bed_id", how="left").merge(
        rules.rackets, on=["racket_id", "bed_id"], how="left"
    )
    is_scored = rows["cause"].notna() & ~(rows["ended_on"] <= pd.Timestamp(origin)) & rows["days_since"].notna()
    kept = rows[is_scored].copy()
    inside = _ends_inside(kept["ended_on"], origin)
    kept["outcome"] = np.select(
        [inside & kept["cause"].isin(thumb_rules.WEAR_CAUSES), inside & (kept["cause"] == "unknown"), inside],
        ["wear", "unreasoned", "other"],
        "in",
    )
    kept["came_true"] = kept["outcome"].map({"wear": 1.0, "unreasoned": share}).fillna(0.0)
    if not rules.has_play:
        kept[["hours_played", "rule_used", "p_hours", "p_rule"]] = np.nan
    kept.insert(0, "origin", origin)
    return kept[list(RACKET_COLUMNS)].sort_values("racket_id"), int((~is_scored).sum())


RACKET_COLUMNS = (
    "origin", "racket_id", "bed_id", "p_end", "outcome", "came_true", "days_since", "hours_played", "rule_used",
    "p_days", "p_hours", "p_rule",
)  # fmt: skip


def count_new_ended(beds: pd.DataFrame, origin: date) -> int:
    """Beds strung after the origin that ended by wear within the window: no call could be made on them."""
    is_new = beds["strung_on"] > pd.Timestamp(origin)
    return int((is_new & _ends_inside(beds["ended_on"], origin) & beds["cause"].isin(thumb_rules.WEAR_CAUSES)).sum())


def judge_weeks(
    made: Snapshot,
    rules: thumb_rules.RuleScores,
    strung_on: list[date],
    origin: date,
    draws: int,
    seed: int,
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    """One row for each week of the window: restrings of every cause, foreseen and recorded."""
    sample = np.asarray(made.forecast_draws(WINDOW_WEEKS, draws, seed))
    recent = thumb_rules.recent_jobs(strung_on, origin)
    by_rule = thumb_rules.rule_jobs(rules.rackets, WINDOW_WEEKS) if rules.has_play else np.full(WINDOW_WEEKS, np.nan)
    rows = []
    for w in range(WINDOW_WEEKS):
        starts_on = origin + timedelta(days=1 + 7 * w)
        real = sum(starts_on <= day < starts_on + timedelta(days=7) for day in strung_on)
        row: dict[str, object] = {"origin": origin, "week": w + 1, "starts_on": starts_on, "real": real}
        row |= {"rule": float(by_rule[w]), "crps_rule": abs(float(by_rule[w]) - real)}
        for prefix, x in (("", sample[:, w]), ("recent_", recent)):
            low, high = scores.pit_interval(x, real)
            p10, p50, p90 = np.quantile(x, [0.1, 0.5, 0.9])
            row |= {f"{prefix}mean": float(np.mean(x)), f"{prefix}p10": p10, f"{prefix}p50": p50, f"{prefix}p90": p90}
            row |= {f"{prefix}pit_low": low, f"{prefix}pit_high": high, f"{prefix}crps": scores.crps(x, real)}
        row["pit"] = scores.randomised_pit(float(row["pit_low"]), float(row["pit_high"]), rng)  # type: ignore[arg-type]
        rows.append(row)
    return rows


def calls(rackets: pd.DataFrame, is_called: pd.Series) -> Calls:
    """Counts of a way to call, on endings by wear with a reason on file."""
    came = rackets["outcome"] == "wear"
    known = rackets["outcome"] != "unreasoned"
    called = is_called.to_numpy(dtype=bool)
    return Calls(int((called & known).sum()), int((called & came).sum()), int((~called & came).sum()))


def called_by_model(rackets: pd.DataFrame) -> pd.Series:
    """Called due: more likely than not to end within the window."""
    return rackets["p_end"] >= CALLED_FROM


def called_by_order(rackets: pd.DataFrame, score: str) -> pd.Series:
    """As many at each origin as the model called, highest score first (ties by racket number)."""
    ordered = rackets.sort_values([score, "racket_id"], ascending=[False, True], kind="stable")
    place = ordered.groupby("origin").cumcount().reindex(rackets.index)
    quota = called_by_model(rackets).groupby(rackets["origin"]).transform("sum")
    return place < quota
