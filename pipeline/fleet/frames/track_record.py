"""What the page Track record shows: how the forecasts held up at this club, and every number the model stands on.

In: a view (`meta`, `parameters`), the store's folder with the kept track record, the view's version. Out: one
`TrackRecordPage`. Chances are percentages here; restrings are counts; parameters keep their own units.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet import record_table, scores, words
from pipeline.fleet.backtest import Backtest, called_by_model, calls
from pipeline.fleet.frames.club import Club, club, read
from pipeline.fleet.thumb_rules import FLAT_HOURS
from pipeline.fleet.track_record import TrackRecord, kept
from pipeline.store import StoreError

NO_RECORD_TITLE = "No track record has been worked out yet"
HOW_TO_START = (
    "Press the button: every forecast of the last twelve weeks is made again with only what was dated by then, and "
    "held against what your own log recorded afterwards. That takes seconds for a small club and minutes for a large "
    "one. The command `racket-fleet track-record` does the same."
)
LIMIT_SHAPES = ("shape_breaks", "shape_goes_dead")  # their rows say how each limit was decided
WAYS = {
    "model": "This forecast",
    "times_a_week_rule": "Times a week",
    "days_since": "Days since strung",
    "flat_hours": "Hours played",
    "recent_average": "Recent average",
}


@dataclass(frozen=True)
class TrackRecordPage:
    """Everything on the page Track record; the frames are empty where nothing has been worked out."""

    title: str
    club: Club
    when: str
    stale_note: str
    has_record: bool
    sentences: list[str]
    small_print: list[str]
    calibration: pd.DataFrame
    weeks: pd.DataFrame
    calls: pd.DataFrame
    racket_scores: pd.DataFrame
    week_scores: pd.DataFrame
    parameters: pd.DataFrame
    parameters_note: str


def track_record(
    con: duckdb.DuckDBPyConnection, folder: str, version: str, time_zone: str, today: date, changed_at_ns: int
) -> TrackRecordPage:
    """The page. changed_at_ns only tells one kept track record from the next, for whoever caches the answer."""
    del changed_at_ns
    the_club = club(con, today)
    damage = ""
    try:
        record = kept(Path(folder))
    except StoreError as error:
        record, damage = None, words.sentence(str(error))
    parameters = read(con, "parameters", "rowid")
    shown, whose = _parameters(parameters), _whose(con)
    if record is None:
        empty = pd.DataFrame()
        return TrackRecordPage(
            NO_RECORD_TITLE, the_club, "", damage, False, [], [], empty, empty, empty, empty, empty, shown,
            _parameters_note(shown, whose),
        )  # fmt: skip
    b = record.backtest
    table = record_table.measures(b).set_index("measure")
    return TrackRecordPage(
        title=record_table.headline(b),
        club=the_club,
        when=_when(record, time_zone, the_club.as_of),
        stale_note=_stale_note(record, version, the_club),
        has_record=True,
        sentences=[text for text in (record_table.beside_the_rules(b), record_table.weekly_words(b)) if text],
        small_print=record_table.small_print(b),
        calibration=_calibration(b),
        weeks=_weeks(b),
        calls=_calls(b),
        racket_scores=_racket_scores(table),
        week_scores=_week_scores(table, b),
        parameters=shown,
        parameters_note=_parameters_note(shown, whose),
    )


def _when(record: TrackRecord, time_zone: str, as_of: date) -> str:
    b = record.backtest
    worked_out_on = record.worked_out_at.astimezone(ZoneInfo(time_zone)).date()
    text = (
        f"Worked out on {words.day_with_year(worked_out_on)} over {words.count(b.count_weeks, 'week')}, "
        f"{words.day(b.first_day, as_of)} to {words.day(b.as_of, as_of)}"
    )
    is_short = b.count_weeks + 1 < b.weeks_asked
    return text + (f": the records reach back far enough for these of {b.weeks_asked} weeks" if is_short else "")


def _stale_note(record: TrackRecord, version: str, the_club: Club) -> str:
    """A sentence when the club's records have moved on since, else ''."""
    if record.view_version == version:
        return ""
    b = record.backtest
    if b.as_of < the_club.as_of:
        why = f"It ends on {words.day_with_year(b.as_of)}; the log now reaches {words.day_with_year(the_club.as_of)}."
    else:
        why = "Records or settings have been loaded since."
    return f"This track record is out of date. {why} Work it out anew to see how the latest weeks went."


def _calibration(b: Backtest) -> pd.DataFrame:
    """Chance called beside what came true, by tenths of the chance, with counts and words for each point."""
    frame = scores.calibration(b.rackets["p_end"], b.rackets["came_true"])
    frame["words"] = [
        f"called {words.percent(row['tenth'] / 10)} to {words.percent((row['tenth'] + 1) / 10)}, on average "
        f"{words.percent(row['predicted'])}<br>came in: {words.percent(row['came_true'])} of "
        f"{words.count(int(row['count']), 'racket')}"
        for row in frame.to_dict("records")
    ]
    return frame


def _weeks(b: Backtest) -> pd.DataFrame:
    """Week by week: the band that was foreseen and the restrings that came."""
    frame = b.weeks[["starts_on", "real", "p10", "p50", "p90"]].sort_values("starts_on").reset_index(drop=True)
    frame["starts_on"] = pd.to_datetime(frame["starts_on"])
    frame["middle"] = frame["starts_on"] + pd.Timedelta(days=3.5)
    frame["label"] = [words.day(day) for day in frame["starts_on"]]
    frame[["p10", "p50", "p90"]] = frame[["p10", "p50", "p90"]].round()
    frame["is_inside"] = (frame["real"] >= frame["p10"]) & (frame["real"] <= frame["p90"])
    frame["words"] = [
        f"week of {row['label']}: {row['real']:.0f} came<br>foreseen {row['p50']:.0f} ({row['p10']:.0f} to "
        f"{row['p90']:.0f})"
        for row in frame.to_dict("records")
    ]
    return frame


def _calls(b: Backtest) -> pd.DataFrame:
    """One line a way to call: called, came in, came in of 100 called, came in uncalled."""
    r = b.rackets
    lines = [("This forecast", called_by_model(r))]
    if r["rule_used"].notna().all():
        lines.append(("Times a week", r["rule_used"] >= 1.0))
    if r["hours_played"].notna().all():
        lines += [(f"{hours} hours of play", r["hours_played"] >= hours) for hours in FLAT_HOURS]
    found = {name: calls(r, called) for name, called in lines}
    frame = pd.DataFrame(
        {
            "Way to call": list(found),
            "Called due": [c.called for c in found.values()],
            "Came in": [c.came_in for c in found.values()],
            "Of 100 called": [100 * c.came_in / c.called if c.called else np.nan for c in found.values()],
            "Missed": [c.uncalled for c in found.values()],
        }
    )
    frame["Of 100 called"] = frame["Of 100 called"].round().astype("Int64")
    return frame


def _picked(table: pd.DataFrame, ways: tuple[str, ...], measures: dict[str, str]) -> pd.DataFrame:
    """One line a way to forecast, one column a measure; ways to which none applies are left out."""
    part = table.loc[list(measures), list(ways)].T.rename(columns=measures)
    part = part[part.notna().any(axis=1)]
    part.insert(0, "Forecast by", [WAYS[way] for way in part.index])
    return part.reset_index(drop=True)


def _racket_scores(table: pd.DataFrame) -> pd.DataFrame:
    ways = ("model", "times_a_week_rule", "days_since", "flat_hours")
    measures = {"auc": "Order", "brier_skill": "Skill", "brier": "Error", "expected_over_came_in": "Announced / came"}
    frame = _picked(table, ways, measures)
    frame["Skill"] = frame["Skill"].round(2) + 0.0  # no minus before a nought
    return frame


def _week_scores(table: pd.DataFrame, b: Backtest) -> pd.DataFrame:
    ways = ("model", "times_a_week_rule", "recent_average")
    measures = {
        "crps": "Off by",
        "crps_over_recent_average": "Against the average",
        "coverage_80": "Inside the band",
        "jobs_foreseen_over_came": "Foreseen / came",
        "pinball_10": "Loss, low end",
        "pinball_50": "Loss, middle",
        "pinball_90": "Loss, high end",
    }
    frame = _picked(table, ways, measures)
    frame["Inside the band"] = (100 * frame["Inside the band"]).round().astype("Int64")
    return frame


def _parameters(parameters: pd.DataFrame) -> pd.DataFrame:
    """Every number in force, those learned here first: name, meaning, unit, trade value, in force with its 90 % band,
    standing, since when, source, on what evidence."""
    is_learned = ~np.isclose(parameters["value"].astype(float), parameters["trade_value"].astype(float), rtol=1e-6)
    standing = np.where(is_learned, "learned here", np.where(parameters["is_assumption"], "assumption", "published"))
    frame = pd.DataFrame(
        {
            "Number": [words.from_code(name) for name in parameters["name"]],
            "Meaning": [words.from_code(text).replace("cm2", "cm²") for text in parameters["meaning"]],
            "Unit": parameters["unit"].replace("1", "").fillna(""),
            "Trade value": parameters["trade_value"].astype(float),
            "In force": parameters["value"].astype(float),
            "90 % band": [_band(a, b) for a, b in zip(parameters["value_p05"], parameters["value_p95"], strict=True)],
            "Standing": standing,
            "Learned on": [words.day_with_year(d) if d else "" for d in map(words.as_date, parameters["since"])],
            "Source of the trade value": parameters["source"].fillna(""),
            "Evidence": [words.from_code(text or "") for text in parameters["evidence"]],
        }
    )
    order = frame["Standing"].map({"learned here": 0, "assumption": 1, "published": 2})
    return frame.iloc[np.argsort(order.to_numpy(), kind="stable")].reset_index(drop=True)


def _band(low: object, high: object) -> str:
    """'1.98 to 2.21', to three figures; empty where none is known."""
    if words.is_missing(low) or words.is_missing(high):
        return ""
    return f"{float(str(low)):.3g} to {float(str(high)):.3g}".replace("-", "\u2212")


def _whose(con: duckdb.DuckDBPyConnection) -> str:
    """The sentence of `meta.learning`."""
    row = con.execute("select value from meta where key = 'learning'").fetchone()
    return str(row[0]) if row else ""


def _parameters_note(shown: pd.DataFrame, whose: str) -> str:
    """Whose numbers are in force, how many there are and where they come from."""
    tally = shown["Standing"].value_counts()
    learned, assumed, published = (int(tally.get(name, 0)) for name in ("learned here", "assumption", "published"))
    counted = (
        f"{words.count(len(shown), 'number')}: {learned} learned from this club's records, {assumed} trade values that "
        f"are assumptions, {published} with a published source or common practice behind them."
    )
    again = "The command racket-fleet learn fits anew; with --trade-values it goes back to the trade's."
    of_limits = shown.loc[shown["Number"].isin(words.from_code(name) for name in LIMIT_SHAPES), "Evidence"]
    told = [words.sentence(text).replace(" -", " \u2212") for text in dict.fromkeys(of_limits) if text]
    return " ".join(filter(None, (whose, counted, again, *told)))
