"""The compartment club on paper: settings in; groups, members, rackets, plans and the rows written of them out.

The days themselves are lived in club_compartment, which builds on this.
"""

from __future__ import annotations

import math
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np

from tests.trial.compartment_bed import LadderBed
from tests.trial.compartment_people import (
    Frame,
    Group,
    Member,
    Nature,
    continue_loads,
    draw_groups,
    draw_member,
)
from tests.trial.csv_folder import Row


class Ledger:
    """The club's paper: rows by file, and running numbers."""

    def __init__(self) -> None:
        self.files: dict[str, list[dict[str, Any]]] = {}
        self.last: dict[str, int] = {}

    def add(self, file: str, **row: Any) -> dict[str, Any]:
        self.files.setdefault(file, []).append(row)
        return row

    def number(self, prefix: str) -> str:
        self.last[prefix] = self.last.get(prefix, 0) + 1
        return f"{prefix}{self.last[prefix]}"


class CompartmentRoster:
    def __init__(
        self, seed: int, players: int, days: int, until: date, inspect_every: int | None, nature: Nature
    ) -> None:
        self.rng = np.random.default_rng([seed, 4409])
        self.look_rng = self.rng.spawn(1)[0]  # for looks that take nothing out: they alone change nothing
        self.nature, self.until, self.from_on = nature, until, until - timedelta(days=days - 1)
        self.inspect_every, self.today = inspect_every, self.from_on - timedelta(days=1)
        self.book = Ledger()
        self.played: list[dict[str, Any]] = []
        self.endings: list[Row] = []
        self.groups: list[Group] = draw_groups(self.rng, players, nature)
        self.members: list[Member] = []
        self.frames: list[Frame] = []
        for group in self.groups:
            for _ in range(group.size):
                self._enter(group, self.from_on)
        self._comings_and_goings()
        self._lend_out()
        weeks = days // 7 + 2
        self.season = [self._share_of_term(self.from_on + timedelta(days=7 * w)) for w in range(weeks)]
        for member in self.members:
            member.load = np.zeros(weeks)
            continue_loads(self.rng, member, self.season, nature, 0)
        self._plan(days)
        self.bench_days = sorted(self.rng.choice(6, size=nature.bench_days_a_week, replace=False).tolist())

    # ---- people, rackets, plans ---------------------------------------------------------------------------------

    def _enter(self, group: Group, day: date) -> Member:
        member = draw_member(self.rng, f"C-{len(self.members) + 1}", group, day, self.nature)
        self.members.append(member)
        member.row = self.book.add(
            "players",
            player_id=member.player_id,
            player_name=member.name,
            squad=group.name,
            level=member.level,
            spin=member.spin,
            since=None if day == self.from_on else day,
            hours_week=round(member.hours_a_week) if self.rng.random() < 0.5 else None,
        )
        self.book.add(
            "setups",
            player_id=member.player_id,
            from_on=day,
            mains_string_id=member.mains,
            crosses_string_id=member.crosses,
            mains_kg=member.pull_kg,
            crosses_kg=member.pull_kg,
        )
        for n in range(member.count_frames):
            self._buy(member, "match" if n < max(1, member.count_frames - 1) else "spare", day, n)
        return member

    def _buy(self, owner: Member | None, role: str, day: date, n: int) -> Frame:
        is_open = bool(self.rng.random() < 0.75)
        strings = (owner.mains, owner.crosses) if owner else ("CN1", "CN1")
        frame = Frame(
            self.book.number("CR"), owner, role, day, LadderBed(day, *strings), owner.pull_kg if owner else 23.0
        )
        self.frames.append(frame)
        frame.row = self.book.add(
            "rackets",
            racket_id=frame.racket_id,
            player_id=owner.player_id if owner else None,
            frame=f"{'Linde' if is_open else 'Buche'} {int(self.rng.integers(1, 4))}",
            marking=f"grip {n + 1}" if owner else "club",
            head_cm2=645 if is_open else 626,
            mains=16 if is_open else 18,
            crosses=19 if is_open else 20,
            role=role,
            tension_min_kg=21,
            tension_max_kg=27,
            in_service_on=day,
        )
        self._write_stringing(frame, day, "first", None)
        return frame

    def _comings_and_goings(self) -> None:
        rng, span = self.rng, (self.until - self.from_on).days
        for member in list(self.members):
            if span > 60 and rng.random() < self.nature.turnover:
                member.left_on = self.from_on + timedelta(days=int(rng.integers(50, span)))
                member.row["left_on"] = member.left_on
                if member.left_on + timedelta(days=60) < self.until:
                    self._enter(member.group, member.left_on + timedelta(days=int(rng.integers(7, 50))))

    def _lend_out(self) -> None:
        """Club rackets go from hand to hand, some weeks each, and rest at the club between."""
        rng = self.rng
        for n in range(max(1, len(self.members) // 15)):
            frame = self._buy(None, "loan", self.from_on, n)
            self.book.add(
                "setups",
                racket_id=frame.racket_id,
                from_on=self.from_on,
                mains_string_id="CN1",
                crosses_string_id="CN1",
                mains_kg=23.0,
                crosses_kg=23.0,
            )
            day = self.from_on + timedelta(days=int(rng.integers(5, 30)))
            while day < self.until:
                back = day + timedelta(days=int(rng.integers(14, 60)))
                here = [m for m in self.members if m.joined_on <= day and (m.left_on is None or m.left_on > back)]
                if here:
                    borrower = here[int(rng.integers(len(here)))]
                    frame.lent += [(day, borrower), (back, None)]
                    self.book.add("holders", racket_id=frame.racket_id, from_on=day, player_id=borrower.player_id)
                    self.book.add("holders", racket_id=frame.racket_id, from_on=back, player_id=None)
                day = back + timedelta(days=int(rng.integers(5, 40)))

    def _share_of_term(self, monday: date) -> float:
        week = monday.isocalendar().week
        if week in (52, 53, 1):
            return 0.05
        if week in (7, 14, 15, 44):
            return 0.4
        return 0.65 if 28 <= week <= 35 else 1.0 + 0.15 * math.sin(2 * math.pi * (week - 10) / 52)

    def _plan(self, days: int) -> None:
        """Calendar of squad hours, lessons, tournaments and holidays, six weeks beyond the end."""
        for n in range(days + 42):
            day = self.from_on + timedelta(days=n)
            share = self._share_of_term(day - timedelta(days=day.weekday()))
            if share < 0.1 and day.weekday() == 0:
                self.book.add(
                    "calendar",
                    planned_on=day,
                    until_on=day + timedelta(days=6),
                    activity="closed",
                    event="winter break",
                )
            for group in self.groups:
                if day.weekday() in group.weekdays and share > 0.5:
                    self.book.add(
                        "calendar",
                        planned_on=datetime.combine(day, time(group.hour)),
                        squad=group.name,
                        activity=group.activity,
                        event="squad hours",
                        minutes=90,
                        place="home",
                    )
                if day.weekday() == 4 and share > 0.3 and self.rng.random() < group.tournaments_a_week:
                    event = f"{group.name} open {self.book.number('T')}"
                    group.events.append((day, day + timedelta(days=2), event))
                    self.book.add(
                        "calendar",
                        planned_on=day,
                        until_on=day + timedelta(days=2),
                        squad=group.name,
                        activity="singles",
                        event=event,
                        minutes=110,
                        place=str(self.rng.choice(["home", "away", "away"])),
                        fresh_rackets=int(self.rng.integers(1, 4)),
                        cancelled="yes" if self.rng.random() < 0.05 else "no",
                    )

    def _write_stringing(self, frame: Frame, at: date, reason: str, old: LadderBed | None) -> dict[str, Any]:
        is_dated = old is not None and reason == "broke" and self.rng.random() < 0.35
        where = None
        if old is not None and reason == "broke" and self.rng.random() < 0.8:
            where = str(self.rng.choice(["edge", "grommet"])) if old.true_cause == "mishit" else "centre"
        return self.book.add(
            "restrings",
            restring_id=self.book.number("CS"),
            racket_id=frame.racket_id,
            strung_on=at,
            mains_string_id=frame.bed.mains,
            crosses_string_id=frame.bed.crosses,
            mains_kg=frame.pull_kg,
            crosses_kg=frame.pull_kg,
            minutes=None if old is None else int(self.rng.normal(34, 3)),
            reason=reason,
            ended_on=old.ended_on if is_dated and old else None,
            broke_where=where,
        )
