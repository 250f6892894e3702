"""A club's beds as arrays: what each was, how it was played, how it ended.

In: a connection on which the relations of pipeline.sql stand. Out: History, the one thing the learning reads.
Steps are the days that matter to a bed, sorted by bed and day; cumulative play is at the end of the step's day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from pipeline.wear.reference import SESSION_WEIGHTS

CAUSES = ("none", "breaks", "goes_dead", "mishit", "other", "unknown")
SIGNS = ("fraying", "notching", "misalignment", "lost_feel")

_BEDS = """
select b.*, p.player_id, p.squad, p.role, l.level, l.spin
from beds as b
left join bed_players as p using (bed_id)
left join player_spans as l on l.player_id = p.player_id and l.is_latest
order by b.racket_id, b.strung_on, b.bed_id
"""

_STEPS = """
select (bed_row - 1)::integer as bed, (day - date '1970-01-01')::integer as day_number,
       coalesce(looked_on - date '1970-01-01', -1)::integer as looked_number,
       age_hours::double as age_hours, hours_so_far, share_variance_so_far, abrasion_so_far, playability_so_far,
       coalesce(fraying, -1)::tinyint as fraying, coalesce(notching, -1)::tinyint as notching,
       coalesce(misalignment, -1)::tinyint as misalignment, coalesce(lost_feel, -1)::tinyint as lost_feel
from bed_steps
order by bed_row, day
"""


_PLAY = """
select b.bed_row - 1 as bed, extract(epoch from p.day)::bigint // 86400 as day_number, p.* exclude (bed_id, day)
from bed_play as p
join beds as b using (bed_id)
where $beds is null or b.bed_row - 1 in (select unnest($beds::bigint[]))
order by b.bed_row, p.day, p.activity, p.intensity, p.surface, p.spin, p.level
"""


@dataclass(frozen=True)
class Play:
    """Kinds of play, one row each (n_rows,): the step it belongs to, effective hours, and its levels by feature
    name (arrays of names, or pandas categoricals of them).
    """

    step: np.ndarray
    hours: np.ndarray
    levels: dict[str, Any]

    def coded(self, feature: str) -> tuple[tuple[str, ...], np.ndarray]:
        """Names of the levels met, and (n_rows,) which of them each row has."""
        levels = self.levels[feature]
        if not isinstance(levels, pd.Categorical):
            levels = pd.Categorical(levels)
        return tuple(str(n) for n in levels.categories), levels.codes.astype(np.int64)

    def only(self, rows: np.ndarray) -> Play:
        """The rows of a mask (n_rows,) alone."""
        return Play(self.step[rows], self.hours[rows], {f: v[rows] for f, v in self.levels.items()})

    def of_beds(self, bed: np.ndarray, is_wanted: np.ndarray) -> Play:
        """The play of some beds alone. bed: (n_steps,) bed of each step. is_wanted: (n_beds,)."""
        return self.only(is_wanted[bed[self.step]])


class PlayOnFile(Play):
    """Play that is read when it is first asked for: only a fit looks at it, and at that of a part of the beds where a
    club is large. read: from numbers of beds, or None for all of them."""

    def __init__(self, read: Callable[[list[int] | None], Play]) -> None:
        object.__setattr__(self, "_read", read)

    def of_beds(self, bed: np.ndarray, is_wanted: np.ndarray) -> Play:
        """As of any play; what is not wanted is not read."""
        if "step" in self.__dict__:
            return super().of_beds(bed, is_wanted)
        made: Play = self._read(np.flatnonzero(is_wanted).tolist())
        return made

    def __getattr__(self, name: str) -> Any:
        if name not in ("step", "hours", "levels"):
            raise AttributeError(name)
        made = self._read(None)
        for one in ("step", "hours", "levels"):
            object.__setattr__(self, one, getattr(made, one))
        return getattr(made, name)

    def __reduce__(self) -> tuple[type[Play], tuple[Any, ...]]:
        return Play, (self.step, self.hours, self.levels)


@dataclass(frozen=True)
class History:
    """Arrays of one club as known at its origin.

    beds: one row a bed (n_beds), the relation `beds` with player and squad.
    first, last: (n_beds,) index of a bed's first and last step.
    bed: (n_steps,) index of the bed a step belongs to.
    day: (n_steps,) days since 1970-01-01. age_hours: (n_steps,). hours, abrasion, playability: (n_steps,) cumulative.
    share_variance: (n_steps,) cumulative variance of the hours from play that was shared out (h2).
    grades: (n_steps, 4) last grade seen before the step, by SIGNS, -1 where none. looked: (n_steps,) step index of
    that look, -1.
    player, squad, family: (n_beds,) codes into the name tuples; -1 where unknown. racket: (n_beds,) codes, in order
    met.
    cause: (n_beds,) codes into CAUSES.
    """

    beds: pd.DataFrame
    first: np.ndarray
    last: np.ndarray
    bed: np.ndarray
    day: np.ndarray
    age_hours: np.ndarray
    hours: np.ndarray
    abrasion: np.ndarray
    playability: np.ndarray
    share_variance: np.ndarray
    grades: np.ndarray
    looked: np.ndarray
    player: np.ndarray
    racket: np.ndarray
    squad: np.ndarray
    family: np.ndarray
    cause: np.ndarray
    players: tuple[str, ...]
    squads: tuple[str, ...]
    families: tuple[str, ...]
    as_of_day: int
    play: Play

    @property
    def n_beds(self) -> int:
        """How many beds there are."""
        return len(self.first)


def of_steps(h: History, keep: np.ndarray, play: Play) -> History:
    """The history with the steps of a mask (n_steps,) alone, and the beds that have any left. play: that of h, or of
    the beds that stay; its rows at steps that go are dropped.

    Players, rackets, squads and families keep their codes, those without any bed left included.
    """
    count = np.add.reduceat(keep.astype(np.int64), h.first) if h.n_beds else np.zeros(0, dtype=np.int64)
    beds = count > 0
    last = np.cumsum(count[beds]) - 1
    step_at = np.cumsum(keep) - 1
    bed_at = np.cumsum(beds) - 1
    looked = h.looked[keep]
    stays = play.only(keep[play.step] if len(play.step) else np.zeros(0, dtype=bool))
    return replace(
        h,
        beds=h.beds[beds].reset_index(drop=True),
        first=last - count[beds] + 1,
        last=last,
        bed=bed_at[h.bed[keep]],
        day=h.day[keep],
        age_hours=h.age_hours[keep],
        hours=h.hours[keep],
        abrasion=h.abrasion[keep],
        playability=h.playability[keep],
        share_variance=h.share_variance[keep],
        grades=h.grades[keep],
        looked=np.where(looked >= 0, step_at[np.maximum(looked, 0)], -1),
        player=h.player[beds],
        racket=h.racket[beds],
        squad=h.squad[beds],
        family=h.family[beds],
        cause=h.cause[beds],
        play=replace(stays, step=step_at[stays.step]),
    )


def player_or_nobody(h: History) -> np.ndarray:
    """(n_beds,) code of each bed's player; one beyond the last player's for a bed of nobody's."""
    return np.where(h.player >= 0, h.player, len(h.players))


def just_before(h: History, so_far: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """(m,) what a running sum within each bed was before each of these steps: 0 at a bed's first. so_far: (n_steps,).
    steps: (m,) into the history's."""
    return np.where(h.first[h.bed[steps]] == steps, 0.0, so_far[np.maximum(steps - 1, 0)])


def last_played(h: History) -> np.ndarray:
    """(n_beds,) index of the last step with play on it; the last step of a bed that was never played."""
    if h.n_beds == 0:
        return np.zeros(0, dtype=np.int64)
    every = np.arange(len(h.day))
    played = np.where(h.hours > just_before(h, h.hours, every), every, -1)
    found = np.maximum.reduceat(played, h.first)
    return np.where(found >= 0, found, h.last)


def sums_from(values: np.ndarray, h: History, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n_beds,) sums of values over all steps of each bed, and over those from a step on. values: (n_steps,). start:
    (n_beds,) that step, one of the bed's."""
    if h.n_beds == 0:
        return np.zeros(0), np.zeros(0)
    before, since = np.add.reduceat(values, np.column_stack([h.first, start]).ravel()).reshape(-1, 2).T
    return np.where(start > h.first, before, 0.0) + since, since


def bed_rows(h: History, bed_ids: pd.Series) -> np.ndarray:
    """(n,) row of each bed in History's beds. Raises KeyError for a bed that is not there."""
    row = pd.Series(np.arange(h.n_beds), index=h.beds["bed_id"])
    return row.loc[bed_ids].to_numpy(dtype=np.int64) if len(bed_ids) else np.zeros(0, dtype=np.int64)


def codes_of(values: Iterable[object], known: Sequence[str]) -> np.ndarray:
    """(n,) place of each value among the known ones; their number where it is none of them."""
    place: dict[object, int] = {value: i for i, value in enumerate(known)}
    return np.array([place.get(value, len(known)) for value in values], dtype=np.int64)


def strung_day(h: History) -> np.ndarray:
    """(n_beds,) day of stringing, in days since 1970-01-01."""
    return (pd.to_datetime(h.beds["strung_on"]) - pd.Timestamp(0)).dt.days.to_numpy()


def named_play(h: History, steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(m,) hours played at each of these steps, and whether it is written that it was this racket: play that was shared
    out among a player's rackets has a variance (h2). steps: (m,) into the history's."""
    played, shared = (so_far[steps] - just_before(h, so_far, steps) for so_far in (h.hours, h.share_variance))
    return played, (played > 0.05) & (shared < 0.02 * played**2)


def _shared_words(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with one text object for all cells that say the same: a large club's beds have few different words."""
    for name in frame.select_dtypes("object").columns:
        codes, words = pd.factorize(frame[name], use_na_sentinel=False)
        frame[name] = np.asarray(words, dtype=object)[codes]
    return frame


def _step_at(bed: np.ndarray, day: np.ndarray, of_bed: np.ndarray, on_day: np.ndarray) -> np.ndarray:
    """(m,) steps of these beds on these days: found by the joint key (bed, day), by which the steps are sorted."""
    span = int(day.max() - day.min() + 2) if len(day) else 1
    base = int(day.min()) if len(day) else 0
    key = bed.astype(np.int64) * span + (day - base)
    return np.searchsorted(key, of_bed.astype(np.int64) * span + (on_day - base))


def read_history(con: duckdb.DuckDBPyConnection) -> History:
    """The club's history from the relations `beds`, `bed_players` and `bed_steps`."""
    beds = _shared_words(con.execute(_BEDS).df())
    steps = {name: np.asarray(values) for name, values in con.execute(_STEPS).fetchnumpy().items()}
    bed = steps["bed"]
    first = np.searchsorted(bed, np.arange(len(beds)), side="left")
    last = np.searchsorted(bed, np.arange(len(beds)), side="right") - 1
    grades = np.stack([steps.pop(s) for s in SIGNS], axis=1)
    day, looked_day = steps["day_number"], steps.pop("looked_number")
    looked = np.full(len(bed), -1, dtype=np.int32)
    seen = np.flatnonzero(looked_day >= 0)
    if len(seen):  # a look is a step of the same bed
        looked[seen] = _step_at(bed, day, bed[seen], looked_day[seen])

    def read_play(wanted: list[int] | None) -> Play:
        there = con.execute("select extract(epoch from as_of)::bigint // 86400 from origin").fetchone()
        if there != as_of:
            raise ValueError("The play is asked for after the relations were built for another origin: ask before.")
        play = con.execute(_PLAY, {"beds": wanted}).df()
        step = _step_at(bed, day, play["bed"].to_numpy(), play["day_number"].to_numpy())
        levels = {f: pd.Categorical(play[f]) for f in SESSION_WEIGHTS}
        return Play(step, play["effective_hours"].to_numpy(dtype=float), levels)

    player, players = pd.factorize(beds["player_id"])
    squad, squads = pd.factorize(beds["squad"])
    family, families = pd.factorize(beds["family"])
    cause = pd.Categorical(beds["cause"], categories=list(CAUSES)).codes.astype(np.int64)
    as_of = con.execute("select extract(epoch from as_of)::bigint // 86400 from origin").fetchone()
    assert as_of is not None
    return History(
        beds=beds,
        first=first,
        last=last,
        bed=bed,
        day=day,
        age_hours=steps["age_hours"],
        hours=steps["hours_so_far"],
        abrasion=steps["abrasion_so_far"],
        playability=steps["playability_so_far"],
        share_variance=steps["share_variance_so_far"],
        grades=grades,
        looked=looked,
        player=player,
        racket=pd.factorize(beds["racket_id"])[0],
        squad=squad,
        family=family,
        cause=cause,
        players=tuple(str(p) for p in players),
        squads=tuple(str(s) for s in squads),
        families=tuple(str(f) for f in families),
        as_of_day=int(as_of[0]),
        play=PlayOnFile(read_play),
    )
