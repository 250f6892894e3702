"""An invented club of habits, whose strings climb ladders of states: settings in, contract CSV files and truth out.

Play follows an autocorrelated weekly load with terms, holidays, injuries and tournaments. Some players hand rackets in
on Sundays only, the stringer works some weekdays only so that jobs come in batches, a coach looks at every racket once
a month and takes out what he sees, some squads restring by the calendar, the club lends rackets out. A complaint is a
chance per session that grows with slackness; some never complain. How beds wear is in compartment_bed, who the people
are in compartment_people. All names are invented.

Run `python -m tests.trial.club_compartment FOLDER --seed 1` for one club.
"""

from __future__ import annotations

import argparse
import copy
import math
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.trial.compartment_bed import BREAK_WORK, EFFORT, GRIT, SHELF, SLACK_WORK, LadderBed
from tests.trial.compartment_log import as_noted
from tests.trial.compartment_people import (
    Frame,
    Member,
    Nature,
    continue_loads,
    pick_strings,
)
from tests.trial.compartment_roster import CompartmentRoster
from tests.trial.csv_folder import Row, write_club

POUNDS_A_KILO = 2.2046226
WRITTEN = {"breaks": "broke", "mishit": "broke"}


class CompartmentClub(CompartmentRoster):
    """The club as it lives: play by habit, looks, hand-ins, bench days."""

    # ---- a day --------------------------------------------------------------------------------------------------

    def advance_to(self, last_day: date) -> None:
        """Live the days from where the club stands up to and with the last one."""
        while self.today < last_day:
            self.today += timedelta(days=1)
            day, n = self.today, (self.today - self.from_on).days
            self._look(day)
            if day.weekday() in self.bench_days and self.season[n // 7] > 0.1:
                self._bench(day)
            for member in self.members:
                if member.is_here(day):
                    self._member_day(member, day, n)
            for frame in list(self.frames):
                if frame.in_service_on <= day:
                    self._frame_evening(frame, day)

    def all_endings(self) -> list[Row]:
        """The truth so far: beds that were cut out, then those that are in the rackets now."""
        rows = list(self.endings)
        for frame in self.frames:
            owner = frame.holder(self.today)
            rows.append(
                {
                    "racket_id": frame.racket_id,
                    "player_id": owner.player_id if owner else None,
                    "strung_on": frame.bed.strung_on,
                    "ended_on": frame.bed.ended_on,
                    "true_cause": frame.bed.true_cause or "still_in",
                }
            )
        return rows

    def fork(self, rng: np.random.Generator) -> CompartmentClub:
        """The same club on the same day with another future: the loads of the coming weeks are drawn anew."""
        kept = self.book.files, self.played, self.endings
        self.book.files, self.played, self.endings = {"setups": []}, [], []
        other = copy.deepcopy(self)
        self.book.files, self.played, self.endings = kept
        other.rng, other.look_rng = rng, rng.spawn(1)[0]
        week = (self.today - self.from_on).days // 7 + 1
        for member in other.members:
            continue_loads(rng, member, other.season, self.nature, week)
        return other

    def _member_day(self, member: Member, day: date, n: int) -> None:
        rng, group, hours = self.rng, member.group, float(member.load[n // 7])
        is_squad_day = day.weekday() in group.weekdays and self.season[n // 7] > 0.3
        event = next((e for start, end, e in group.events if start <= day <= end), None)
        if event and hours > 0 and rng.random() < 0.6:
            self._match(member, day, event)
            return
        week_hours = max(0.0, hours - 1.5 * len(group.weekdays) * 0.85)
        if is_squad_day and hours > 0 and rng.random() < 0.85 * min(1.0, hours / (1.5 * len(group.weekdays))):
            effort = group.effort_on(day)
            self._session(
                member,
                datetime.combine(day, time(group.hour)),
                group.activity,
                1.5,
                effort,
                sheet=f"{group.name} {day}",
            )
        if rng.random() < week_hours / 7 / 1.25:
            if rng.random() < 0.18 * member.matches:
                self._match(member, day, None)
            else:
                activity = str(rng.choice(list(BREAK_WORK), p=[0, 0, 0.34, 0.16, 0.3, 0.1, 0.1]))
                self._session(
                    member,
                    datetime.combine(day, time(int(rng.integers(9, 16)), 30)),
                    activity,
                    float(rng.choice([1.0, 1.25, 1.5])),
                    str(rng.choice(list(EFFORT), p=[0.2, 0.6, 0.2])),
                )

    def _match(self, member: Member, day: date, event: str | None) -> None:
        rng = self.rng
        form = "doubles" if rng.random() < 0.2 else "singles"
        games = [
            (6, int(rng.integers(0, 5))) if rng.random() < 0.85 else (7, int(rng.choice([5, 6]))) for _ in range(2)
        ]
        if rng.random() < 0.35:
            games.insert(1, (int(rng.integers(1, 5)), 6))
        hours = sum(a + b for a, b in games) * 4.6 / 60 * math.exp(rng.normal(0, 0.12))
        score = " ".join(f"{a}-{b}" for a, b in games) if rng.random() < 0.7 else None
        is_timed = score is None or rng.random() < 0.4
        match_id, at = self.book.number("CM"), datetime.combine(day, time(int(rng.integers(9, 19))))
        noted = {"match": match_id, "score": score, "is_timed": is_timed, "event": event}
        for part in (0.5, 0.5) if rng.random() < self.nature.share_changes_racket else (1.0,):
            self._session(member, at, form, hours * part, "normal", **noted)

    def _session(self, member: Member, at: datetime, activity: str, hours: float, effort: str, **extra: Any) -> None:
        left = hours
        while left > 0.03 and (frame := self._take(member, at.date(), activity)) is not None:
            fuss = math.exp(self.rng.normal(0, 0.08))
            surface = member.group.surface
            broke_after = frame.bed.play(
                self.rng,
                left,
                member.break_work * BREAK_WORK[activity] * EFFORT[effort] * GRIT[surface] * fuss,
                member.slack_work * SLACK_WORK[activity] * EFFORT[effort],
                at.date(),
            )
            frame.plays += 1
            cause = "breaks" if broke_after is not None else None
            used = left if broke_after is None else broke_after
            if cause is None and self.rng.random() < 1 - math.exp(-self.nature.mishits_an_hour * left):
                used, cause = left * self.rng.random(), "mishit"
            self.played.append(
                {
                    "member": member,
                    "racket_id": frame.racket_id,
                    "played_on": at,
                    "activity": activity,
                    "intensity": effort,
                    "minutes": max(1, round(60 * used)),
                    "surface": surface,
                    "last": frame,
                    **extra,
                }
            )
            left -= used
            if (
                cause is None
                and member.complains
                and self.rng.random() < 1 / (1 + math.exp(-1.7 * (frame.bed.slack - member.bears)))
            ):
                cause = "lost_feel"
            if cause:
                frame.bed.end(at.date(), cause)

    def _take(self, member: Member, day: date, activity: str) -> Frame | None:
        """The racket picked for a session, by the player's habit."""
        bag = [f for f in self.frames if f.holder(day) is member and f.can_play(day)]
        if not bag:
            return None
        if self.rng.random() < 0.12:
            return bag[int(self.rng.integers(len(bag)))]
        own = [f for f in bag if f.owner is member] or bag
        if member.habit == "rota":
            return own[(day.toordinal() // 7) % len(own)]
        if member.habit == "newest_for_matches":
            by_age = sorted(own, key=lambda f: f.bed.strung_on)
            return by_age[-1] if activity in ("singles", "doubles") else by_age[0]
        return min(own, key=lambda f: (f.role != "match", f.racket_id))

    # ---- out of play and back -----------------------------------------------------------------------------------

    def _look(self, day: date) -> None:
        """The coach's monthly round, the fortnightly round if asked for, and squads that restring by the calendar."""
        is_round = day.weekday() == 0 and day.day <= 7
        is_short_round = bool(self.inspect_every) and (day - self.from_on).days % (self.inspect_every or 1) == 5
        for frame in self.frames:
            owner = frame.holder(day)
            if owner is None or not owner.is_here(day) or not frame.can_play(day) or frame.bed.strung_on >= day:
                continue
            due = owner.group.restrings_every_days
            if (
                due
                and frame.role == "match"
                and (day - frame.bed.strung_on).days >= due
                and frame.plays > 3
                and self.rng.random() < 0.4
            ):
                self._hand_in(frame, day, "scheduled")
            elif (is_round and self.rng.random() < owner.group.looked_at) or (is_short_round and frame.role == "match"):
                self._grade(frame, day, may_take_out=is_round)

    def _grade(self, frame: Frame, day: date, may_take_out: bool) -> None:
        rng, bed = self.rng if may_take_out else self.look_rng, frame.bed
        is_soft = SHELF[bed.mains].material not in ("polyester", "aramid")
        worn = int(np.clip(round(3.4 * bed.worn_share + rng.normal(-0.3, 0.5)), 0, 3))
        slack = int(np.clip(round(bed.slack / 2.6 + rng.normal(-0.4, 0.6)), 0, 3))
        written = (worn, slack)
        if self.nature.share_wrong_grades > self.look_rng.random():
            written = (int(self.look_rng.integers(0, 4)), int(self.look_rng.integers(0, 4)))
        self.book.add(
            "inspections",
            inspection_id=self.book.number("CI"),
            inspected_on=day,
            racket_id=frame.racket_id,
            fraying=written[0] if is_soft else None,
            notching=written[0] if not is_soft else None,
            misalignment=written[1],
            frame="ok" if rng.random() < 0.97 else "watch",
        )
        if may_take_out and max(worn, slack) >= 3 and rng.random() < self.nature.coach_takes_out:
            self._hand_in(frame, day, "inspection")

    def _frame_evening(self, frame: Frame, day: date) -> None:
        rng, bed, owner = self.rng, frame.bed, frame.holder(day)
        bed.rest_a_day(rng, day)
        if frame.job or not frame.is_in_service(day) or (owner and not owner.is_here(day)):
            return
        if bed.is_over:
            is_day = owner is None or (day.weekday() == 6 if owner.sundays_only else rng.random() < 0.4)
            if is_day:
                self._hand_in(frame, day, str(bed.true_cause))
        elif owner and frame.owner is owner and bed.mains != owner.mains and rng.random() < 0.02:
            self._hand_in(frame, day, "string_change")
        elif owner and frame.owner is owner and frame.plays and rng.random() < 1 / 3500:
            bed.end(day, "frame_fault")
            frame.row["retired_on"] = frame.retired_on = day
            if (new_on := day + timedelta(days=int(rng.integers(3, 15)))) <= self.until:
                self._buy(owner, frame.role, new_on, 8)
        if owner and rng.random() < self.nature.string_changes / 515 / max(1, owner.count_frames):
            owner.mains, owner.crosses = pick_strings(rng, self.nature.strings)
            setups = self.book.files["setups"]
            if not any(s.get("player_id") == owner.player_id and s["from_on"] == day for s in setups):
                self.book.add(
                    "setups",
                    player_id=owner.player_id,
                    from_on=day,
                    mains_string_id=owner.mains,
                    crosses_string_id=owner.crosses,
                    mains_kg=owner.pull_kg,
                    crosses_kg=owner.pull_kg,
                )

    def _hand_in(self, frame: Frame, day: date, cause: str) -> None:
        if not frame.bed.is_over:
            frame.bed.end(day, cause)
        frame.job = self.book.add(
            "jobs",
            job_id=self.book.number("CJ"),
            racket_id=frame.racket_id,
            handed_in_on=day,
            reason=WRITTEN.get(cause, cause),
            state="due",
            state_on=day,
        )

    def _bench(self, day: date) -> None:
        minutes = int((90 + 24 * len(self.members)) * self.nature.load / len(self.bench_days))
        stringers = [f"Bench {n + 1}" for n in range(1 + minutes // 600)]
        for stringer in stringers:
            self.book.add("bench", bench_on=day, stringer=stringer, minutes=minutes // len(stringers))
        queue = [f for f in self.frames if f.job and f.job["handed_in_on"] < day]
        for frame in sorted(queue, key=lambda f: (f.job["handed_in_on"], f.racket_id) if f.job else (day, "")):
            if minutes < 30:
                break
            minutes -= 34
            owner, old = frame.holder(day), frame.bed
            strings = (frame.owner.mains, frame.owner.crosses) if frame.owner else ("CN1", "CN1")
            frame.bed, frame.plays = LadderBed(day, *strings), 0
            assert frame.job is not None
            self.endings.append(
                {
                    "racket_id": frame.racket_id,
                    "player_id": owner.player_id if owner else None,
                    "strung_on": old.strung_on,
                    "ended_on": old.ended_on,
                    "restrung_on": day,
                    "true_cause": old.true_cause,
                }
            )
            row = self._write_stringing(frame, datetime.combine(day, time(8, 30)), frame.job["reason"], old)
            row["stringer"] = stringers[minutes % len(stringers)]
            frame.job.update(state="strung", state_on=day, stringer=row["stringer"], restring_id=row["restring_id"])
            frame.job = None


def build(
    seed: int,
    players: int = 40,
    days: int = 515,
    until: date = date(2026, 11, 15),
    inspect_every: int | None = None,
    **nature: Any,
) -> CompartmentClub:
    """The club on the eve of its first day."""
    return CompartmentClub(seed, players, days, until, inspect_every, Nature(**nature))


def make_club(
    folder: Path | str,
    *,
    seed: int,
    players: int = 40,
    days: int = 515,
    until: date = date(2026, 11, 15),
    share_without_racket: float = 0.7,
    share_unlogged: float = 0.0,
    share_unknown_reason: float = 0.0,
    inspect_every: int | None = None,
    units: str = "kg",
    only_required: bool = False,
    **nature: Any,
) -> None:
    """Simulate a club over `days` up to `until` and write its files and, beside them, its truth."""
    club = build(seed, players, days, until, inspect_every, **nature)
    club.advance_to(until)
    files = club.book.files | as_noted(club, share_without_racket, share_unlogged)
    forgotten = {
        row["restring_id"]
        for row in files["restrings"]
        if row["reason"] != "first" and club.rng.random() < share_unknown_reason
    }
    for row in [*files["restrings"], *files.get("jobs", [])]:
        if row.get("restring_id") in forgotten:
            row["reason"] = None
            row |= {"broke_where": None, "ended_on": None} if "broke_where" in row else {}
    if units == "lb":
        for row in [*files["restrings"], *files["setups"]]:
            row |= {f"{part}_lb": round(row.pop(f"{part}_kg") * POUNDS_A_KILO, 1) for part in ("mains", "crosses")}
    files["strings"] = [
        {
            "string_id": i,
            "string_name": s.name,
            "material": s.material,
            "gauge_mm": s.gauge_mm,
            "profile": s.profile,
            "reel_m": s.reel_m,
            "reel_price": s.reel_price,
        }
        for i, s in SHELF.items()
    ]
    write_club(Path(folder), files, club.all_endings(), only_required)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--players", type=int, default=40)
    args = parser.parse_args()
    make_club(args.folder, seed=args.seed, players=args.players)
