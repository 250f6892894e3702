"""What is asked, held against what is on file: whose rackets, which string, which policy.

In: a Question as a command or a form gives it, a Snapshot. Out: the rackets and the two scenarios to compare; a
sentence (StoreError) where a name is not on file or nothing would change.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.fleet.snapshot import Snapshot
from pipeline.fleet.what_if.simulator import Policy, Scenario, Strung
from pipeline.sql import relation_text
from pipeline.store import StoreError

AS_NOW = Policy()


@dataclass(frozen=True)
class Question:
    """squad or player_id: whose rackets (both None: everybody's). mains_string_id: strung from now on, as a full bed
    unless crosses_string_id is another; crosses_string_id alone keeps the mains. gauge_mm: the mains in another
    diameter. policy: when beds are cut out.
    """

    squad: str | None = None
    player_id: str | None = None
    mains_string_id: str | None = None
    crosses_string_id: str | None = None
    gauge_mm: float | None = None
    policy: Policy = field(default_factory=Policy)
    weeks: int = 26


@dataclass(frozen=True)
class Compared:
    """rackets: rows of the snapshot. strung: per scenario the racket's string ids (mains_string_id,
    crosses_string_id). events: (rackets, n) eves of events in days after the origin, padded with inf.
    """

    rackets: pd.DataFrame
    now: Scenario
    then: Scenario
    strung_now: pd.DataFrame
    strung_then: pd.DataFrame
    events: np.ndarray


def compared(s: Snapshot, asked: Question, ready_days: int) -> Compared:
    """The two ways to go on. ready_days: a racket for a match is strung so many days before it."""
    rackets = _whose(s, asked)
    strings = s.con.execute(
        "select string_id, material, gauge_mm, coalesce(profile, 'round') as profile from facts.strings"
    ).df()
    strings = strings.set_index("string_id")
    for string_id in (asked.mains_string_id, asked.crosses_string_id):
        if string_id is not None and string_id not in strings.index:
            raise StoreError(f"string {string_id} is not on file: {_near(string_id, strings.index)}")
    if asked.gauge_mm is not None and not 0.5 <= asked.gauge_mm <= 2.0:
        raise StoreError(f"a gauge of {asked.gauge_mm:g} mm is no tennis string: give one from 0.5 to 2.0 mm.")
    changes_string = asked.mains_string_id or asked.crosses_string_id or asked.gauge_mm
    if not changes_string and asked.policy == AS_NOW:
        raise StoreError("nothing would change: choose another string, gauge or restring policy.")
    now = s.con.execute(relation_text("racket_strings")).df().set_index("racket_id").reindex(rackets["racket_id"])
    now = now[["mains_string_id", "crosses_string_id"]].reset_index()
    then = now.copy()
    if asked.mains_string_id is not None:
        then["mains_string_id"] = asked.mains_string_id
        then["crosses_string_id"] = asked.crosses_string_id or asked.mains_string_id
    elif asked.crosses_string_id is not None:
        then["crosses_string_id"] = asked.crosses_string_id
    density = s.con.execute(
        "select racket_id, mains * crosses / nullif(head_cm2, 0) as density_per_cm2 from facts.rackets"
    ).df()
    frames = now[["racket_id"]].merge(density, on="racket_id", how="left")["density_per_cm2"]
    beds_now, beds_then = _beds(now, strings, frames), _beds(then, strings, frames)
    if asked.gauge_mm is not None:
        beds_then = beds_then.assign(mains_gauge_mm=asked.gauge_mm)
    return Compared(
        rackets,
        Scenario(Strung(beds_now), AS_NOW),
        Scenario(Strung(beds_then), asked.policy),
        now,
        then,
        _event_eves(s, rackets, ready_days),
    )


def _whose(s: Snapshot, asked: Question) -> pd.DataFrame:
    rackets = s.rackets[s.rackets["bed_id"].notna()]
    if asked.player_id is not None:
        rackets = rackets[rackets["player_id"] == asked.player_id]
        known: Iterable[str] = sorted(s.rackets["player_id"].dropna().unique())
        what, value = "player", asked.player_id
    elif asked.squad is not None:
        rackets = rackets[rackets["squad"] == asked.squad]
        known = sorted(s.rackets["squad"].dropna().unique())
        what, value = "squad", asked.squad
    else:
        known, what, value = (), "club", ""
    if rackets.empty:
        if what == "club":
            raise StoreError("no racket in service has a restring on file: load restrings.csv first.")
        raise StoreError(f"{what} {value} has no strung racket on file: {_near(value, known)}")
    return rackets.reset_index(drop=True)


def _near(word: str, known: Iterable[object]) -> str:
    names = [str(k) for k in known]
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.4)
    return f"did you mean {close[0]}?" if close else f"on file are {', '.join(names[:12]) or 'none'}."


def _beds(strung: pd.DataFrame, strings: pd.DataFrame, density: pd.Series) -> pd.DataFrame:
    mains = strings.reindex(strung["mains_string_id"]).reset_index(drop=True)
    crosses = strings.reindex(strung["crosses_string_id"].fillna(strung["mains_string_id"])).reset_index(drop=True)
    return pd.DataFrame(
        {
            "mains_material": mains["material"],
            "crosses_material": crosses["material"],
            "mains_gauge_mm": mains["gauge_mm"].astype(float),
            "mains_profile": mains["profile"],
            "density_per_cm2": density.astype(float),
            "family": mains["material"].fillna("unknown") + "/" + crosses["material"].fillna("unknown"),
        }
    )


def _event_eves(s: Snapshot, rackets: pd.DataFrame, ready_days: int) -> np.ndarray:
    events = s.con.execute(relation_text("events")).df()
    days = (pd.to_datetime(events["planned_on"]) - pd.Timestamp(s.as_of)).dt.days - ready_days
    eves = []
    for player, squad in zip(rackets["player_id"], rackets["squad"], strict=True):
        mine = days[(events["player_id"] == player) | (events["player_id"].isna() & (events["squad"] == squad))]
        eves.append(sorted({float(day) for day in mine if day >= 0}))
    out = np.full((len(rackets), max((len(e) for e in eves), default=0)), np.inf)
    for row, mine in enumerate(eves):
        out[row, : len(mine)] = mine
    return out
