"""An invented club whose strings die of fatigue: settings in, a folder of contract CSV files and its truth out.

The days run one by one: play, then hand-ins, then the stringer's evening. Players and their habits are here, the bed
itself is in fatigue_bed. A player hands a racket in once its change, against what that player is used to, exceeds a
tolerance of the player's own, through noise, and only if the player ever says such things. Beds are also cut out before
events on schedule, at inspections, for another string and for cracked frames. All names are invented.

Run `python -m tests.trial.club_fatigue FOLDER --seed 1` for one club.
"""

from __future__ import annotations

import copy
import math
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.trial.csv_folder import Row, write_club
from tests.trial.fatigue_bed import INTENSITY_STRESS, PLAY, SHELF, SURFACE_STRESS, FatigueBed, string_bed
from tests.trial.fatigue_log import write_down
from tests.trial.fatigue_people import (
    FRAMES,
    LEVELS,
    FatigueNature,
    Player,
    Racket,
    season,
)
from tests.trial.fatigue_roster import FatigueRoster

LB_PER_KG = 2.2046226
REASON = {"breaks": "broke", "mishit": "broke"}  # the other causes are written as they are


class FatigueClub(FatigueRoster):
    """The club as it lives: play, hand-ins, the bench, changes among people."""

    # ---- play ---------------------------------------------------------------------------------------------------

    def _choose(self, player: Player, day: date, is_match: bool) -> Racket | None:
        ready = [r for r in self.rackets if r.holder is player and r.is_ready(day)]
        if not ready:
            return None
        weights = np.array(
            [r.liking**1.5 if is_match else r.liking * (1.0 if r.role == "match" else 0.8) for r in ready]
        )
        return ready[int(self.rng.choice(len(ready), p=weights / weights.sum()))]

    def _play(self, player: Player, day: date, session: dict[str, Any], activity: str, minutes: float) -> None:
        """One player's part of a session, on as many rackets as it takes."""
        rng, left = self.rng, minutes
        while left >= 2 and (racket := self._choose(player, day, activity in ("singles", "doubles"))) is not None:
            rate, stress = PLAY[activity]
            years = (day - player.joined_on).days / 365.0
            stress *= player.stress * (1 + self.nature.yearly_power_gain * years) * math.exp(rng.normal(0, 0.05))
            stress *= INTENSITY_STRESS[session.get("intensity") or "normal"] * SURFACE_STRESS[session["surface"]]
            hits = rate * left / 60.0 * math.exp(rng.normal(0, 0.1))
            share, cause = racket.bed.play(rng, hits, stress, self.nature.mishits_per_hit)
            self.played.append(
                session
                | {
                    "player": player,
                    "racket_id": racket.racket_id,
                    "played_on": day,
                    "activity": activity,
                    "minutes": max(1, round(left * share)),
                }
            )
            left -= left * share if share < 1 else left
            if cause:
                racket.bed.end(day, cause)
            elif self._complains(player, racket.bed, day):
                racket.bed.end(day, "lost_feel")

    def _complains(self, player: Player, bed: FatigueBed, day: date) -> bool:
        now = bed.stiffness(day)
        if bed.fresh_stiffness is None:
            bed.fresh_stiffness = now
            player.used_to += 0.35 * (now - player.used_to)
        change = 1.0 - now / max(player.used_to, bed.fresh_stiffness) + bed.drag + self.rng.normal(0, 0.025)
        return player.is_reporter and change > player.tolerance and self.rng.random() < 0.6

    def _play_day(self, day: date) -> None:
        rng, share = self.rng, season(day)
        here = [p for p in self.players if p.joined_on <= day and not (p.left_on and p.left_on <= day)]
        for squad in self.squads if share > 0 else []:
            members = [p for p in here if p.squad == squad.name]
            base = {
                "surface": self.nature.surface,
                "intensity": str(rng.choice(["light", "normal", "hard"], p=[0.2, 0.55, 0.25])),
            }
            if day.weekday() in squad.weekdays and rng.random() < share:
                activity = str(rng.choice(["drills", "rally", "sparring"], p=[0.6, 0.2, 0.2]))
                for player in self._present(members, 0.86):
                    self._play(
                        player,
                        day,
                        base | {"sheet": f"{day}{squad.name}", "squad": squad.name},
                        activity,
                        squad.minutes * 0.8,
                    )
            for player in members if day in squad.events else []:
                for _ in range(int(rng.random() < 0.75) + int(rng.random() < 0.3)):
                    activity, minutes = (
                        "doubles" if rng.random() < 0.15 else "singles",
                        float(np.clip(rng.normal(88, 24), 40, 190)),
                    )
                    self._play(
                        player,
                        day,
                        {"surface": self.nature.surface, "event": squad.events[day], "match": self.new_id("M")},
                        activity,
                        minutes,
                    )
            for player in members:
                if rng.random() < share * player.extra_sessions_week / 7.0:
                    activity = str(
                        rng.choice(
                            ["drills", "sparring", "serve", "ball_machine", "rally", "singles"],
                            p=[0.3, 0.22, 0.1, 0.08, 0.15, 0.15],
                        )
                    )
                    extra = (
                        {"match": self.new_id("M"), "surface": self.nature.surface} if activity == "singles" else base
                    )
                    self._play(player, day, extra, activity, float(rng.choice([45, 60, 75, 90])))

    def _present(self, members: list[Player], chance: float) -> list[Player]:
        return [p for p in members if self.rng.random() < chance]

    # ---- the bench ----------------------------------------------------------------------------------------------

    def _hand_in(self, racket: Racket, day: date, cause: str) -> None:
        if not racket.bed.is_over:
            racket.bed.end(day, cause)
        racket.job = {
            "job_id": self.new_id("J"),
            "racket_id": racket.racket_id,
            "handed_in_on": day,
            "reason": REASON.get(cause, cause),
            "state": "due",
            "state_on": day,
        }
        self.rows["jobs"].append(racket.job)

    def _at_bench_reach(self, day: date) -> list[tuple[Racket, Player]]:
        """Rackets in use today whose holder is still with the club."""
        held = [(r, r.holder) for r in self.rackets if r.holder and r.job is None and r.in_service_on <= day]
        return [
            (r, p)
            for r, p in held
            if not (r.retired_on and r.retired_on <= day) and not (p.left_on and p.left_on <= day)
        ]

    def _take_out(self, day: date) -> None:
        """In the morning, beds that still play are taken out: before events, for cracks or new strings, by a look."""
        rng, squads = self.rng, {s.name: s for s in self.squads}
        for racket, holder in self._at_bench_reach(day):
            bed, squad = racket.bed, squads[holder.squad]
            age_days = (day - bed.strung_on).days
            if bed.is_over or age_days < 1:
                continue
            is_before_event = day + timedelta(days=3) in squad.events and day + timedelta(days=2) not in squad.events
            if (
                squad.is_scheduled
                and racket.role == "match"
                and age_days >= self.nature.scheduled_after_days
                and is_before_event
            ):
                if rng.random() < 0.5:
                    self._hand_in(racket, day, "scheduled")
            elif rng.random() < 1 / 4000:
                self._hand_in(racket, day, "frame_fault")
            elif bed.mains != holder.mains and rng.random() < 0.05:
                self._hand_in(racket, day, "string_change")
            elif self.inspect_every and racket.role == "match" and (day - self.start).days % self.inspect_every == 0:
                self._inspect(racket, day)

    def _hand_ins(self, day: date) -> None:
        """In the evening, rackets whose bed is over reach the bench, most of them within some days."""
        for racket, _ in self._at_bench_reach(day):
            if racket.bed.is_over and self.rng.random() < (0.6 if season(day) > 0 else 0.1):
                self._hand_in(racket, day, str(racket.bed.true_cause))

    def _inspect(self, racket: Racket, day: date) -> None:
        rng, bed, nature = self.look_rng, racket.bed, self.nature
        worn = bed.damage_hits / bed.capacity_hits
        lost = 1.0 - bed.stiffness(day)

        def grade(x: float) -> int:
            return int(np.clip(round(3.2 * x + rng.normal(0, 0.45)), 0, 3))

        is_soft = SHELF[bed.mains].material in ("multifilament", "natural_gut", "synthetic_gut")
        row: dict[str, Any] = {
            "inspection_id": self.new_id("I"),
            "inspected_on": day,
            "racket_id": racket.racket_id,
            "broken": "no",
        }
        seen = {"notching": grade(worn), "misalignment": grade(2.2 * lost)}
        if is_soft:
            seen["fraying"] = grade(worn * 0.95)
        is_wrong = rng.random() < nature.share_wrong_grades
        row |= {sign: int(rng.integers(0, 4)) for sign in seen} if is_wrong else seen
        self.rows["inspections"].append(row)
        if max(seen.values()) >= 3 and rng.random() < nature.share_taken_out:
            self._hand_in(racket, day, "inspection")

    def _string_day(self, day: date) -> None:
        if day.weekday() == 6 or season(day) == 0:
            return
        minutes = int(self.bench_minutes * (0.5 if day.weekday() == 5 else 1.0))
        stringers = [f"Bench {n + 1}" for n in range(1 + int(self.bench_minutes) // 480)]
        for name in stringers:
            self.rows["bench"].append({"bench_on": day, "stringer": name, "minutes": minutes // len(stringers)})
        jobs = [(racket, racket.job) for racket in self.rackets if racket.job]
        jobs.sort(key=lambda pair: (pair[0].role != "match", pair[1]["handed_in_on"], pair[0].racket_id))
        for n, (racket, _) in enumerate(jobs):
            if minutes < 25:
                break
            minutes -= self._restring(racket, day, stringers[n % len(stringers)])

    def _restring(self, racket: Racket, day: date, stringer: str) -> int:
        rng, old, job, owner = self.rng, racket.bed, racket.job, racket.holder
        assert job is not None and owner is not None
        self.endings.append(
            {
                "racket_id": racket.racket_id,
                "player_id": owner.player_id,
                "strung_on": old.strung_on,
                "ended_on": old.ended_on,
                "restrung_on": day,
                "true_cause": old.true_cause,
            }
        )
        racket.bed = string_bed(rng, day, owner.mains, owner.crosses, FRAMES[racket.frame][4], self.nature.capacity_sd)
        minutes = int(np.clip(rng.normal(33, 4), 20, 50))
        restring_id = self._write_restring(racket, job["reason"], minutes, old, stringer)
        job.update(state="handed_back", state_on=day, stringer=stringer, restring_id=restring_id)
        racket.job = None
        return minutes

    # ---- changes among people -----------------------------------------------------------------------------------

    def _changes(self, day: date) -> None:
        rng, span = self.rng, (self.until - self.start).days
        for player in self.players:
            if player.joined_on >= day or (player.left_on and player.left_on <= day):
                continue
            if rng.random() < self.nature.share_string_changes / span:
                player.mains, player.crosses = self._pick_strings()
                self._write_setup(player, day)
            if (
                (day.month, day.day) == (9, 1)
                and rng.random() < self.nature.share_moved_up
                and player.level != "national"
            ):
                player.level = LEVELS[LEVELS.index(player.level) - 1]
                player.stress *= 1.08
                self._write_player(player, day)
        for racket in self.rackets:
            if (
                racket.role == "spare"
                and racket.job is None
                and not racket.bed.is_over
                and racket.in_service_on < day
                and rng.random() < self.nature.share_lent_on / span
            ):
                others = [p for p in self.players if p is not racket.holder and p.joined_on < day and not p.left_on]
                racket.holder = others[int(rng.integers(len(others)))]
                self.rows["holders"].append(
                    {"racket_id": racket.racket_id, "from_on": day, "player_id": racket.holder.player_id}
                )

    def advance_to(self, last_day: date) -> None:
        """Live the days from where the club stands up to and with the last one."""
        while self.today < last_day:
            self.today += timedelta(days=1)
            self._changes(self.today)
            self._take_out(self.today)
            self._play_day(self.today)
            self._hand_ins(self.today)
            self._string_day(self.today)

    def all_endings(self) -> list[Row]:
        """The truth so far: beds that were cut out, then those that are in the rackets now."""
        now = [
            {
                "racket_id": r.racket_id,
                "player_id": r.holder.player_id if r.holder else None,
                "strung_on": r.bed.strung_on,
                "ended_on": r.bed.ended_on,
                "restrung_on": None,
                "true_cause": r.bed.true_cause or "still_in",
            }
            for r in self.rackets
        ]
        return [*self.endings, *now]

    def fork(self, rng: np.random.Generator) -> FatigueClub:
        """The same club on the same day with another future, and with empty files."""
        kept = self.rows, self.played, self.endings
        self.rows, self.played, self.endings = {name: [] for name in self.rows}, [], []
        other = copy.deepcopy(self)
        self.rows, self.played, self.endings = kept
        other.rng, other.look_rng = rng, rng.spawn(1)[0]
        return other


def build(
    seed: int,
    players: int = 40,
    days: int = 515,
    until: date = date(2026, 11, 15),
    inspect_every: int | None = None,
    **nature: Any,
) -> FatigueClub:
    """The club on the eve of its first day."""
    rng = np.random.default_rng([seed, 71])
    return FatigueClub(rng, until - timedelta(days=days - 1), until, players, inspect_every, FatigueNature(**nature))


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
    rng = club.rng
    matches, practices = write_down(club, share_without_racket, share_unlogged)
    for row in club.rows["restrings"]:
        if row["reason"] != "first" and rng.random() < share_unknown_reason:
            row.update(reason="unknown" if rng.random() < 0.5 else None, broke_where=None, ended_on=None)
            for job in (j for j in club.rows["jobs"] if j.get("restring_id") == row["restring_id"]):
                job["reason"] = None
    for row in club.rows["restrings"] + club.rows["setups"] if units == "lb" else []:
        row |= {
            "mains_lb": round(row.pop("mains_kg") * LB_PER_KG, 1),
            "crosses_lb": round(row.pop("crosses_kg") * LB_PER_KG, 1),
        }
    strings = [
        {
            "string_id": i,
            "string_name": s.name,
            "material": s.material,
            "gauge_mm": s.gauge_mm,
            "profile": s.profile,
            "reel_m": 200,
            "reel_price": s.reel_price,
            "lead_days": 7,
        }
        for i, s in SHELF.items()
    ]
    stock = [{"counted_on": club.start, "string_id": i, "metres": 400} for i in SHELF]
    write_club(
        Path(folder),
        club.rows | {"strings": strings, "stock": stock, "matches": matches, "practices": practices},
        club.all_endings(),
        only_required,
    )


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--players", type=int, default=40)
    args = parser.parse_args()
    make_club(args.folder, seed=args.seed, players=args.players)
