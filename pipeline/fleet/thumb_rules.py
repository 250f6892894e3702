"""The rules of thumb that the forecast is held against, each from what was known at the origin alone.

In: a connection with the relations as known on the origin (pipeline.sql), and the rackets to be judged. Out: scores per
racket and jobs per week. Rules (common practice): restring as often in a year as one plays in a week; so many days
since it was strung; a flat number of hours; as many jobs as lately. None gives a chance by itself, so each is lent the
share that ended among like beds of the club's own past.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import duckdb
import numpy as np
import pandas as pd

FLAT_HOURS = (10, 15, 20, 25, 40)
RECENT_WEEKS = 8
PAST_WINDOWS = 12
GROUPS = 8
DAYS_A_YEAR = 365.0
WEAR_CAUSES = ("breaks", "mishit", "goes_dead")

_BEDS_ON = """
select b.racket_id, b.bed_id, h.player_id, ($day - b.strung_on)::double as days_since, b.strung_on,
       coalesce(b.ended_on <= $day + $window and list_contains($causes, b.cause), false) as has_ended
from beds as b
join racket_spans as h on h.racket_id = b.racket_id and $day >= h.valid_from and $day < h.valid_to
where b.strung_on <= $day and coalesce(b.ended_on > $day, true) and coalesce(b.restrung_on > $day, true)
qualify row_number() over (partition by b.racket_id order by b.strung_on desc, b.bed_id desc) = 1
order by b.racket_id
"""


@dataclass(frozen=True)
class RuleScores:
    """One row a racket in play: racket_id, days_since, hours_played, weekly_outings, rule_used (1 = due by the
    times-a-week rule), p_days, p_hours, p_rule (chances lent by the past; nan where there is no past).

    has_play is False where no play has been logged: the rules that need it say nothing then.
    """

    rackets: pd.DataFrame
    has_play: bool


def rule_scores(con: duckdb.DuckDBPyConnection, origin: date, window_days: int) -> RuleScores:
    """Every rule on every racket in play at the origin."""
    play = con.execute(
        "select player_id, racket_id, played_on, session_minutes / 60.0 as hours from sessions_logged "
        "where player_id is not null order by all"
    ).df()
    play["played_on"] = pd.to_datetime(play["played_on"])
    now = _scored(con, play, origin, window_days)
    first = con.execute("select min(strung_on) from restrings_clean").fetchall()[0][0]
    past = []
    for back in range(1, PAST_WINDOWS + 1):
        day = origin - timedelta(days=back * window_days)
        if first is None or day < first + timedelta(days=window_days):
            break
        past.append(_scored(con, play, day, window_days))
    before = pd.concat(past, ignore_index=True) if past else now.head(0)
    for score, name in (("days_since", "p_days"), ("hours_played", "p_hours"), ("rule_used", "p_rule")):
        now[name] = chance_by_past(now[score], before[score], before["has_ended"])
    return RuleScores(now.drop(columns=["strung_on", "has_ended"]), not play.empty)


def _scored(con: duckdb.DuckDBPyConnection, play: pd.DataFrame, day: date, window_days: int) -> pd.DataFrame:
    """The beds in play on a day with every rule's score; has_ended: within the window after it, by the log at hand."""
    beds = con.execute(_BEDS_ON, {"day": day, "window": window_days, "causes": list(WEAR_CAUSES)}).df()
    known = play[play["played_on"] <= pd.Timestamp(day)]
    beds["hours_played"] = hours_since_strung(beds, known)
    beds["weekly_outings"] = beds["player_id"].map(weekly_outings(known, day)).fillna(0.0).astype(float)
    beds["rule_used"] = beds["days_since"] * beds["weekly_outings"] / DAYS_A_YEAR
    return beds


def hours_since_strung(beds: pd.DataFrame, play: pd.DataFrame) -> np.ndarray:
    """(n,) hours of logged play after the day of stringing; play without a racket counts in equal parts for each
    racket its player holds."""
    holds = beds.groupby("player_id")["racket_id"].size()
    named = dict(list(play[play["racket_id"].notna()].groupby("racket_id")))
    unnamed = dict(list(play[play["racket_id"].isna()].groupby("player_id")))
    hours = np.zeros(len(beds))
    rows = zip(beds["racket_id"], beds["player_id"], pd.to_datetime(beds["strung_on"]), strict=True)
    for n, (racket, player, strung_on) in enumerate(rows):
        for found, parts in ((named.get(racket), 1), (unnamed.get(player), holds.get(player, 1))):
            if found is not None:
                hours[n] += found.loc[found["played_on"] > strung_on, "hours"].sum() / parts
    return hours.round(6)  # so that the order of summing makes no difference


def weekly_outings(play: pd.DataFrame, day: date) -> pd.Series:
    """player_id -> days with play a week, over the last weeks."""
    recent = play[play["played_on"] > pd.Timestamp(day) - pd.Timedelta(days=7 * RECENT_WEEKS)]
    return recent.groupby("player_id")["played_on"].nunique() / RECENT_WEEKS


def chance_by_past(score: pd.Series, past_score: pd.Series, past_ended: pd.Series) -> np.ndarray:
    """(n,) share that ended among past beds of a like score, in groups of equal size; nan where there is no past."""
    if past_score.empty:
        return np.full(len(score), np.nan)
    edges = np.unique(np.quantile(past_score, np.linspace(0, 1, GROUPS + 1)[1:-1]))
    place = np.searchsorted(edges, past_score.to_numpy(dtype=float))
    ended = past_ended.to_numpy(dtype=float)
    count = np.bincount(place, minlength=len(edges) + 1)
    share = np.bincount(place, ended, minlength=len(edges) + 1) / np.maximum(count, 1)
    share = np.where(count > 0, share, ended.mean())
    return np.asarray(share[np.searchsorted(edges, score.to_numpy(dtype=float))])


def rule_jobs(rackets: pd.DataFrame, weeks: int) -> np.ndarray:
    """(weeks,) jobs of each coming week by the times-a-week rule: what is overdue in the first, all else in its own."""
    a_day = rackets["weekly_outings"].to_numpy(dtype=float) / DAYS_A_YEAR
    left = np.maximum(0.0, 1.0 - rackets["rule_used"].to_numpy(dtype=float))
    days = np.divide(left, a_day, out=np.full(len(left), np.inf), where=a_day > 0)
    return np.array([np.sum((days >= 7 * w) & (days < 7 * (w + 1))) for w in range(weeks)], dtype=float)


def recent_jobs(strung_on: Sequence[date], origin: date) -> np.ndarray:
    """(up to RECENT_WEEKS,) jobs of each of the last whole weeks; weeks before the first stringing on file are not
    known.
    """
    days = [(origin - on).days for on in strung_on if on <= origin]
    whole = min(RECENT_WEEKS, (max(days) + 1) // 7) if days else 0
    return np.array([sum(7 * w <= d < 7 * (w + 1) for d in days) for w in range(whole)], dtype=float)
