"""Which rackets to look at first: what a one-minute inspection of each bed in play is worth.

In: a Snapshot. Out: one row a racket in play, most worth first: look_value in restrings (1 = one planned restring), how
often the look changes what is done this week, the sign to look for, and the reason in words.

Two things can be done with a racket this week. Handing it in throws away the life it still has, less where it is dead
already: wasted part x (1 - part lost x chance that it is dead) restrings. Waiting risks that it ends before the next
event or before the bench can reach it: (cost of failing - 1) x chance, weighed by the racket's role. The cheaper is
done: it is handed in when its chance to end exceeds the wasted life over (cost of failing - 1) x role.

The value of a look is the expected cost without it less the expected cost with it (preposterior analysis; Raiffa &
Schlaifer, Applied Statistical Decision Theory, from memory): over the grades it may show in each sign, taken as
independent given how worn the bed is, each changing both chances by the multiplier learned for that grade. The chances
after the look average exactly to those before it, so the value is never negative, and nought where no grade changes
what is done. A look whose word is still fresh would show the same again: that part of the chance stays on the last
grade. A bed that has hardly been played shows nothing yet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.outlook import Outlook, days_left, prob_dead
from pipeline.fleet.ranking import BENCH_REACH_DAYS, ROLE_WEIGHT
from pipeline.sql import relation_text
from pipeline.wear.bed_step import step_on
from pipeline.wear.history import SIGNS
from pipeline.wear.look_grades import LIMIT_OF_SIGN, LookGrades, learn_look_grades
from pipeline.wear.looks import group_of, told
from pipeline.wear.reference import MATERIALS, value

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

EVENT_REACH_DAYS = 14  # an event so near counts as the day until which the racket has to last, as in the ranking
LIMIT_HORIZON_DAYS = 42
SETTLING_ROUNDS = 34
LEAST_HOURS = 1.0  # of play before a bed shows anything
SIGN_WORDS = {
    "fraying": "fraying",
    "notching": "notches",
    "misalignment": "strings out of line",
    "lost_feel": "lost feel (ask the player)",
}
COLUMNS = (
    "order", "racket_id", "player_id", "player_name", "squad", "look_value", "prob_change", "sign", "call_now",
    "looked_on", "is_past_life", "reason",
)  # fmt: skip


@dataclass(frozen=True)
class Stakes:
    """What is at stake in each bed, all (n,): chance to end within reach and the part of it that is breaking, chance
    to be dead now, wasted part if handed in, extra cost of failing."""

    prob_end: np.ndarray
    part_breaking: np.ndarray
    prob_dead: np.ndarray
    wasted: np.ndarray
    failing: np.ndarray


def publish_look_first(s: Snapshot, con: duckdb.DuckDBPyConnection) -> None:
    """The view table `look_first`."""
    frame = _looks_of(s)
    con.register("incoming_looks", frame)
    con.execute("create or replace table look_first as from incoming_looks")
    con.unregister("incoming_looks")


def look_values(s: Snapshot) -> pd.Series:
    """look_value by racket_id, for the rackets in play."""
    return _looks_of(s).set_index("racket_id")["look_value"]


def _looks_of(s: Snapshot) -> pd.DataFrame:
    """look_first, worked out once a snapshot."""
    if "look_first" not in s.frames:
        s.frames["look_first"] = look_first(s)
    return s.frames["look_first"]


def look_first(s: Snapshot) -> pd.DataFrame:
    """Every racket in play, the one most worth a look first."""
    h, now = s.estimate.history, s.beds
    n = len(now.index)
    rackets = s.rackets.set_index("racket_id").loc[now.racket_id].reset_index()
    o = s.outlook(LIMIT_HORIZON_DAYS)
    stakes = _stakes(s, o, rackets)
    used = _life_used(s, h.last[now.index])
    grades = _learn_grades(s)
    material = h.beds["mains_material"].fillna("unknown").to_numpy()[now.index]
    fresh = _still_fresh(s, rackets)
    is_soft = np.array([MATERIALS[str(m)].is_soft for m in material], dtype=bool)
    applies = np.ones((n, len(SIGNS)), dtype=bool)
    applies[:, SIGNS.index("fraying")] = is_soft  # monofilaments notch and do not fray (common practice)
    every = np.zeros((n, len(SIGNS)), dtype=np.int64)
    group = group_of(h.beds["mains_material"])[now.index]
    applies &= told(every, group, used["goes_dead"]) >= 0
    chance = np.stack(
        [_chance(grades, material, i, used, rackets[sign], fresh) for i, sign in enumerate(SIGNS)], axis=1
    )
    looks = {limit: by_group[group] for limit, by_group in s.estimate.learned.looks.items()}
    alone = np.zeros((n, len(SIGNS)))
    for i in range(len(SIGNS)):
        only = applies & (np.arange(len(SIGNS)) == i)[None, :]
        alone[:, i] = value_of_look(stakes, *every_look(chance, looks, only))[0]
    worth, change = value_of_look(stakes, *every_look(chance, looks, applies))
    is_played = h.hours[h.last[now.index]] >= LEAST_HOURS
    worth, change = np.where(is_played, worth, 0.0), np.where(is_played, change, 0.0)
    frame = pd.DataFrame(
        {
            "racket_id": now.racket_id,
            "player_id": rackets["player_id"],
            "player_name": rackets["player_name"],
            "squad": rackets["squad"],
            "look_value": worth,
            "prob_change": change,
            "sign": np.array(SIGNS)[np.argmax(np.where(applies, alone, -1.0), axis=1)],
            "call_now": np.where(_hands_in(stakes), "hand_in", "wait"),
            "looked_on": pd.to_datetime(rackets["looked_on"]).dt.date,
            "is_past_life": used["goes_dead"] >= 1.0,
        }
    )
    complained = rackets["lost_feel"].to_numpy(dtype=float) >= 1
    frame["reason"] = [_reason(row, bool(told)) for row, told in zip(frame.to_dict("records"), complained, strict=True)]
    frame = frame.sort_values(["look_value", "racket_id"], ascending=[False, True], kind="stable").reset_index(
        drop=True
    )
    frame.insert(0, "order", np.arange(1, n + 1))
    return frame[list(COLUMNS)]


def _chance(
    grades: LookGrades, material: np.ndarray, sign: int, used: dict[str, np.ndarray], last: pd.Series, fresh: np.ndarray
) -> np.ndarray:
    """(n, 4) chance of each grade of one sign: the last grade again as far as its word is fresh, else by life used."""
    chance = grades.chances(material, sign, used[LIMIT_OF_SIGN[SIGNS[sign]]])
    seen = last.to_numpy(dtype=float)
    repeats = np.where(np.isfinite(seen), fresh, 0.0)[:, None]
    again = np.eye(chance.shape[1])[np.nan_to_num(seen).astype(np.int64)]
    return np.asarray(repeats * again + (1.0 - repeats) * chance)


def every_look(
    chance: np.ndarray, looks: dict[str, np.ndarray], applies: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n, outcomes) chance of everything a look may show, and the multipliers of the hazard of breaking and of going
    dead. chance: (n, signs, grades). looks: limit -> (signs, grades), or (n, signs, grades) where they differ by bed.
    applies: (n, signs), signs that can be graded."""
    n = len(chance)
    out, breaks, dead = np.ones((n, 1)), np.ones((n, 1)), np.ones((n, 1))
    for i in range(chance.shape[1]):
        if not applies[:, i].any():
            continue
        graded = applies[:, i][:, None]
        nothing = np.eye(chance.shape[2])[:1]
        here = np.where(graded, chance[:, i], nothing)
        out = (out[:, :, None] * here[:, None, :]).reshape(n, -1)
        by_breaks, by_dead = (np.where(graded, looks[limit][..., i, :], 1.0) for limit in ("breaks", "goes_dead"))
        breaks = (breaks[:, :, None] * by_breaks[:, None, :]).reshape(n, -1)
        dead = (dead[:, :, None] * by_dead[:, None, :]).reshape(n, -1)
    return out, breaks, dead


def value_of_look(
    stakes: Stakes, chance: np.ndarray, by_breaks: np.ndarray, by_dead: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) worth of a look in restrings and chance that it changes what is done.

    chance: (n, outcomes) of what it shows. by_breaks, by_dead: (n, outcomes) multipliers of the hazard of each limit.
    """
    hazard = -np.log1p(-np.clip(stakes.prob_end, 0.0, 1.0 - 1e-9))
    relative = stakes.part_breaking[:, None] * by_breaks + (1.0 - stakes.part_breaking)[:, None] * by_dead
    end = coherent(hazard, relative, chance)
    dead = coherent(-np.log1p(-np.clip(stakes.prob_dead, 0.0, 1.0 - 1e-9)), by_dead, chance)
    wait = stakes.failing[:, None] * end
    hand_in = stakes.wasted[:, None] * (1.0 - value("dead_life_lost") * dead)
    worth = np.minimum(*_costs(stakes)) - (chance * np.minimum(wait, hand_in)).sum(axis=1)
    changes = (wait > hand_in) != _hands_in(stakes)[:, None]
    return np.maximum(worth, 0.0), (chance * changes).sum(axis=1)


def _costs(stakes: Stakes) -> tuple[np.ndarray, np.ndarray]:
    """(n,) expected cost of waiting and of handing in, in restrings, before any look."""
    return stakes.failing * stakes.prob_end, stakes.wasted * (1.0 - value("dead_life_lost") * stakes.prob_dead)


def _hands_in(stakes: Stakes) -> np.ndarray:
    wait, hand_in = _costs(stakes)
    return np.asarray(wait > hand_in)


def coherent(hazard: np.ndarray, relative: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """(n, outcomes) chance of an ending after each outcome of a look: 1 - exp(-c x hazard x relative), c such that the
    mean over the outcomes is the chance before it, 1 - exp(-hazard). c is found by halving on its logarithm."""
    low, high = np.full(len(hazard), -8.0), np.full(len(hazard), 8.0)
    target = np.exp(-hazard)
    for _ in range(SETTLING_ROUNDS):
        middle = (low + high) / 2.0
        left = (chance * np.exp(-np.exp(middle)[:, None] * hazard[:, None] * relative)).sum(axis=1)
        low, high = np.where(left > target, middle, low), np.where(left > target, high, middle)
    scale = np.exp((low + high) / 2.0)
    return np.asarray(1.0 - np.exp(-scale[:, None] * hazard[:, None] * relative))


def _stakes(s: Snapshot, o: Outlook, rackets: pd.DataFrame) -> Stakes:
    """What is at stake, from the outlook, the next events and the roles."""
    n = len(o.beds.index)
    events = s.con.execute("select player_id, next_event_on from next_events").df().set_index("player_id")
    event_on = pd.to_datetime(events["next_event_on"]).reindex(rackets["player_id"])
    ahead = (event_on - pd.Timestamp(s.as_of)).dt.days.to_numpy(dtype=float)
    is_before_event = np.nan_to_num(ahead, nan=1e9) <= EVENT_REACH_DAYS
    reach = np.where(is_before_event, np.nan_to_num(ahead, nan=1.0), BENCH_REACH_DAYS).astype(np.int64)
    at = np.arange(n), np.clip(reach, 1, LIMIT_HORIZON_DAYS) - 1
    broke, felt = o.p_break[at], o.p_feel[at]
    left = days_left(o)[:, 1]
    age_days = o.beds.age_hours / 24.0
    role = rackets["role"].map(ROLE_WEIGHT).fillna(ROLE_WEIGHT["spare"]).to_numpy(dtype=float)
    cost = np.where(is_before_event, value("failing_cost_before_event"), value("failing_cost"))
    x_dead = s.estimate.learned.exposure.x["goes_dead"][s.estimate.history.last[o.beds.index]]
    return Stakes(
        prob_end=broke + felt,
        part_breaking=broke / np.maximum(broke + felt, 1e-12),
        prob_dead=prob_dead(x_dead, s.estimate.learned.shapes.shape_dead),
        wasted=left / (age_days + left),
        failing=(cost - 1.0) * role,
    )


def _life_used(s: Snapshot, step: np.ndarray) -> dict[str, np.ndarray]:
    """limit -> (n,) life used at steps, of breaking against what such strings last in this club."""
    h, learned = s.estimate.history, s.estimate.learned
    family = np.maximum(h.family[h.bed[step]], 0)
    scale = np.power(learned.family["breaks"][family], 1.0 / learned.shapes.shape_breaks)
    return {
        "breaks": learned.exposure.x["breaks"][step] * scale,
        "goes_dead": learned.exposure.x["goes_dead"][step],
    }


def _learn_grades(s: Snapshot) -> LookGrades:
    """The club's grades by life used, from every look on file at a bed whose strings are known."""
    h = s.estimate.history
    looks = s.con.execute(
        f"""
        select bed_id, extract(epoch from inspected_on)::bigint // 86400 as day_number, {", ".join(SIGNS)}
        from ({relation_text("inspections_seen")})
        where bed_id is not null and not coalesce(broken, false)
        order by bed_id, inspected_on, {", ".join(SIGNS)}
        """
    ).df()
    bed = pd.Series(np.arange(h.n_beds), index=h.beds["bed_id"]).reindex(looks["bed_id"]).to_numpy()
    looks, bed = looks[np.isfinite(bed)], bed[np.isfinite(bed)].astype(np.int64)
    step = step_on(h, bed, looks["day_number"].to_numpy(dtype=np.int64))
    material = h.beds["mains_material"].fillna("unknown").to_numpy()[bed]
    grades = looks[list(SIGNS)].fillna(-1).to_numpy(dtype=np.int64).reshape(len(bed), len(SIGNS))
    return learn_look_grades(material, _life_used(s, step), grades, bed)


def _still_fresh(s: Snapshot, rackets: pd.DataFrame) -> np.ndarray:
    """(n,) how much of the last look's word still holds: halves with play, 0 where this bed has not been looked at."""
    h, learned, now = s.estimate.history, s.estimate.learned, s.beds
    looked_on = pd.to_datetime(rackets["looked_on"])
    seen = looked_on.notna().to_numpy()
    day = np.where(seen, (looked_on - pd.Timestamp(0)).dt.days.fillna(0).to_numpy(), 0).astype(np.int64)
    step = step_on(h, now.index, day)
    since = np.max([x[h.last[now.index]] - x[step] for x in learned.exposure.x.values()], axis=0)
    return np.where(seen, np.power(0.5, since / learned.shapes.look_fade), 0.0)


def _reason(row: dict[Any, Any], complained: bool) -> str:
    """Why to look at it, in words, without a full stop."""
    tenths = round(10.0 * float(row["prob_change"]))
    parts = []
    if tenths >= 1:
        then, now = ("it can wait", "hand it in") if row["call_now"] == "hand_in" else ("hand it in", "it can wait")
        parts.append(f"a look changes the call in {tenths} of 10 cases: {then}, else {now}")
    looked_on = words.as_date(row["looked_on"])
    parts.append(
        f"nobody has graded it since {words.day(looked_on)[4:]}" if looked_on else "nobody has graded this bed yet"
    )
    if row["is_past_life"] and not complained:
        parts.append("past its life, nobody complained")
    return "; ".join(parts)
