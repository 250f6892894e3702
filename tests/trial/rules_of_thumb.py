"""What a forecast must beat: a club's records up to an origin in, simple scores and counts out.

Each is common practice: days since the racket was strung; hours played since; restring as often in a year as one plays
in a week; as many jobs as lately. None learns anything.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from tests.trial.records import Club

RECENT_WEEKS = 8


def days_since_strung(beds: pd.DataFrame, origin: date) -> np.ndarray:
    return (pd.Timestamp(origin) - beds["strung_on"]).dt.days.to_numpy(dtype=float)


def weekly_outings(club: Club, origin: date) -> pd.Series:
    """player_id -> sessions a week over the last weeks, by the log."""
    day = pd.Timestamp(origin)
    recent = club.play[
        (club.play["played_on"] <= day) & (club.play["played_on"] > day - pd.Timedelta(days=7 * RECENT_WEEKS))
    ]
    return recent.groupby("player_id")["played_on"].nunique() / RECENT_WEEKS


def raw_hours(club: Club, beds: pd.DataFrame, origin: date) -> np.ndarray:
    """Logged hours since stringing; a session without a racket counts in equal parts for all its player holds."""
    known = club.play[club.play["played_on"] <= pd.Timestamp(origin)]
    holds = beds.groupby("player_id")["racket_id"].size()
    hours = np.zeros(len(beds))
    named, shared = known[known["racket_id"].notna()], known[known["racket_id"].isna()]
    by_racket = dict(list(named.groupby("racket_id")))
    by_player = dict(list(shared.groupby("player_id")))
    for n, (racket, player, strung_on) in enumerate(
        zip(beds["racket_id"], beds["player_id"], beds["strung_on"], strict=True)
    ):
        for rows, parts in ((by_racket.get(racket), 1), (by_player.get(player), holds.get(player, 1))):
            if rows is not None:
                hours[n] += rows.loc[rows["played_on"] > strung_on, "minutes"].sum() / 60.0 / parts
    return hours


def times_a_week(club: Club, beds: pd.DataFrame, origin: date) -> np.ndarray:
    """Age over the interval of the rule: as many restrings a year as outings a week, so 365 / outings days apart."""
    outings = beds["player_id"].map(weekly_outings(club, origin)).fillna(0.0).to_numpy(dtype=float)
    return days_since_strung(beds, origin) * outings / 365.0


def times_a_week_jobs(club: Club, beds: pd.DataFrame, origin: date, weeks: int) -> np.ndarray:
    """Jobs of each coming week by that rule, weeks long: overdue rackets in the first, each other in its own."""
    used = times_a_week(club, beds, origin)
    a_day = beds["player_id"].map(weekly_outings(club, origin)).fillna(0.0).to_numpy(dtype=float) / 365.0
    with np.errstate(divide="ignore", invalid="ignore"):
        due_in_days = np.where(a_day > 0, np.maximum(0.0, (1.0 - used) / a_day), np.inf)
    return np.array([np.sum((due_in_days >= 7 * w) & (due_in_days < 7 * (w + 1))) for w in range(weeks)])


def recent_average(club: Club, origin: date, weeks: int) -> np.ndarray:
    """The jobs of the last weeks, each as likely as the other, for every coming week: draws x weeks."""
    counts = club.jobs_by_week(origin, -RECENT_WEEKS)
    return np.repeat(np.array(counts)[:, None], weeks, axis=1)


def calibrated_by_past(club: Club, origin: date, days: int, bins: int = 8) -> np.ndarray:
    """Chance of ending within `days` by days since strung, as among like beds at earlier origins."""
    now = club.beds(origin)
    age, ended = [], []
    for back in range(days, 26 * 7, 14):
        past = origin - timedelta(days=back)
        beds = club.beds(past)
        age.append(days_since_strung(beds, past))
        ended.append(club.outcome(beds, past, days).to_numpy())
    ages, ends = np.concatenate(age), np.concatenate(ended)
    edges = np.unique(np.quantile(ages, np.linspace(0, 1, bins + 1)[1:-1]))
    place, place_now = np.searchsorted(edges, ages), np.searchsorted(edges, days_since_strung(now, origin))
    share = np.array([ends[place == b].mean() if np.any(place == b) else ends.mean() for b in range(len(edges) + 1)])
    return share[place_now]
