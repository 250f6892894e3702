"""Rackets by urgency: which to hand in first, and why.

In: a Snapshot. Out: one row a racket in service. p_end = p_break + p_feel within the days, of the bed that is in at the
origin, with the other causes active; p_dead = chance that it is dead by then, whoever notices. Life used is x (1 = half
of such beds have ended). urgency sorts: broken and not handed in, broken, then the chance to let the player down before
the next event or within a week, match rackets before spares, then what is at the bench already.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.fleet.explain import why
from pipeline.fleet.outlook import HORIZON_CAP_DAYS, Outlook, days_left, prob_dead
from pipeline.wear.history import bed_rows
from pipeline.wear.tension import tension_left_percent

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

CSV_COLUMNS = (
    "rank", "racket_id", "player_id", "squad", "p_end", "p_break", "p_feel", "p_dead", "break_used", "dead_used",
    "days_left_p10", "days_left_p50", "days_left_p90", "why", "look_value",
)  # fmt: skip
ROLE_WEIGHT = {"match": 1.0, "loan": 0.75, "spare": 0.6}
BENCH_REACH_DAYS = 7
LIMIT_HORIZON_DAYS = 42
_MODEL_COLUMNS = (
    "p_end", "p_break", "p_feel", "p_dead", "break_used", "break_used_p10", "break_used_p90", "dead_used",
    "dead_used_p10", "dead_used_p90", "days_left_p10", "days_left_p50", "days_left_p90", "tension_left_pct",
    "hours_played", "p_before_event",
)  # fmt: skip


def rank_rackets(s: Snapshot, days: int) -> pd.DataFrame:
    """Every racket in service, most urgent first. days: the window of the probabilities, at least 1."""
    if days < 1:
        raise ValueError(f"The ranking looks ahead at least one day; {days} was asked for. Give --days 1 or more.")
    frame = s.rackets.merge(_descriptions(s), on="racket_id", how="left").merge(_events(s), on="player_id", how="left")
    for column in _MODEL_COLUMNS:
        frame[column] = np.nan
    frame["limit_first"] = "goes_dead"
    frame["shared_part"] = frame["assumed_part"] = 0.0
    n_days = max(days, LIMIT_HORIZON_DAYS)
    o = s.outlook(n_days)
    if len(o.beds.index):
        rows = pd.Series(np.arange(len(frame)), index=frame["racket_id"]).loc[o.beds.racket_id].to_numpy()
        _fill_in_play(s, frame, rows, o, days)
    _fill_ended(s, frame)
    as_of = pd.Timestamp(s.as_of)
    for column, target in (("days_left_p50", "due_on"), ("days_left_p10", "due_from"), ("days_left_p90", "due_to")):
        ahead = np.ceil(frame[column].fillna(HORIZON_CAP_DAYS))
        frame[target] = (as_of + pd.to_timedelta(ahead, unit="D")).dt.date if len(frame) else pd.Series(dtype=object)
    frame["urgency"] = _urgency(frame)
    frame = frame.sort_values(
        ["urgency", "p_end", "racket_id"], ascending=[False, False, True], kind="stable"
    ).reset_index(drop=True)
    frame.insert(0, "rank", np.arange(1, len(frame) + 1))
    frame["why"] = [why(row) for row in frame.to_dict("records")]
    from pipeline.fleet.look_first import look_values  # it reads this module's role weights

    frame["look_value"] = frame["racket_id"].map(look_values(s))
    return frame


def _descriptions(s: Snapshot) -> pd.DataFrame:
    return s.con.execute(_DESCRIPTIONS).df()


_DESCRIPTIONS = """
select r.racket_id, f.frame, f.marking, f.mains, f.crosses, f.head_cm2, f.tension_min_kg, f.tension_max_kg,
       b.reason, b.cause, b.mains_string_id, b.crosses_string_id, b.mains_kg, b.crosses_kg, b.mains_material,
       b.crosses_material,
       b.mains_gauge_mm,
       case when b.mains_string_id is null then null
            when b.crosses_string_id = b.mains_string_id then coalesce(b.mains_name, b.mains_string_id)
            else coalesce(b.mains_name, b.mains_string_id) || ' / ' || coalesce(b.crosses_name, b.crosses_string_id)
       end as string_label
from rackets_now as r
join facts.rackets as f using (racket_id)
left join beds as b on b.bed_id = r.bed_id
"""


def _events(s: Snapshot) -> pd.DataFrame:
    return s.con.execute("select player_id, next_event, next_event_on from next_events").df()


def _fill_in_play(s: Snapshot, frame: pd.DataFrame, rows: np.ndarray, o: Outlook, days: int) -> None:
    h, learned = s.estimate.history, s.estimate.learned
    lives = learned.exposure.lives
    index, last = o.beds.index, h.last[o.beds.index]
    at = min(days, o.p_break.shape[1]) - 1
    family = np.maximum(h.family[index], 0)
    k = learned.shapes.shape_breaks
    scale = np.power(learned.family["breaks"][family], 1.0 / k)
    x_break, x_dead = learned.exposure.x["breaks"][last] * scale, learned.exposure.x["goes_dead"][last]
    left = days_left(o)
    play_cv = np.sqrt(h.share_variance[last]) / np.maximum(h.hours[last], 0.5)
    life_cv = 1.0 / (k * np.sqrt(2.0 + learned.endings_family["breaks"][family]))
    dead_cv = 1.0 / (learned.shapes.shape_dead * np.sqrt(2.0 + learned.endings_family["goes_dead"][family]))
    put = {
        "p_break": o.p_break[:, at],
        "p_feel": o.p_feel[:, at],
        "p_end": o.p_break[:, at] + o.p_feel[:, at],
        "p_dead": prob_dead(o.x_dead[:, at], learned.shapes.shape_dead),
        "break_used": x_break,
        "dead_used": x_dead,
        "hours_played": h.hours[last],
        "tension_left_pct": tension_left_percent(
            h.playability[last], h.age_hours[last], lives.dead_hours[index], lives.rest[index],
            h.beds["mains_material"].to_numpy()[index],
        ),
        "days_left_p10": left[:, 0],
        "days_left_p50": left[:, 1],
        "days_left_p90": left[:, 2],
    }  # fmt: skip
    for name, x, cv in (
        ("break_used", x_break, np.hypot(play_cv, life_cv)),
        ("dead_used", x_dead, np.hypot(play_cv, dead_cv)),
    ):
        put[f"{name}_p10"], put[f"{name}_p90"] = x * np.exp(-1.2816 * cv), x * np.exp(1.2816 * cv)
    horizon = min(LIMIT_HORIZON_DAYS, o.p_break.shape[1]) - 1
    put["limit_first"] = np.where(o.p_break[:, horizon] >= o.p_feel[:, horizon], "breaks", "goes_dead")
    shared = s.con.execute(
        """
        select bed_id, sum(coalesce(hours_shared, 0) order by day) / nullif(sum(hours order by day), 0) as part,
               sum(coalesce(hours_assumed, 0) order by day) / nullif(sum(hours order by day), 0) as assumed
        from bed_days where bed_id in (select bed_id from rackets_now) group by bed_id
        """
    ).df()
    parts = shared.set_index("bed_id").reindex(h.beds["bed_id"].to_numpy()[index])
    put["shared_part"] = np.nan_to_num(parts["part"].to_numpy(dtype=float))
    put["assumed_part"] = np.nan_to_num(parts["assumed"].to_numpy(dtype=float))
    event_on = pd.to_datetime(frame["next_event_on"].to_numpy()[rows])
    ahead = np.nan_to_num((event_on - pd.Timestamp(s.as_of)).days.to_numpy(dtype=float), nan=0.0).astype(int)
    within = np.clip(ahead, 1, o.p_break.shape[1])
    before = o.p_break[np.arange(len(rows)), within - 1] + o.p_feel[np.arange(len(rows)), within - 1]
    put["p_before_event"] = np.where((ahead > 0) & (ahead <= o.p_break.shape[1]), before, np.nan)
    week = min(BENCH_REACH_DAYS, o.p_break.shape[1]) - 1
    frame["p_reach"] = np.nan
    put["p_reach"] = np.where((ahead > 0) & (ahead <= 14), before, o.p_break[:, week] + o.p_feel[:, week])
    for name, values in put.items():
        frame.loc[frame.index[rows], name] = values


def _fill_ended(s: Snapshot, frame: pd.DataFrame) -> None:
    """Beds that have ended already: broken, or handed in for lost feel, or taken out by plan."""
    h, learned = s.estimate.history, s.estimate.learned
    lives = learned.exposure.lives
    ended = frame["bed_id"].notna() & (frame["status"] != "in_play")
    if not ended.any():
        return
    index = bed_rows(h, frame.loc[ended, "bed_id"])
    last = h.last[index]
    scale = np.power(learned.family["breaks"][np.maximum(h.family[index], 0)], 1.0 / learned.shapes.shape_breaks)
    broke = (frame.loc[ended, "status"] == "broken").to_numpy()
    felt = (frame.loc[ended, "cause"] == "goes_dead").to_numpy()
    x_dead = learned.exposure.x["goes_dead"][last]
    values = {
        "p_break": broke * 1.0,
        "p_feel": (felt & ~broke) * 1.0,
        "p_end": (broke | felt) * 1.0,
        "p_dead": np.where(broke | felt, 1.0, prob_dead(x_dead, learned.shapes.shape_dead)),
        "break_used": learned.exposure.x["breaks"][last] * scale,
        "dead_used": x_dead,
        "hours_played": h.hours[last],
        "tension_left_pct": np.where(
            broke, 0.0,
            tension_left_percent(
                h.playability[last], h.age_hours[last], lives.dead_hours[index], lives.rest[index],
                h.beds["mains_material"].to_numpy()[index],
            ),
        ),
    }  # fmt: skip
    for name in ("break_used", "dead_used"):
        values[f"{name}_p10"] = values[f"{name}_p90"] = values[name]
    for name in ("days_left_p10", "days_left_p50", "days_left_p90"):
        values[name] = np.where(broke | felt, 0.0, HORIZON_CAP_DAYS)
    values["limit_first"] = np.where(broke, "breaks", "goes_dead")
    for name, value in values.items():
        frame.loc[ended, name] = value


def _urgency(frame: pd.DataFrame) -> np.ndarray:
    weight = frame["role"].map(ROLE_WEIGHT).fillna(0.6).to_numpy(dtype=float)
    reach = frame["p_reach"].to_numpy(dtype=float) if "p_reach" in frame else np.zeros(len(frame))
    chance = np.nan_to_num(reach) * weight
    broken = (frame["status"] == "broken").to_numpy()
    handed_in = frame["handed_in_on"].notna().to_numpy()
    out = np.where(broken & ~handed_in, 3.0, np.where(broken, 2.0, chance))
    out = np.where((frame["status"] == "in_shop").to_numpy(), -1.0, out)
    return np.where((frame["status"] == "no_bed").to_numpy(), -2.0, out) + np.where(broken, weight * 0.1, 0.0)
