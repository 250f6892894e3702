"""The tables of the view: what the pages read, made once per refresh.

In: a Snapshot. Out: the PUBLISHED tables in its connection, beside the working relations (some of which they replace:
publishing is the last thing asked of a Snapshot). No published number is infinite or NaN: what is not known is null.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime

import duckdb
import numpy as np
import pandas as pd
from scipy import stats

from pipeline.fleet.breakdown import publish_breakdown
from pipeline.fleet.look_first import publish_look_first
from pipeline.fleet.match_ready import publish_match_ready
from pipeline.fleet.simulation import Simulated
from pipeline.fleet.snapshot import MOST_DRAWS, OUTLOOK_DAYS, Snapshot
from pipeline.fleet.tension_left import publish_tension
from pipeline.fleet.words import idle_bench
from pipeline.sql import relation_text
from pipeline.store.memory import bound_relations
from pipeline.wear.history import bed_rows, named_play
from pipeline.wear.parameters import parameters

RANK_DAYS = 14
FORECAST_WEEKS = 6
# every table of a view; the store adds its own books
PUBLISHED = (
    "meta", "ranking", "beds", "bed_days", "bed_sessions", "inspections_seen", "events", "strings", "history_weeks",
    "forecast_weeks", "forecast_strings", "parameters", "fitted", "match_ready", "look_first", "bed_breakdown",
    "tension_left",
)  # fmt: skip
PUBLISHED_SQL = ("beds_seen", "bed_sessions", "inspections_seen", "events", "strings", "history_weeks")


@dataclass(frozen=True)
class ClubWords:
    """What the club calls itself and how it measures."""

    name: str = "The club"
    tension_unit: str = "kg"


def publish(s: Snapshot, words: ClubWords, now: datetime, last_log_on: date | None) -> None:
    """Write every published table into s.con."""
    con = s.con
    with ThreadPoolExecutor(max_workers=1) as beside:
        # the simulation works on arrays alone and needs no connection: it runs beside the rest, or, of a fleet so large
        # that both together are heavy, after it
        simulating = beside.submit(s.simulate, FORECAST_WEEKS, s.draws, 0) if s.draws == MOST_DRAWS else None
        ranking = s.ranking(RANK_DAYS)
        _write(con, "ranking", ranking.drop(columns=["waiting_days"], errors="ignore"))
        _write(con, "bed_life", _bed_life(s))
        publish_look_first(s, con)
        publish_breakdown(s, con)
        publish_tension(s, con)
        _write(con, "bed_days", _bed_days(s))
        bound_relations(con, is_building=True)  # every session of the beds now in goes through memory once more
        for name in PUBLISHED_SQL:
            con.execute(f"create or replace table {name} as\n{relation_text(name)}")
        bound_relations(con, is_building=False)
        made = simulating.result() if simulating else s.simulate(FORECAST_WEEKS, s.draws, 0)
    _write(con, "forecast_weeks", _forecast(s, made))
    _write(con, "forecast_strings", _forecast_strings(s, made))
    publish_match_ready(s, con)
    del made
    s.made.clear()  # the draws of a large fleet are as large as its history, which the parameters go through once more
    _write(con, "fitted", pd.DataFrame({"as_of": [s.estimate.kept.as_of], "kept": [s.estimate.kept.to_json()]}))
    _write(con, "parameters", parameters(s.estimate))
    facts = {
        "as_of": s.as_of.isoformat(),
        "last_log_on": last_log_on.isoformat() if last_log_on else "",
        "club_name": words.name,
        "tension_unit": words.tension_unit,
        "count_rackets": str(len(ranking)),
        "count_players": str(int(ranking["player_id"].nunique())),
        "rank_days": str(RANK_DAYS),
        "forecast_weeks": str(FORECAST_WEEKS),
        "stale_days": str(max((now.date() - last_log_on).days, 0)) if last_log_on else "",
        "learning": s.estimate.sentence,
        "idle_bench": idle_bench(s.way.is_idle),
    }
    _write(con, "meta", pd.DataFrame({"key": list(facts), "value": list(facts.values())}))
    con.execute("create or replace table beds as from beds_seen")


def _write(con: duckdb.DuckDBPyConnection, name: str, frame: pd.DataFrame) -> None:
    # DuckDB reads a NaN of a frame as null
    infinite = [c for c in frame.columns if frame[c].dtype.kind == "f" and np.isinf(frame[c].to_numpy()).any()]
    clean = frame.assign(**{c: frame[c].replace([np.inf, -np.inf], np.nan) for c in infinite}) if infinite else frame
    con.register("incoming", clean)
    con.execute(f"create or replace table {name} as from incoming")
    con.unregister("incoming")


def _bed_life(s: Snapshot) -> pd.DataFrame:
    """Life used and hours of every bed at its end or at the origin."""
    h, learned = s.estimate.history, s.estimate.learned
    scale = np.power(learned.family["breaks"][np.maximum(h.family, 0)], 1.0 / learned.shapes.shape_breaks)
    return pd.DataFrame(
        {
            "bed_id": h.beds["bed_id"],
            "player_id": h.beds["player_id"],
            "hours_played": h.hours[h.last],
            "break_used": learned.exposure.x["breaks"][h.last] * scale,
            "dead_used": learned.exposure.x["goes_dead"][h.last],
        }
    )


def _bed_days(s: Snapshot) -> pd.DataFrame:
    """Current beds day by day: played so far, then planned with its band."""
    h, learned, beds = s.estimate.history, s.estimate.learned, s.beds
    family = np.maximum(h.family[beds.index], 0)
    scale = np.power(learned.family["breaks"][family], 1.0 / learned.shapes.shape_breaks)
    frames = []
    # every bed that is in a frame, those that have ended there included
    in_frame = s.rackets[s.rackets["bed_id"].notna()]
    index = bed_rows(h, in_frame["bed_id"])
    chosen = np.isin(h.bed, index)
    bed_scale = np.power(learned.family["breaks"][np.maximum(h.family, 0)], 1.0 / learned.shapes.shape_breaks)
    at = h.bed[chosen]
    played = pd.DataFrame(
        {
            "racket_id": h.beds["racket_id"].to_numpy()[at],
            "bed_id": h.beds["bed_id"].to_numpy()[at],
            "day": pd.to_datetime(h.day[chosen], unit="D", origin="unix"),
            "kind": "played",
            "hours": named_play(h, np.flatnonzero(chosen))[0],
            "break_used": learned.exposure.x["breaks"][chosen] * bed_scale[at],
            "dead_used": learned.exposure.x["goes_dead"][chosen],
        }
    )
    for name in ("break_used", "dead_used"):
        played[f"{name}_p10"] = played[f"{name}_p90"] = played[name]
    frames.append(played)
    if len(beds.index):
        o = s.outlook(OUTLOOK_DAYS)
        n, d = o.x_breaks.shape
        weeks = np.arange(1, d + 1) / 7.0
        p = s.play
        cv = np.sqrt(p.spread_level**2 + p.spread_week**2 / np.maximum(weeks, 0.2) + p.spread_club**2)
        shape = 1.0 / cv**2
        low, high = stats.gamma.ppf(0.1, shape, scale=cv**2), stats.gamma.ppf(0.9, shape, scale=cv**2)
        last = h.last[beds.index]
        now_b, now_d = learned.exposure.x["breaks"][last], learned.exposure.x["goes_dead"][last]
        add_b, add_d = o.x_breaks - now_b[:, None], o.x_dead - now_d[:, None]
        days = np.array([np.datetime64(s.as_of) + np.timedelta64(int(k), "D") for k in o.days])
        planned = {
            "racket_id": np.repeat(beds.racket_id, d),
            "bed_id": np.repeat(h.beds["bed_id"].to_numpy()[beds.index], d),
            "day": pd.to_datetime(np.tile(days, n)),
            "kind": "planned",
            "hours": np.nan,
            "break_used": (o.x_breaks * scale[:, None]).ravel(),
            "dead_used": o.x_dead.ravel(),
            "break_used_p10": ((now_b[:, None] + add_b * low[None, :]) * scale[:, None]).ravel(),
            "break_used_p90": ((now_b[:, None] + add_b * high[None, :]) * scale[:, None]).ravel(),
            "dead_used_p10": (now_d[:, None] + add_d * low[None, :]).ravel(),
            "dead_used_p90": (now_d[:, None] + add_d * high[None, :]).ravel(),
        }
        frames.append(pd.DataFrame(planned))
    out = pd.concat(frames, ignore_index=True)
    out["day"] = out["day"].dt.date
    return out


def _forecast(s: Snapshot, made: Simulated) -> pd.DataFrame:
    """The weeks ahead beside the bench minutes written down or usual."""
    frame = s.forecast(FORECAST_WEEKS, s.draws, made=made)
    capacity = s.con.execute(relation_text("bench_capacity"), {"weeks": FORECAST_WEEKS}).df()
    return frame.merge(capacity, on="week", how="left")


def _forecast_strings(s: Snapshot, made: Simulated) -> pd.DataFrame:
    """Jobs and metres by week and string, from the same simulation."""
    strings = s.con.execute(relation_text("racket_strings")).df().set_index("racket_id")
    rackets = s.rackets["racket_id"].to_numpy()
    frames = []
    for part in ("mains", "crosses"):
        ids = strings[f"{part}_string_id"].reindex(rackets).to_numpy(dtype=object)
        metres = strings[f"{part}_metres"].reindex(rackets).to_numpy(dtype=float)
        for string_id in sorted({i for i in ids if isinstance(i, str)}):
            mine = np.array([i == string_id for i in ids])
            keep = mine[made.racket]
            cell = made.draw[keep] * FORECAST_WEEKS + made.week[keep]
            size = made.jobs.size
            frames.append(
                (part, string_id, np.bincount(cell, minlength=size), np.bincount(cell, metres[made.racket[keep]], size))
            )
    rows = []
    for string_id in sorted({f[1] for f in frames}):
        metres = np.sum([f[3] for f in frames if f[1] == string_id], axis=0).reshape(made.jobs.shape) * made.busy
        mains = [f[2] for f in frames if f[1] == string_id and f[0] == "mains"]
        jobs = (mains[0].reshape(made.jobs.shape) if mains else np.zeros(made.jobs.shape)) * made.busy
        metres_p50, metres_p90 = np.quantile(metres, [0.5, 0.9], axis=0)
        jobs_p50 = np.quantile(jobs, 0.5, axis=0)
        rows += [
            (w + 1, string_id, float(metres_p50[w]), float(metres_p90[w]), float(jobs_p50[w]))
            for w in range(FORECAST_WEEKS)
        ]
    return pd.DataFrame(rows, columns=["week", "string_id", "metres_p50", "metres_p90", "jobs_p50"])
