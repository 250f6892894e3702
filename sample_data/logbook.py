"""What the club wrote down: turns a simulated season into the rows of its CSV files, with the holes real logs have.

In: the season and how carefully this club keeps its log (`Habits`). Out: rows by file, each with the day it became
known, so that one set of rows serves any cut: `files(rows, cut)`. Written once for the whole span, so a later cut never
changes an earlier row. Days are ordinals inside, ISO dates in the files.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from sample_data.catalogue import LOAN_SETUP, METRES_A_JOB, STRINGS, STRINGS_BY_ID, mains_metres
from sample_data.fleet import BedLife
from sample_data.play_log import PlayLog
from sample_data.roster import Roster
from sample_data.rows import Habits, Row, iso, number, tensions
from sample_data.season import Season
from sample_data.sessions import Timetable
from sample_data.workshop import Job, Workshop

REASONS = {"breaks": "broke", "mishit": "broke"}


class Logbook:
    """Writes rows; `known` maps a file to (day known, row)."""

    def __init__(
        self,
        roster: Roster,
        timetable: Timetable,
        workshop: Workshop,
        season: Season,
        habits: Habits,
        first: int,
        rng: np.random.Generator,
    ):
        self.roster, self.timetable, self.workshop, self.season = roster, timetable, workshop, season
        self.habits, self.first, self.rng = habits, first, rng
        self.known: dict[str, list[tuple[int, Row]]] = defaultdict(list)
        self.reason_of: dict[str, str] = {}

    def add(self, file: str, day: int, row: Row) -> None:
        self.known[file].append((day, row))

    def write(self) -> None:
        self.write_players()
        self.write_rackets()
        self.write_setups()
        self.write_restrings()
        self.write_jobs()
        play_log = PlayLog(self.timetable, self.season, self.habits, self.rng)
        play_log.write()
        for file, day, row in play_log.rows:
            self.add(file, day, row)
        self.write_looks()
        self.write_plans()
        self.write_shelf()

    def write_players(self) -> None:
        for player in self.roster.players.values():
            hours = round(player.hours_week * float(self.rng.uniform(0.85, 1.15))) if self.rng.random() < 0.85 else None
            for index, stage in enumerate(player.stages):
                since = stage.since if index or player.joined_on > self.first else None
                self.add(
                    "players",
                    since or 0,
                    {
                        "player_id": player.player_id,
                        "since": iso(since),
                        "player_name": player.player_name,
                        "squad": stage.squad,
                        "level": stage.level,
                        "spin": stage.spin,
                        "left_on": player.left_on,
                        "hours_week": number(hours),
                    },
                )

    def write_rackets(self) -> None:
        handed = {racket_id for racket_id, _ in self.season.hand_overs}
        for racket in self.roster.rackets.values():
            frame = racket.frame
            self.add(
                "rackets",
                racket.in_service_on,
                {
                    "racket_id": racket.racket_id,
                    "player_id": racket.owner,
                    "frame": frame.frame,
                    "marking": racket.marking,
                    "head_cm2": number(frame.head_cm2),
                    "mains": frame.mains,
                    "crosses": frame.crosses,
                    "tension_min_kg": number(frame.tension_min_kg),
                    "tension_max_kg": number(frame.tension_max_kg),
                    "role": racket.role,
                    "in_service_on": iso(racket.in_service_on),
                    "retired_on": racket.retired_on,
                },
            )
            if racket.racket_id in handed:
                self.add(
                    "holders",
                    racket.in_service_on,
                    {"racket_id": racket.racket_id, "from_on": iso(racket.in_service_on), "player_id": racket.owner},
                )
        for (racket_id, day), player_id in sorted(
            self.season.hand_overs.items(), key=lambda item: (item[0][1], item[0][0])
        ):
            self.add("holders", day, {"racket_id": racket_id, "from_on": iso(day), "player_id": player_id})

    def write_setups(self) -> None:
        for player in self.roster.players.values():
            for index, (since, setup) in enumerate(player.setups):
                if index or self.rng.random() < 0.8:
                    day = max(since, self.first - 3, player.joined_on)
                    self.add(
                        "setups",
                        day,
                        {"racket_id": "", "player_id": player.player_id, "from_on": iso(day)}
                        | tensions(setup, self.habits.units),
                    )

        for racket in self.roster.rackets.values():
            if racket.role == "loan":
                row: Row = {"racket_id": racket.racket_id, "player_id": "", "from_on": iso(self.first)}
                self.add("setups", self.first, row | tensions(LOAN_SETUP, self.habits.units))

    def reason(self, cause: str) -> str:
        if cause not in ("first", "broke_on_machine") and self.rng.random() < self.habits.share_unknown_reason:
            return "unknown" if self.rng.random() < 0.3 else ""
        return REASONS.get(cause, cause)

    def write_restrings(self) -> None:
        for life in sorted(self.season.beds, key=lambda bed: (bed.strung_on, bed.restring_id)):
            reason = self.reason(life.cause_of_old)
            self.reason_of[life.restring_id] = reason
            self.add("restrings", life.strung_on, self.restring_row(life, reason))

    def restring_row(self, life: BedLife, reason: str) -> Row:
        rng, racket = self.rng, self.roster.rackets[life.racket_id]
        mains_m = mains_metres(racket.frame)
        is_dated = (
            life.old_ended_on is not None
            and life.old_ended_on < life.strung_on
            and rng.random() < self.habits.share_ended_on_known
        )
        where_known = (
            life.old_where and reason == "broke" and rng.random() < (0.6 if life.old_where == "centre" else 0.85)
        )
        is_two_piece = life.setup.mains_string_id != life.setup.crosses_string_id or rng.random() < 0.3
        is_own_string = rng.random() < 0.12
        row: Row = {
            "restring_id": life.restring_id,
            "racket_id": life.racket_id,
            "strung_on": iso(life.strung_on, life.clock),
        }
        row |= tensions(life.setup, self.habits.units)
        if life.is_elsewhere and rng.random() < self.habits.share_elsewhere_unknown:
            row |= dict.fromkeys(tensions(life.setup, self.habits.units), "")
        return (
            row
            | {
                "stringer": life.stringer,
                "minutes": "" if life.is_elsewhere or rng.random() < 0.1 else life.minutes,
                "reason": reason,
                "ended_on": iso(life.old_ended_on) if is_dated and reason == "broke" else "",
                "broke_where": life.old_where if where_known else "",
                "strung_at": "elsewhere" if life.is_elsewhere else "here",
                "mains_m": number(mains_m),
                "crosses_m": number(round(METRES_A_JOB - mains_m, 1)),
                "pieces": 2 if is_two_piece else 1,
                "string_from": "player" if is_own_string else "club",
            }
            | self.charge(life, is_own_string)
        )

    def charge(self, life: BedLife, is_own_string: bool) -> Row:
        """Players of the first squad string at the club's cost; the others pay, mostly within weeks."""
        player = self.roster.players.get(life.player_id)
        is_paying = (
            player is not None
            and player.stage(life.strung_on).squad != "Rowan"
            and life.cause_of_old != "broke_on_machine"
        )
        if player is None or not is_paying or life.is_elsewhere or life.cause_of_old == "first":
            return {"charge_to": "", "charge": "", "paid_on": ""}
        paid_on = life.strung_on + int(self.rng.integers(0, 35)) if self.rng.random() < 0.93 else None
        return {"charge_to": player.player_id, "charge": "11.00" if is_own_string else "22.00", "paid_on": paid_on}

    def write_jobs(self) -> None:
        for job in self.workshop.jobs:
            if self.rng.random() >= self.habits.share_without_job:
                reason = self.reason_of[job.restring_id] if job.restring_id else self.reason(job.cause)
                self.add("jobs", job.handed_in_on, {"job": job, "reason": reason})

    def write_looks(self) -> None:
        for index, look in enumerate(self.season.looks):
            soft = look.fraying > 0 or self.rng.random() < 0.6
            self.add(
                "inspections",
                look.day,
                {
                    "inspection_id": f"I{index + 1:05d}",
                    "inspected_on": iso(look.day, look.clock),
                    "racket_id": look.racket_id,
                    "fraying": look.fraying if soft else "",
                    "notching": look.notching,
                    "misalignment": look.misalignment if self.rng.random() < 0.9 else "",
                    "lost_feel": look.lost_feel if self.rng.random() < 0.7 else "",
                    "pitch_hz": number(look.pitch_hz),
                    "broken": "yes" if look.is_broken else "no",
                    "frame": look.frame if self.rng.random() < 0.5 else "",
                    "grommets": "worn" if self.rng.random() < 0.02 else "",
                    "note": "grip loose too" if self.rng.random() < 0.02 else "",
                },
            )

    def write_plans(self) -> None:
        for plan in sorted(self.timetable.plans, key=lambda one: (one.day, one.clock, one.squad, one.event)):
            self.add(
                "calendar",
                plan.day,
                {
                    "planned_on": iso(plan.day, plan.clock),
                    "squad": plan.squad,
                    "player_id": plan.player_id,
                    "activity": plan.activity,
                    "event": plan.event,
                    "until_on": iso(plan.until),
                    "minutes": plan.minutes,
                    "place": plan.place,
                    "fresh_rackets": "" if plan.fresh_rackets is None else plan.fresh_rackets,
                    "cancelled": "yes" if plan.is_cancelled else "no",
                },
            )
        for (day, stringer), minutes in sorted(self.workshop.hours.items()):
            self.add("bench", day, {"bench_on": iso(day), "stringer": stringer, "minutes": minutes})

    def write_shelf(self) -> None:
        for string in STRINGS:
            self.add(
                "strings",
                0,
                {
                    "string_id": string.string_id,
                    "string_name": string.string_name,
                    "material": string.material,
                    "gauge_mm": f"{string.gauge_mm:.2f}",
                    "profile": string.profile,
                    "reel_m": number(string.reel_m),
                    "reel_price": string.reel_price,
                    "lead_days": string.lead_days,
                },
            )
        for day, string_id, metres in self.workshop.counts:
            self.add("stock", day, {"counted_on": iso(day), "string_id": string_id} | self.count(string_id, metres))
        for order in self.workshop.orders:
            self.add(
                "orders",
                order.ordered_on,
                {
                    "order_id": order.order_id,
                    "string_id": order.string_id,
                    "ordered_on": iso(order.ordered_on),
                    "expected_on": iso(order.expected_on),
                    "received_on": order.received_on,
                    "metres": number(order.metres),
                    "price": order.price,
                },
            )

    def count(self, string_id: str, metres: float) -> Row:
        """Metres measured, or now and then whole reels and the jobs left on the open one."""
        if self.rng.random() >= 0.25:
            return {"metres": number(metres), "reels": "", "jobs_left": ""}
        reel_m = STRINGS_BY_ID[string_id].reel_m
        reels = int(metres // reel_m)
        return {"metres": "", "reels": reels, "jobs_left": int((metres - reels * reel_m) // METRES_A_JOB)}


AHEAD_DAYS = {"calendar": 42, "bench": 28}
CUT_FIELDS = ("left_on", "retired_on", "received_on", "paid_on")


def job_row(job: Job, reason: str, cut: int) -> Row:
    """A job as it stood on the evening of the cut."""
    state, state_on = "due", job.handed_in_on
    if job.handed_back_on is not None and job.handed_back_on <= cut:
        state, state_on = "handed_back", job.handed_back_on
    elif job.strung_on is not None and job.strung_on <= cut:
        state, state_on = "strung", job.strung_on
    elif job.strung_on == cut + 1 and job.handed_in_on < cut:
        state, state_on = "on_bench", cut
    elif job.handed_in_on < cut:
        state, state_on = "booked", job.handed_in_on + 1
    is_strung = state in ("handed_back", "strung")
    return {
        "job_id": job.job_id,
        "racket_id": job.racket_id,
        "handed_in_on": iso(job.handed_in_on),
        "reason": reason,
        "due_on": iso(max(job.due_on, job.handed_in_on)),
        "state": state,
        "state_on": iso(state_on),
        "stringer": job.stringer if is_strung else "",
        "restring_id": job.restring_id if is_strung else "",
    }


def files(known: dict[str, list[tuple[int, Row]]], cut: int) -> dict[str, list[Row]]:
    """The rows of each file as the club had them on the evening of the cut, plans ahead included."""
    out: dict[str, list[Row]] = {}
    for file, rows in known.items():
        kept = [row for day, row in rows if day <= cut + AHEAD_DAYS.get(file, 0)]
        if file == "jobs":
            kept = [job_row(row["job"], str(row["reason"]), cut) for row in kept]  # type: ignore[arg-type]
        for index, row in enumerate(kept):
            for name in CUT_FIELDS:
                if name in row:
                    day = row[name]
                    kept[index] = row = row | {name: iso(day) if isinstance(day, int) and day <= cut else ""}
        out[file] = kept
    return out
