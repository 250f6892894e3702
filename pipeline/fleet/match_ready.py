"""Match-ready: for each player and event ahead, the chance that enough of the player's rackets last through it.

In: a Snapshot, the weeks ahead. Out: one row an event and player: event, planned_on, until_on, player_id, player_name,
squad, ready (rackets more likely than not to last), needed, prob_enough, worst_racket (the one least likely to).

A racket is ready in a draw of the simulation if it has strings in from the event's first day to its last, and they are
not dead by then. A bed that breaks or is handed in before is away until its restring; from then on its fresh bed
counts, as does that of a racket that is at the bench now. The draws are those of the workload forecast, so all of a
player's rackets share the player's load, multipliers and reporting. Whether a bed is dead is drawn by its life used on
the last day, in the same draw's play, against the reference (whoever plays): one uniform number a racket and draw.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet.outlook import prob_dead
from pipeline.fleet.simulation import Simulated
from pipeline.sql import relation_text
from pipeline.wear.history import bed_rows
from pipeline.wear.limits import life_used_dead

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

WEEKS, SEED = 6, 0  # of the published table: those of the published forecast, which is made anyway
LIKELY = 0.5
CSV_COLUMNS = ("event", "planned_on", "player_id", "squad", "ready", "needed", "prob_enough", "worst_racket")
COLUMNS = (
    "event", "planned_on", "until_on", "player_id", "player_name", "squad", "ready", "needed", "prob_enough",
    "worst_racket",
)  # fmt: skip


def publish_match_ready(s: Snapshot, con: duckdb.DuckDBPyConnection) -> None:
    """The view table `match_ready`."""
    frame = match_ready(s)
    con.register("incoming_ready", frame)
    con.execute("create or replace table match_ready as from incoming_ready")
    con.unregister("incoming_ready")
    for column in ("planned_on", "until_on"):  # an empty column has no type of its own
        con.execute(f"alter table match_ready alter {column} type date")


def match_ready(s: Snapshot, weeks: int = WEEKS, draws: int | None = None, seed: int = SEED) -> pd.DataFrame:
    """Every player of every event that ends within the weeks, soonest first. draws: none for as many as the published
    forecast has."""
    draws = draws or s.draws
    events = _events(s, weeks)
    if events.empty:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in COLUMNS})
    made = s.simulate(weeks, draws, seed)
    uniform = np.random.default_rng([seed, len(made.beds)]).random(made.ends.shape, dtype=np.float32)
    rackets = s.rackets.iloc[made.beds]
    holder, numbers = rackets["player_id"].to_numpy(dtype=object), rackets["racket_id"].to_numpy(dtype=object)
    lasts = {}
    for first_day, last_day in sorted(set(zip(events["first_day"], events["last_day"], strict=True))):
        group = events[(events["first_day"] == first_day) & (events["last_day"] == last_day)]
        asked = np.flatnonzero(np.isin(holder.astype(str), group["player_id"].to_numpy(dtype=str)))
        ready = lasts_through(s, made, asked, int(first_day), int(last_day), uniform[asked])
        lasts[first_day, last_day] = dict(zip(asked, ready, strict=True))
    rows = []
    for row in events.to_dict("records"):
        mine = np.flatnonzero(holder == row["player_id"])
        of_span = lasts[row["first_day"], row["last_day"]]
        ready = np.array([of_span[i] for i in mine]).reshape(len(mine), draws)
        chance = ready.mean(axis=1)
        rows.append(
            {
                **{
                    name: row[name] for name in ("event", "planned_on", "until_on", "player_id", "player_name", "squad")
                },
                "ready": int((chance >= LIKELY).sum()),
                "needed": int(row["needed"]),
                "prob_enough": float((ready.sum(axis=0) >= row["needed"]).mean()),
                "worst_racket": str(numbers[mine][np.argmin(chance)]) if len(mine) else None,
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def lasts_through(
    s: Snapshot, made: Simulated, rows: np.ndarray, first_day: int, last_day: int, uniform: np.ndarray
) -> np.ndarray:
    """(m, draws) whether a racket has live strings in from the first day to the end of the last, days after the origin
    (0 is the day after it). rows: (m,) into made.ends. uniform: (m, draws) decides whether a bed is dead.
    """
    h, learned = s.estimate.history, s.estimate.learned
    start, end = float(first_day), last_day + 1.0  # the last day is played to its end
    place = np.full(len(made.beds), -1)
    place[rows] = np.arange(len(rows))
    at = place[made.away_racket]
    draw, gone, back = made.away_draw, made.away_from, made.away_until
    meets = (at >= 0) & (gone < end) & (back > start)
    is_away = np.zeros(uniform.shape, dtype=bool)
    is_away[at[meets], draw[meets]] = True
    # beds that are in now, and over them those strung before the event: of several the last, as they come in time
    index = bed_rows(h, s.rackets["bed_id"].iloc[made.beds[rows]])
    last = h.last[index]
    hours = h.playability[last][:, None] + _on_day(made.playability[rows], end)
    age_hours = np.broadcast_to((h.age_hours[last] + 24.0 * end)[:, None], hours.shape).copy()
    fresh = (at >= 0) & (back <= start)
    r, d, strung = at[fresh], draw[fresh], back[fresh]
    path = made.playability[made.away_racket[fresh], d]
    week = np.minimum((strung // 7).astype(np.int64), path.shape[1] - 2)
    low, high = path[np.arange(len(r)), week], path[np.arange(len(r)), week + 1]
    hours[r, d] = _on_day(path, end) - (low + (high - low) * (strung / 7.0 - week))
    age_hours[r, d] = 24.0 * (end - strung)
    life, rest = (
        learned.exposure.lives.dead_hours[index],
        learned.shapes.rest_scale * learned.exposure.lives.rest[index],
    )
    x = life_used_dead(np.maximum(hours, 0.0), age_hours, life[:, None], rest[:, None])
    return np.asarray(~is_away & (uniform >= prob_dead(x, learned.shapes.shape_dead)))


def _on_day(path: np.ndarray, day: float) -> np.ndarray:
    """Value of weekly paths (..., weeks + 1) on a day, linear inside a week."""
    week = int(min(day // 7, path.shape[-1] - 2))
    part = min(day / 7.0 - week, 1.0)
    return np.asarray(path[..., week] * (1.0 - part) + path[..., week + 1] * part, dtype=float)


def _events(s: Snapshot, weeks: int) -> pd.DataFrame:
    """One row an event and player: those of the squad, or the one it names; needed is 1 where the calendar says none.

    An event that ends after the weeks is left out, one written down twice for a player is taken once.
    """
    found = s.con.execute(
        f"""
        with ahead as ({relation_text("events")}),
        people as (
            select player_id, player_name, squad from player_spans
            where is_latest and (left_on is null or left_on > (select as_of from origin))
        )
        select a.event, a.planned_on, greatest(a.planned_on, coalesce(a.until_on, a.planned_on)) as until_on,
               p.player_id, any_value(p.player_name) as player_name, any_value(p.squad) as squad,
               greatest(max(coalesce(a.fresh_rackets, 1)), 1) as needed,
               a.planned_on - (select as_of from origin) - 1 as first_day,
               greatest(a.planned_on, coalesce(a.until_on, a.planned_on)) - (select as_of from origin) - 1 as last_day
        from ahead as a
        join people as p
          on p.player_id = a.player_id
          or (a.player_id is null and (a.squad is null or p.squad = a.squad))
        where last_day < $days
        group by all
        order by a.planned_on, until_on, a.event, squad, p.player_id
        """,
        {"days": 7 * weeks},
    ).df()
    for column in ("planned_on", "until_on"):
        found[column] = pd.to_datetime(found[column]).dt.date
    return found
