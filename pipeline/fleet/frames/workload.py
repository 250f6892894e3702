"""What the page Workload shows: restrings of the weeks ahead as a fan, against the hours the bench has.

In: a view (`forecast_weeks`, `history_weeks`, `forecast_strings`, `strings` where published), today. Out: one
`Workload`. Jobs are restrings of every cause; minutes at the bench in the view, hours here; string in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Club, Row, club, read

PAST_WEEKS = 12  # how much of the past the chart shows


@dataclass(frozen=True)
class Workload:
    """Everything on the page Workload."""

    title: str
    club: Club
    sentence: str
    weeks: pd.DataFrame
    past: pd.DataFrame
    table: pd.DataFrame
    strings: pd.DataFrame
    has_bench_hours: bool


def workload(con: duckdb.DuckDBPyConnection, today: date) -> Workload:
    """The weeks ahead, the weeks behind, and what each string is likely to need."""
    the_club = club(con, today)
    weeks = read(con, "forecast_weeks", "week")
    past = read(con, "history_weeks", "starts_on").tail(PAST_WEEKS).reset_index(drop=True)
    for frame in (weeks, past):
        frame["starts_on"] = pd.to_datetime(frame["starts_on"])
        frame["middle"] = frame["starts_on"] + pd.Timedelta(days=3.5)
    for column in ("minutes_p50", "minutes_p90", "capacity_minutes"):
        weeks[column.replace("minutes", "hours")] = weeks[column].astype(float) / 60
    weeks["is_over"] = weeks["minutes_p50"] > weeks["capacity_minutes"].astype(float)
    weeks["is_tight"] = ~weeks["is_over"] & (weeks["minutes_p90"] > weeks["capacity_minutes"].astype(float))
    weeks["label"] = [words.day(value) for value in weeks["starts_on"]]
    weeks["title_label"] = [words.day_unbroken(value) for value in weeks["starts_on"]]
    past["label"] = [words.day(value) for value in past["starts_on"]]
    has_bench_hours = bool(weeks["capacity_minutes"].notna().any())
    return Workload(
        title=_title(weeks, has_bench_hours),
        club=the_club,
        sentence=_sentence(weeks, past),
        weeks=weeks,
        past=past,
        table=_table(weeks, has_bench_hours),
        strings=_strings(con),
        has_bench_hours=has_bench_hours,
    )


def _title(weeks: pd.DataFrame, has_bench_hours: bool) -> str:
    if weeks.empty:
        return "No forecast yet: there are no restrings to learn from"
    first = weeks.iloc[0]
    title = f"About {words.count(round(first['p50']), 'restring')} in the next week; allow for {round(first['p90'])}"
    if not has_bench_hours:
        return title
    over, tight = weeks[weeks["is_over"]], weeks[weeks["is_tight"]]
    if not over.empty:
        worst = over.iloc[0]
        missing = words.hours_from_minutes(worst["minutes_p50"] - worst["capacity_minutes"])
        return f"{title}. The week of {worst['title_label']} is likely to be {missing} short at the bench"
    if not tight.empty:
        return f"{title}. The bench is likely to keep up, but {_could_run_over(list(tight['title_label']))}"
    return f"{title}. The bench hours are enough for all {words.count(len(weeks), 'week')}"


def _could_run_over(days: list[str]) -> str:
    """Which weeks could run over: by name up to two, else how many and the first."""
    if len(days) > 2:
        return f"{len(days)} weeks could run over, the first that of {days[0]}"
    return f"the {words.verb(len(days), 'week', 'weeks')} of {words.join_words(days)} could run over"


def _sentence(weeks: pd.DataFrame, past: pd.DataFrame) -> str:
    if weeks.empty:
        return ""
    text = (
        f"Over the next {words.count(len(weeks), 'week')} likely about {round(weeks['mean'].sum())} restrings of every "
        "cause: breaks, strings gone dead, and those you schedule."
    )
    if past.empty:
        return text
    return f"{text} The last {words.count(len(past), 'week')} had {round(past['jobs'].mean())} a week."


def _table(weeks: pd.DataFrame, has_bench_hours: bool) -> pd.DataFrame:
    table = pd.DataFrame(
        {
            "Week from": weeks["starts_on"].dt.date,
            "Restrings, likely": weeks["p50"].round().astype("Int64"),
            "Band": [f"{round(a)} to {round(b)}" for a, b in zip(weeks["p10"], weeks["p90"], strict=True)],
            "Bench hours, likely": weeks["hours_p50"].round().astype("Int64"),
            "Bench hours, allow for": weeks["hours_p90"].round().astype("Int64"),
        }
    )
    if has_bench_hours:
        table["Hours at the bench"] = weeks["capacity_hours"].round().astype("Int64")
        table["Does it fit?"] = [_fit(row) for row in weeks.to_dict("records")]
    return table


def _fit(row: Row) -> str:
    if words.is_missing(row["capacity_minutes"]):
        return "? no hours on file"
    if row["is_over"]:
        return f"▲ likely {words.hours_from_minutes(row['minutes_p50'] - row['capacity_minutes'])} short"
    if row["is_tight"]:
        return "◐ could run over"
    return "✓ fits"


def _strings(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Metres and jobs by string over all the forecast weeks, most used first."""
    names = "string_id as string_name"
    source = "forecast_strings"
    if con.sql("select count(*) from duckdb_tables() where table_name = 'strings'").fetchall()[0][0]:
        names = "coalesce(any_value(s.string_name), f.string_id) as string_name"
        source = "forecast_strings f left join strings s using (string_id)"
    else:
        names, source = "f.string_id as string_name", "forecast_strings f"
    found = con.sql(
        f"select {names}, sum(jobs_p50) as jobs, sum(metres_p50) as metres_likely, sum(metres_p90) as metres_allow "
        f"from {source} group by f.string_id order by metres_likely desc"
    ).df()
    return pd.DataFrame(
        {
            "String": found["string_name"].fillna("not recorded"),
            "Restrings, likely": found["jobs"].astype(float).round().astype("Int64"),
            "Metres, likely": found["metres_likely"].astype(float).round().astype("Int64"),
            "Metres, allow for": found["metres_allow"].astype(float).round().astype("Int64"),
        }
    )
