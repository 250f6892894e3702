"""An invented club whose strings are bundles of strands: settings in, contract CSV files and truth out.

A main holds so many strands; each stands up to a load of its own, and what one no longer carries the others must:
breakage runs slowly, then all at once (a bundle under load sharing). Feel goes by jumps: sessions knock a bed's
liveliness down by gamma-distributed steps, more on hot days, and a player gives it up when it has fallen below what
that player puts up with. When one of a squad complains, the others grow choosy: complaints come in clusters.

The stringer works at home on four evenings a week with room for a few rackets, and goes away for a fortnight three
times a year; whatever has piled up is done by lot after that. Rackets are dropped in a box that is emptied on Fridays
by some squads, brought by hand by others. Play: outdoors, rained off by the week, little of it in winter; players come
in pairs. All values are assumptions, all names invented.

Run `python -m tests.trial.club_strands FOLDER --seed 1` for one club.
"""

from __future__ import annotations

import argparse
import copy
import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.trial.csv_folder import Row, write_club

POUNDS_A_KILO = 2.2046226
STRANDS = 24
# string: material, gauge mm, profile, hours to wear a lone strand through (median), liveliness lost an hour and a night
SHELF: dict[str, tuple[str, float, str, float, float, float]] = {
    "B1": ("polyester", 1.24, "round", 52.0, 0.062, 0.0080),
    "B2": ("polyester", 1.18, "shaped", 30.0, 0.072, 0.0085),
    "B3": ("multifilament", 1.28, "round", 17.0, 0.026, 0.0035),
    "B4": ("multifilament", 1.33, "round", 23.0, 0.024, 0.0035),
    "B5": ("synthetic_gut", 1.30, "round", 24.0, 0.031, 0.0045),
}
LIKED = {"mixed": [5, 4, 5, 3, 4], "soft": [0, 0, 4, 3, 4], "polyester": [5, 4, 0, 0, 0]}
SPIN_CUT = {"flat": 0.7, "moderate": 1.0, "heavy": 1.45}
LEVEL_CUT = {"beginner": 0.6, "club": 0.8, "regional": 1.05, "national": 1.2}
CUT = {"singles": 1.15, "doubles": 0.65, "drills": 1.1, "rally": 0.85, "sparring": 1.05, "serve": 0.75,
       "ball_machine": 0.9}  # fmt: skip
TEAMS = (("Blue", "national"), ("Green", "regional"), ("Amber", "regional"), ("White", "club"), ("Grey", "beginner"))
HOURS = {"beginner": 4.0, "club": 6.0, "regional": 9.0, "national": 11.5}
GIVEN = ["Ansel", "Birte", "Corin", "Dove", "Edda", "Faro", "Gisel", "Hanno", "Ilka", "Jorn", "Kaja"]
FAMILY = ["Arnstett", "Bolswert", "Crailing", "Dunmark", "Elsbruck", "Forsund", "Gellmann"]


@dataclass
class Bundle:
    """worn: hours of cutting that each strand has taken; stands: what each would stand alone; lively: 1 when new."""

    strung_on: date
    string: str
    worn: float
    stands: np.ndarray
    gone: int = 0
    lively: float = 1.0
    ended_on: date | None = None
    cause: str | None = None


@dataclass
class Frame:
    racket_id: str
    role: str
    bundle: Bundle
    liking: float
    job: dict[str, Any] | None = None


@dataclass
class Player:
    player_id: str
    team: int
    level: str
    spin: str
    cut: float
    least_lively: float
    says_so: bool
    hours: float
    string: str
    pull_kg: float
    frames: list[Frame] = field(default_factory=list)
    away_until: date | None = None


class StrandsClub:
    """The club as it lives, day by day."""

    def __init__(self, seed: int, players: int, days: int, until: date, inspect_every: int | None, nature: Row) -> None:
        known: dict[str, Any] = {"strings": "mixed", "share_saying_so": 0.65, "room_an_evening": 9, "share_box": 0.4,
                                 "load": 1.0, "infection": 0.25, "share_wrong_grades": 0.0}  # fmt: skip
        if unknown := set(nature) - set(known):
            raise TypeError(f"a club of strands has no setting {', '.join(sorted(unknown))}")
        self.nature = known | dict(nature)
        self.rng, self.look_rng, self.log_rng = (np.random.default_rng([seed, n, 93]) for n in range(3))
        self.until, self.inspect_every, self.today = until, inspect_every, until - timedelta(days=days + 1)
        self.from_on = until - timedelta(days=days)
        self.files: dict[str, list[Any]] = {
            k: [] for k in ("players", "rackets", "restrings", "jobs", "inspections", "calendar", "bench")
        }
        self.played: list[dict[str, Any]] = []
        self.ends: list[Row] = []
        self.count = 0
        self.rain = self._rain(days // 7 + 12)
        self.stringer_away = [
            (self.from_on + timedelta(days=int(d)), self.from_on + timedelta(days=int(d) + 13))
            for d in np.arange(60, days + 60, 121) + self.rng.integers(-25, 26, len(np.arange(60, days + 60, 121)))
        ]
        self.uses_box = [bool(self.rng.random() < self.nature["share_box"]) for _ in TEAMS]
        self.players = [self._player(n, players) for n in range(players)]
        self.alarm = np.zeros(len(TEAMS))
        self._write_plans(days)

    def _rain(self, weeks: int) -> np.ndarray:
        """Share of the outdoor hours that can be played in each week."""
        wet, out = 0.0, []
        for w in range(weeks):
            wet = 0.6 * wet + self.rng.normal(0, 0.5)
            out.append(1.0 / (1.0 + math.exp(wet - 1.6 - 0.9 * self._summer(self.from_on + timedelta(weeks=w)))))
        return np.array(out)

    @staticmethod
    def _summer(day: date) -> float:
        return math.cos(2 * math.pi * (day.timetuple().tm_yday - 190) / 365.25)

    def _number(self, kind: str) -> str:
        self.count += 1
        return f"{kind}{self.count}"

    def _player(self, n: int, of: int) -> Player:
        rng = self.rng
        team = n * len(TEAMS) // of
        level = TEAMS[team][1]
        spin = str(rng.choice(list(SPIN_CUT), p=[0.35, 0.35, 0.3]))
        likes = np.array(LIKED[self.nature["strings"]], dtype=float)
        player = Player(
            f"B-{n + 1}", team, level, spin, SPIN_CUT[spin] * LEVEL_CUT[level] * math.exp(rng.normal(0, 0.28)),
            float(np.clip(rng.normal(0.48, 0.09), 0.15, 0.75)), bool(rng.random() < self.nature["share_saying_so"]),
            HOURS[level] * math.exp(rng.normal(0, 0.22)) * self.nature["load"],
            str(rng.choice(list(SHELF), p=likes / likes.sum())), float(rng.integers(20, 27)),
        )  # fmt: skip
        self.files["players"].append(
            {"player_id": player.player_id, "player_name": f"{GIVEN[n % 11]} {FAMILY[n % 7]}", "squad": TEAMS[team][0],
             "level": level, "spin": spin}
        )  # fmt: skip
        for k in range({"beginner": 1, "club": 2, "regional": 3, "national": 4}[level]):
            frame = Frame(f"BR{n + 1}-{k + 1}", "match" if k < 2 else "spare", self._new(player, self.from_on),
                          float(rng.gamma(3.0, 1 / 3)))  # fmt: skip
            player.frames.append(frame)
            self.files["rackets"].append(
                {"racket_id": frame.racket_id, "player_id": player.player_id, "frame": f"Ahorn {1 + n % 4}",
                 "head_cm2": 645, "mains": 16, "crosses": 19, "tension_min_kg": 19, "tension_max_kg": 28,
                 "role": frame.role, "in_service_on": self.from_on}
            )  # fmt: skip
            self._note(player, frame, self.from_on, "first", None)
        return player

    def _new(self, player: Player, day: date) -> Bundle:
        middle = SHELF[player.string][3]
        return Bundle(day, player.string, 0.0, np.sort(middle * 1.6 * self.rng.weibull(2.6, STRANDS)))

    def _write_plans(self, days: int) -> None:
        for n in range(days + 42):
            day = self.from_on + timedelta(days=n)
            for team, (name, _) in enumerate(TEAMS):
                if self._trains(team, day):
                    self.files["calendar"].append(
                        {"planned_on": day, "squad": name, "activity": "sparring", "event": "team evening",
                         "minutes": 100, "place": "home"}
                    )  # fmt: skip

    def _trains(self, team: int, day: date) -> bool:
        is_shut = (day.month == 12 and day.day > 20) or (day.month == 1 and day.day < 6)
        days = ((0, 2, 3, 5), (1, 3, 5), (0, 4, 5), (2, 6), (6,))[team]
        return not is_shut and day.weekday() in (days if self._summer(day) > -0.5 else days[:2])

    # ---- a day --------------------------------------------------------------------------------------------------

    def advance_to(self, last_day: date) -> None:
        """Live the days up to and with the last one."""
        while self.today < last_day:
            self.today += timedelta(days=1)
            day = self.today
            if self.inspect_every and (day - self.from_on).days % self.inspect_every == 9:
                self._look(day)
            self._bench(day)
            self.alarm *= 0.8
            self._courts(day)
            for player in self.players:
                for frame in player.frames:
                    self._night(player, frame, day)

    def _courts(self, day: date) -> None:
        rng, dry = self.rng, self.rain[(day - self.from_on).days // 7]
        order = rng.permutation(len(self.players))
        free: list[Player] = []
        for player in (self.players[int(i)] for i in order):
            if player.away_until and day <= player.away_until:
                continue
            if rng.random() < 0.003:
                player.away_until = day + timedelta(days=int(rng.integers(5, 22)))
            elif self._trains(player.team, day) and rng.random() < 0.3 + 0.58 * dry:
                self._session(player, day, "sparring" if rng.random() < 0.6 else "drills", 100.0)
            elif rng.random() < player.hours / 7 / 1.7 * dry * (0.8 + 0.35 * self._summer(day)) * 0.75:
                free.append(player)
        for one, two in zip(free[::2], free[1::2], strict=False):  # in pairs
            minutes = float(rng.normal(95, 22))
            kind = str(rng.choice(["singles", "doubles", "rally", "serve"], p=[0.42, 0.13, 0.35, 0.1]))
            for player in (one, two):
                self._session(player, day, kind, max(30.0, minutes if kind in ("singles", "doubles") else 75.0))

    def _session(self, player: Player, day: date, activity: str, minutes: float) -> None:
        rng, left, number = self.rng, minutes, self._number("BX")
        while left > 4:
            bag = [f for f in player.frames if f.bundle.cause is None]
            if not bag:
                return
            # the favourite mostly, match rackets the more so in matches
            wish = np.array([f.liking * (3.0 if (f.role == "match") == (activity == "singles") else 1.0) for f in bag])
            frame = bag[int(rng.choice(len(bag), p=wish / wish.sum()))]
            used = self._wear(player, frame, day, activity, left)
            self.played.append(
                {"number": number, "player": player.player_id, "racket": frame.racket_id, "day": day,
                 "activity": activity, "minutes": max(1, round(used))}
            )  # fmt: skip
            left -= used

    def _wear(self, player: Player, frame: Frame, day: date, activity: str, minutes: float) -> float:
        """Ten minutes at a time until the time is up or the last strands give; gives the minutes played."""
        bundle, rng, done = frame.bundle, self.rng, 0.0
        material, _, _, _, an_hour, _ = SHELF[bundle.string]
        while done < minutes:
            part = min(10.0, minutes - done)
            done += part
            # what is gone is carried by the rest
            share = STRANDS / max(1, STRANDS - bundle.gone)
            bundle.worn += part / 60 * player.cut * CUT[activity] * share**1.3 * float(rng.gamma(6.0, 1 / 6))
            bundle.gone = int(np.searchsorted(bundle.stands, bundle.worn))
            if bundle.gone >= 0.7 * STRANDS:
                bundle.ended_on, bundle.cause = day, "breaks"
                return done
            if rng.random() < 0.004 * part / 60:
                bundle.ended_on, bundle.cause = day, "mishit"
                return done
        hot = 1.0 + 0.25 * max(0.0, self._summer(day)) * (material == "polyester")
        mean = an_hour * minutes / 60 * LEVEL_CUT[player.level] ** 0.6 * hot
        bundle.lively -= bundle.lively * float(rng.gamma(mean / 0.035, 0.035))
        need = player.least_lively + 0.08 * min(1.0, self.alarm[player.team])
        if player.says_so and bundle.lively < need and rng.random() < 0.5:
            bundle.ended_on, bundle.cause = day, "lost_feel"
            self.alarm[player.team] += self.nature["infection"]
        return done

    def _night(self, player: Player, frame: Frame, day: date) -> None:
        bundle, rng = frame.bundle, self.rng
        age = max(1, (day - bundle.strung_on).days)
        bundle.lively *= 1.0 - SHELF[bundle.string][5] * 6.0 / (4.0 + age)
        if frame.job:
            return
        if bundle.cause is None and frame.role == "match" and rng.random() < 1 / 400:
            bundle.ended_on, bundle.cause = day, "string_change"
        if bundle.cause:
            others = sum(f.bundle.cause is None for f in player.frames)
            goes = day.weekday() == 4 if self.uses_box[player.team] else rng.random() < (0.3 if others else 0.9)
            if goes:
                frame.job = {
                    "job_id": self._number("BJ"), "racket_id": frame.racket_id, "handed_in_on": day, "state": "due",
                    "state_on": day, "reason": "broke" if bundle.cause in ("breaks", "mishit") else bundle.cause,
                }  # fmt: skip
                self.files["jobs"].append(frame.job)

    def _bench(self, day: date) -> None:
        if day.weekday() not in (0, 1, 3, 5) or any(a <= day <= b for a, b in self.stringer_away):
            return
        waiting = [(p, f) for p in self.players for f in p.frames if f.job and f.job["handed_in_on"] < day]
        lot = self.rng.permutation(len(waiting))
        room = self.nature["room_an_evening"]
        self.files["bench"].append({"bench_on": day, "stringer": "Home", "minutes": 40 * room})
        for player, frame in (waiting[int(i)] for i in lot[:room]):
            old, job = frame.bundle, frame.job
            assert job is not None
            frame.bundle, frame.job = self._new(player, day), None
            self.ends.append(
                {"racket_id": frame.racket_id, "player_id": player.player_id, "strung_on": old.strung_on,
                 "ended_on": old.ended_on, "restrung_on": day, "true_cause": old.cause}
            )  # fmt: skip
            row = self._note(player, frame, day, job["reason"], old)
            job |= {"state": "strung", "state_on": day, "stringer": "Home", "restring_id": row["restring_id"]}

    def _note(self, player: Player, frame: Frame, day: date, reason: str, old: Bundle | None) -> dict[str, Any]:
        is_dated = old is not None and self.log_rng.random() < 0.4
        row = {
            "restring_id": self._number("BS"), "racket_id": frame.racket_id, "strung_on": day,
            "mains_string_id": player.string, "crosses_string_id": player.string, "mains_kg": player.pull_kg,
            "crosses_kg": player.pull_kg - 1, "reason": reason, "ended_on": old.ended_on if old and is_dated else None,
            "broke_where": "edge" if old and old.cause == "mishit" else None,
        }  # fmt: skip
        self.files["restrings"].append(row)
        return row

    def _look(self, day: date) -> None:
        rng = self.look_rng
        for player in self.players:
            for frame in player.frames:
                b = frame.bundle
                if b.cause or frame.job or frame.role != "match" or b.strung_on >= day:
                    continue
                seen = [int(np.clip(round(5.0 * b.gone / STRANDS + rng.normal(0, 0.35)), 0, 3)),
                        int(np.clip(round(4.6 * (0.95 - b.lively) + rng.normal(0, 0.6)), 0, 3))]  # fmt: skip
                wrong = [int(rng.integers(0, 4)) for _ in seen]
                if rng.random() < self.nature["share_wrong_grades"]:
                    seen = wrong
                is_hard = SHELF[b.string][0] == "polyester"
                self.files["inspections"].append(
                    {"inspection_id": self._number("BI"), "inspected_on": day, "racket_id": frame.racket_id,
                     "fraying": None if is_hard else seen[0], "notching": seen[0] if is_hard else None,
                     "misalignment": seen[1]}
                )  # fmt: skip

    def all_endings(self) -> list[Row]:
        """The truth so far: beds cut out, then those in now."""
        return [*self.ends] + [
            {"racket_id": f.racket_id, "player_id": p.player_id, "strung_on": f.bundle.strung_on,
             "ended_on": f.bundle.ended_on, "true_cause": f.bundle.cause or "still_in"}
            for p in self.players for f in p.frames
        ]  # fmt: skip

    def fork(self, rng: np.random.Generator) -> StrandsClub:
        """The same club on the same day with another future; the weather of the coming weeks is drawn anew."""
        kept = self.files, self.played, self.ends
        self.files, self.played, self.ends = {k: [] for k in self.files}, [], []
        other = copy.deepcopy(self)
        self.files, self.played, self.ends = kept
        other.rng, other.look_rng, other.log_rng = rng, *rng.spawn(2)
        week = (self.today - self.from_on).days // 7 + 1
        fresh = other._rain(len(self.rain))
        other.rain = np.concatenate([self.rain[:week], fresh[week:]])
        return other

    def as_noted(self, share_without_racket: float, share_unlogged: float) -> dict[str, list[Any]]:
        """matches.csv and practices.csv as written down."""
        matches: dict[tuple[str, str, str], dict[str, Any]] = {}
        practices = []
        for s in self.played:
            forgotten, bare = self.log_rng.random() < share_unlogged, self.log_rng.random() < share_without_racket
            if forgotten:
                continue
            if s["activity"] in ("singles", "doubles"):
                row = matches.setdefault(
                    (s["number"], s["player"], s["racket"]),
                    {"match_id": s["number"], "player_id": s["player"], "racket_id": s["racket"],
                     "played_on": s["day"], "format": s["activity"], "minutes": 0, "surface": "clay"},
                )  # fmt: skip
                row["minutes"] += s["minutes"]
            else:
                practices.append(
                    {"practice_id": self._number("BP"), "player_id": s["player"], "played_on": s["day"],
                     "racket_id": None if bare else s["racket"], "activity": s["activity"], "minutes": s["minutes"],
                     "surface": "clay"}
                )  # fmt: skip
        return {"matches": list(matches.values()), "practices": practices}


def build(
    seed: int, players: int = 40, days: int = 500, until: date = date(2026, 11, 15),
    inspect_every: int | None = None, **nature: Any,
) -> StrandsClub:  # fmt: skip
    """The club on the eve of its first day."""
    return StrandsClub(seed, players, days, until, inspect_every, nature)


def make_club(
    folder: Path | str, *, seed: int, players: int = 40, days: int = 500, until: date = date(2026, 11, 15),
    share_without_racket: float = 0.7, share_unlogged: float = 0.0, share_unknown_reason: float = 0.0,
    inspect_every: int | None = None, units: str = "kg", only_required: bool = False, **nature: Any,
) -> None:  # fmt: skip
    """Simulate a club over `days` up to `until` and write its files and, beside them, its truth."""
    club = build(seed, players, days, until, inspect_every, **nature)
    club.advance_to(until)
    files = club.files | club.as_noted(share_without_racket, share_unlogged)
    job_of = {job.get("restring_id"): job for job in files["jobs"]}
    for row in files["restrings"]:
        if row["reason"] != "first" and club.log_rng.random() < share_unknown_reason:
            row |= {"reason": None, "ended_on": None, "broke_where": None}
            job_of[row["restring_id"]]["reason"] = None
        if units == "lb":
            row |= {f"{part}_lb": round(row.pop(f"{part}_kg") * POUNDS_A_KILO, 1) for part in ("mains", "crosses")}
    files["strings"] = [
        {"string_id": i, "string_name": f"Strang {i}", "material": s[0], "gauge_mm": s[1], "profile": s[2],
         "reel_m": 200, "reel_price": 95}
        for i, s in SHELF.items()
    ]  # fmt: skip
    write_club(Path(folder), files, club.all_endings(), only_required)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--players", type=int, default=40)
    args = parser.parse_args()
    make_club(args.folder, seed=args.seed, players=args.players)
