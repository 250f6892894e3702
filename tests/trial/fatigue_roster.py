"""The fatigue club on paper: settings in; squads, players, rackets, plans and the rows written of them out.

The days themselves are lived in club_fatigue, which builds on this.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

import numpy as np

from tests.trial.csv_folder import Row
from tests.trial.fatigue_bed import FatigueBed, string_bed
from tests.trial.fatigue_people import (
    FIRST,
    FRAMES,
    LAST,
    LEVEL_STRESS,
    LEVELS,
    SPIN_STRESS,
    STOCKED,
    TOLERANCE,
    FatigueNature,
    Player,
    Racket,
    Squad,
    season,
)


class FatigueRoster:
    """State of the club and what has been written down so far."""

    def __init__(
        self,
        rng: np.random.Generator,
        start: date,
        until: date,
        players: int,
        inspect_every: int | None,
        nature: FatigueNature,
    ) -> None:
        self.rng, self.start, self.until, self.nature, self.inspect_every = rng, start, until, nature, inspect_every
        self.today = start - timedelta(days=1)
        self.look_rng = rng.spawn(1)[0]  # its own chances, so that looking alone changes nothing
        names = ["players", "rackets", "holders", "setups", "restrings", "jobs", "inspections", "calendar", "bench"]
        self.rows: dict[str, list[dict[str, Any]]] = {name: [] for name in names}
        self.played: list[dict[str, Any]] = []  # one row per player, session and racket, before anything is forgotten
        self.endings: list[Row] = []
        self.counts: dict[str, int] = {}
        self.rackets: list[Racket] = []
        self.squads = self._make_squads(players)
        self.players = [self._join(i, self.start) for i in range(players)]
        self._plan_departures(players)
        self._plan_calendar()
        self.bench_minutes = 45 + 8 * players * nature.load

    def new_id(self, letter: str) -> str:
        self.counts[letter] = self.counts.get(letter, 0) + 1
        return f"{letter}{self.counts[letter]:05d}"

    # ---- people and plans ---------------------------------------------------------------------------------------

    def _make_squads(self, players: int) -> list[Squad]:
        count = 1 if players < 10 else 3 if players < 30 else 4 if players < 80 else 6
        squads = []
        for i in range(count):
            level = min(3, int(4 * (i + 0.5) / count))
            times = {0: 5, 1: 4, 2: 3, 3: 3}[level]
            weekdays = sorted(self.rng.choice(5, size=times, replace=False).tolist())
            minutes = int(self.rng.choice([90, 105, 120]))
            squads.append(
                Squad(
                    f"Court {i + 1}", level, weekdays, minutes, self.rng.random() < self.nature.share_scheduled_squads
                )
            )
        return squads

    def _pick_strings(self) -> tuple[str, str]:
        stocked = STOCKED[self.nature.strings]
        weights = np.array(list(stocked.values()), dtype=float)
        mains, crosses = (str(s) for s in self.rng.choice(list(stocked), size=2, p=weights / weights.sum()))
        return mains, crosses if self.rng.random() < 0.2 else mains

    def _join(self, i: int, joined_on: date) -> Player:
        rng, nature, squad = self.rng, self.nature, self.squads[i % len(self.squads)]
        level = LEVELS[int(np.clip(squad.level + rng.integers(-1, 2) * (rng.random() < 0.4), 0, 3))]
        spin = str(rng.choice(["flat", "moderate", "heavy"], p=[0.25, 0.45, 0.30]))
        mains, crosses = self._pick_strings()
        player = Player(
            player_id=f"F{i + 1:03d}",
            name=f"{FIRST[i % len(FIRST)]} {LAST[(i * 7 + i // 24) % len(LAST)]}",
            squad=squad.name,
            level=level,
            spin=spin,
            stress=nature.power * LEVEL_STRESS[level] * SPIN_STRESS[spin] * math.exp(rng.normal(0, nature.power_sd)),
            tolerance=TOLERANCE[level] * math.exp(rng.normal(0, 0.16)),
            is_reporter=rng.random() < nature.share_reporters,
            joined_on=joined_on,
            left_on=None,
            mains=mains,
            crosses=crosses,
            tension_kg=float(rng.integers(42, 52)) / 2,
            extra_sessions_week=float(rng.gamma(4, 0.6))
            * nature.load
            * (1.3 if level in ("national", "regional") else 0.7),
        )
        self._write_player(player, None if joined_on == self.start else joined_on)
        self._write_setup(player, joined_on)
        count = max(1, {"beginner": 2, "club": 2, "regional": 3, "national": 4}[level] - int(rng.random() < 0.2))
        frame = int(rng.integers(0, len(FRAMES)))
        for k in range(count):
            strung_on = joined_on - timedelta(days=int(rng.integers(0, 18)) if joined_on == self.start else 0)
            self._put_in_service(player, "match" if k < max(1, count - 1) else "spare", frame, k, joined_on, strung_on)
        return player

    def _write_player(self, player: Player, since: date | None) -> None:
        row = {
            "player_id": player.player_id,
            "since": since,
            "player_name": player.name,
            "squad": player.squad,
            "level": player.level,
            "spin": player.spin,
        }
        self.rows["players"].append(row)

    def _write_setup(self, player: Player, from_on: date) -> None:
        row = {
            "player_id": player.player_id,
            "from_on": from_on,
            "mains_string_id": player.mains,
            "crosses_string_id": player.crosses,
            "mains_kg": player.tension_kg,
            "crosses_kg": player.tension_kg - 1,
        }
        self.rows["setups"].append(row)

    def _put_in_service(self, player: Player, role: str, frame: int, k: int, day: date, strung_on: date) -> None:
        rng, nature = self.rng, self.nature
        name, head_cm2, mains, crosses, factor = FRAMES[frame]
        bed = string_bed(rng, strung_on, player.mains, player.crosses, factor, nature.capacity_sd)
        liking = math.exp(rng.normal(0, 0.5)) / (1.0 + 0.8 * k)
        racket = Racket(self.new_id("R"), player, role, frame, liking, day, bed)
        if rng.random() < nature.share_retired:
            racket.retired_on = day + timedelta(days=int(rng.integers(60, 500)))
            racket.retired_on = racket.retired_on if racket.retired_on <= self.until else None
        self.rackets.append(racket)
        self.rows["rackets"].append(
            {
                "racket_id": racket.racket_id,
                "player_id": player.player_id,
                "frame": name,
                "marking": f"tape {k + 1}",
                "head_cm2": head_cm2,
                "mains": mains,
                "crosses": crosses,
                "tension_min_kg": 20,
                "tension_max_kg": 27,
                "role": role,
                "in_service_on": min(day, strung_on),
                "retired_on": racket.retired_on,
            }
        )
        self._write_restring(racket, "first", None, None, None)

    def _plan_departures(self, players: int) -> None:
        span = (self.until - self.start).days
        for i in self.rng.choice(players, round(self.nature.turnover * players), replace=False) if span > 120 else []:
            gone = self.start + timedelta(days=int(self.rng.integers(60, span - 30)))
            self.players[i].left_on = gone
            self.rows["players"][i]["left_on"] = gone
            self.players.append(self._join(len(self.players), gone + timedelta(days=int(self.rng.integers(3, 25)))))

    def _plan_calendar(self) -> None:
        """Write squad practices, events and closures of the whole span and six weeks more; remember the events."""
        calendar, closed_since = self.rows["calendar"], None
        for n in range((self.until - self.start).days + 43):
            day = self.start + timedelta(days=n)
            share = season(day)
            if share == 0:
                closed_since = closed_since or day
            elif closed_since:
                calendar.append(
                    {
                        "planned_on": closed_since,
                        "until_on": day - timedelta(days=1),
                        "activity": "closed",
                        "event": "closed",
                    }
                )
                closed_since = None
            for squad in self.squads:
                if day.weekday() in squad.weekdays and share > 0.5:
                    calendar.append(
                        {
                            "planned_on": day,
                            "squad": squad.name,
                            "activity": "drills",
                            "event": "training",
                            "minutes": squad.minutes,
                            "place": "home",
                        }
                    )
                if day.weekday() == 5 and share > 0.3 and self.rng.random() < 0.28 + 0.22 * (share > 0.9):
                    name = f"{squad.name} cup {self.new_id('E')}"
                    squad.events |= {day: name, day + timedelta(days=1): name}
                    calendar.append(
                        {
                            "planned_on": day,
                            "until_on": day + timedelta(days=1),
                            "squad": squad.name,
                            "activity": "singles",
                            "event": name,
                            "minutes": 100,
                            "place": str(self.rng.choice(["home", "away"])),
                            "fresh_rackets": 2,
                        }
                    )

    def _write_restring(
        self, racket: Racket, reason: str, minutes: int | None, old: FatigueBed | None, stringer: str | None
    ) -> str:
        rng, bed, owner = self.rng, racket.bed, racket.holder
        assert owner is not None
        row: dict[str, Any] = {
            "restring_id": self.new_id("S"),
            "racket_id": racket.racket_id,
            "strung_on": bed.strung_on,
            "mains_string_id": bed.mains,
            "crosses_string_id": bed.crosses,
            "mains_kg": owner.tension_kg,
            "crosses_kg": owner.tension_kg - 1,
            "stringer": stringer,
            "minutes": minutes,
            "reason": reason,
            "strung_at": "here" if minutes else None,
        }
        if old and reason == "broke":
            row["ended_on"] = old.ended_on if old.ended_on != bed.strung_on and rng.random() < 0.6 else None
            row["broke_where"] = str(rng.choice(["edge", "grommet"])) if old.true_cause == "mishit" else "centre"
        self.rows["restrings"].append(row)
        return str(row["restring_id"])
