"""An invented club whose strings are sawn through stroke by stroke: settings in, contract CSV files and truth out.

A session is so many strokes; each saws at one of a few crossings, where the main grows thinner. A bed breaks at the
stroke whose peak load is above what the thinnest crossing still stands (stress against strength, peaks of a Gumbel
law): there is no life that is drawn, and no shape. The pull creeps with the log of time and slips with every stroke
towards a floor; a player compares it with what he or she remembers of the last beds, and says so after matches only.

Rackets go to a stringer in town by van: collected on some weekdays, brought back at the next run. Players hand in
what broke when they come to the club, at once only if nothing else is left to play with; some have match rackets done
before every tournament. Play: a timetable by squad, half of it lost in holidays, a summer of tournaments, colds that
go round the squad. All values are assumptions, all names invented.

Run `python -m tests.trial.club_strokes FOLDER --seed 1` for one club.
"""

from __future__ import annotations

import argparse
import copy
import math
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.trial.csv_folder import Row, write_club
from tests.trial.strokes_people import (
    CHOICES,
    CROSSINGS,
    FAMILY,
    FORCE,
    GIVEN,
    SAW,
    SESSIONS_A_WEEK,
    SHELF,
    SQUADS,
    STROKES_AN_HOUR,
    Bed,
    Player,
    Racket,
)

POUNDS_A_KILO = 2.2046226


class StrokesClub:
    """The club as it lives, day by day."""

    def __init__(self, seed: int, players: int, days: int, until: date, inspect_every: int | None, nature: Row) -> None:
        known = {"strings": "mixed", "share_speaking": 0.75, "van_days": (1, 4), "van_takes": 14, "load": 1.0,
                 "share_before_events": 0.35, "share_wrong_grades": 0.0}  # fmt: skip
        if unknown := set(nature) - set(known):
            raise TypeError(f"a club of strokes has no setting {', '.join(sorted(unknown))}")
        self.nature = known | dict(nature)
        self.rng, self.look_rng, self.log_rng = (np.random.default_rng([seed, n, 71]) for n in range(3))
        self.until, self.inspect_every = until, inspect_every
        self.from_on = until - timedelta(days=days)
        self.today = self.from_on - timedelta(days=1)
        self.files: dict[str, list[dict[str, Any]]] = {
            k: [] for k in ("players", "rackets", "restrings", "jobs", "inspections", "calendar", "bench")
        }
        self.played: list[dict[str, Any]] = []
        self.ends: list[Row] = []
        self.count = 0
        self.holidays = self._holidays(days)
        self.events = [
            (squad, self.from_on + timedelta(days=int(d)))
            for squad in range(3)
            for d in self.rng.choice(days + 42, size=max(1, int((days + 42) / 40)), replace=False)
        ]
        self.players = [self._player(n, players) for n in range(players)]
        self._plan(days)

    def _number(self, kind: str) -> str:
        self.count += 1
        return f"{kind}{self.count}"

    def _holidays(self, days: int) -> set[date]:
        out: set[date] = set()
        for month, day, length in ((12, 21, 14), (4, 5, 9), (7, 27, 17), (10, 24, 8)):
            for year in range(self.from_on.year, self.until.year + 2):
                start = date(year, month, day) + timedelta(days=int(self.rng.integers(-2, 3)))
                out |= {start + timedelta(days=n) for n in range(length)}
        return out

    def _player(self, n: int, of: int) -> Player:
        rng = self.rng
        squad = int(np.searchsorted(np.cumsum([s[2] for s in SQUADS]), (n + 0.5) / of))
        level = SQUADS[squad][1]
        spin = str(rng.choice(list(SAW), p=[0.3, 0.4, 0.3]))
        choices = CHOICES[str(self.nature["strings"])]
        player = Player(
            f"S-{n + 1}", f"{GIVEN[n % len(GIVEN)]} {FAMILY[(n // 2) % len(FAMILY)]}", squad, level, spin,
            SAW[spin] * math.exp(rng.normal(0, 0.3)), FORCE[level] * math.exp(rng.normal(0, 0.08)),
            math.exp(rng.normal(math.log(0.115), 0.3)), bool(rng.random() < float(self.nature["share_speaking"])),
            SESSIONS_A_WEEK[level] * math.exp(rng.normal(0, 0.25)) * float(self.nature["load"]),
            choices[int(rng.integers(len(choices)))], float(rng.integers(21, 27)), 0.8,
            rng.dirichlet(np.full(CROSSINGS, 2.5)), bool(rng.random() < float(self.nature["share_before_events"])),
        )  # fmt: skip
        self.files["players"].append(
            {"player_id": player.player_id, "player_name": player.name, "squad": SQUADS[squad][0], "level": level,
             "spin": spin}
        )  # fmt: skip
        for k in range({"beginner": 1, "club": 2, "regional": 3, "national": 4}[level] + int(rng.random() < 0.3)):
            racket = Racket(
                f"SR{n + 1}{'abcdef'[k]}", player, "match" if k < 2 else "spare",
                self._bed(player, self.from_on), self.from_on,
            )  # fmt: skip
            player.rackets.append(racket)
            self.files["rackets"].append(
                {"racket_id": racket.racket_id, "player_id": player.player_id, "frame": f"Kiefer {n % 5}",
                 "head_cm2": 630 + 15 * (n % 3), "mains": 16, "crosses": 19 + n % 2, "tension_min_kg": 20,
                 "tension_max_kg": 28, "role": racket.role, "in_service_on": self.from_on}
            )  # fmt: skip
            self._note_stringing(racket, self.from_on, "first", None)
        return player

    def _bed(self, player: Player, day: date) -> Bed:
        # knots, crossings and the stringer's hand differ a little
        return Bed(day, *player.strings, loss=np.abs(self.rng.normal(0, 0.02, CROSSINGS)))

    def _plan(self, days: int) -> None:
        for squad, on in self.events:
            self.files["calendar"].append(
                {"planned_on": on, "squad": SQUADS[squad][0], "activity": "singles", "event": f"cup {on:%d %b}",
                 "until_on": on + timedelta(days=1), "minutes": 100, "place": "away", "fresh_rackets": 2}
            )  # fmt: skip
        for n in range(days + 42):
            day = self.from_on + timedelta(days=n)
            if day in self.holidays:
                self.files["calendar"] += [
                    {"planned_on": day, "squad": name, "activity": "closed", "event": "holidays"}
                    for name, _, _ in SQUADS
                ]
            for squad, (name, _, _) in enumerate(SQUADS):
                if self._is_squad_day(squad, day):
                    self.files["calendar"].append(
                        {"planned_on": day, "squad": name, "activity": "drills", "event": "training", "minutes": 90,
                         "place": "home"}
                    )  # fmt: skip

    def _is_squad_day(self, squad: int, day: date) -> bool:
        return day not in self.holidays and day.weekday() in ((0, 1, 3, 4), (0, 2, 4), (1, 3), (2,))[squad]

    # ---- a day --------------------------------------------------------------------------------------------------

    def advance_to(self, last_day: date) -> None:
        """Live the days up to and with the last one."""
        while self.today < last_day:
            self.today += timedelta(days=1)
            day = self.today
            if day.weekday() in tuple(self.nature["van_days"]) and day not in self.holidays:  # type: ignore[arg-type]
                self._van(day)
            if self.inspect_every and (day - self.from_on).days % self.inspect_every == 6:
                self._look(day)
            for player in self.players:
                self._day_of(player, day)

    def _day_of(self, player: Player, day: date) -> None:
        rng = self.rng
        if player.ill_until and day <= player.ill_until:
            return
        mates_ill = sum(bool(p.ill_until and day <= p.ill_until) for p in self.players if p.squad == player.squad)
        if rng.random() < 0.0015 + 0.006 * mates_ill / 8:
            player.ill_until = day + timedelta(days=int(rng.integers(4, 12)))
            return
        events = [on for squad, on in self.events if squad == player.squad]
        is_here = False
        if any(on <= day <= on + timedelta(days=1) for on in events):
            if rng.random() < 0.7:
                self._play(player, day, "singles", float(rng.normal(100, 20)), "cup")
        elif self._is_squad_day(player.squad, day):
            if rng.random() < 0.82:
                is_here = True
                self._play(player, day, str(rng.choice(["drills", "rally", "sparring"])), 90.0, None)
        else:
            rest = max(0.3, player.sessions - (4, 3, 2, 1)[player.squad] * 0.82)
            summer = 1.3 if day.month in (5, 6, 7, 9) else 0.9
            if rng.random() < rest / 5 * summer * (0.55 if day in self.holidays else 1.0):
                is_here = True
                if rng.random() < 0.4:
                    self._play(player, day, "doubles" if rng.random() < 0.25 else "singles", float(rng.normal(85, 18)),
                               None)  # fmt: skip
                else:
                    self._play(player, day, str(rng.choice(["serve", "ball_machine", "rally"])), 60.0, None)
        if player.before_events and any((on - day).days == 3 for on in events):
            for racket in player.rackets:
                if racket.role == "match" and not racket.handed_in and (day - racket.bed.strung_on).days > 16:
                    self._hand_in(racket, day, "scheduled")
        left = [r for r in player.rackets if not r.bed.cause]
        for racket in player.rackets:
            if racket.bed.cause and not racket.handed_in and (is_here or not left) and rng.random() < 0.75:
                self._hand_in(racket, day, racket.bed.cause)

    def _play(self, player: Player, day: date, activity: str, minutes: float, event: str | None) -> None:
        rng, left = self.rng, max(minutes, 25.0)
        match_id = self._number("SX")
        is_match = activity in ("singles", "doubles")
        while left > 3:
            can = [r for r in player.rackets if not r.bed.cause]
            if not can:
                return
            pull = [self._pull(r.bed, day) + rng.normal(0, 0.03 if is_match else 0.12) for r in can]
            racket = can[int(np.argmax(pull))]  # the crispest for matches, whatever is at hand else
            used = self._hit(player, racket, day, activity, left)
            self.played.append(
                {"match_id": match_id, "player": player, "racket": racket, "day": day, "activity": activity,
                 "minutes": max(1, round(used)), "event": event, "is_match": is_match}
            )  # fmt: skip
            left -= used
            if not racket.bed.cause and is_match and player.speaks:
                gone = player.memory - self._pull(racket.bed, day)
                if rng.random() < 1 / (1 + math.exp(-(gone - player.patience) / 0.012)):
                    racket.bed.ended_on, racket.bed.cause = day, "lost_feel"
        return

    def _hit(self, player: Player, racket: Racket, day: date, activity: str, minutes: float) -> float:
        """Strokes until the time is up or a string breaks; gives the minutes played."""
        bed, rng = racket.bed, self.rng
        material, gauge, _, thousand, _, slip = SHELF[bed.mains]
        step = 15.0
        done = 0.0
        while done < minutes:
            part = min(step, minutes - done)
            strokes = STROKES_AN_HOUR[activity] * part / 60 * (0.9 if player.level == "beginner" else 1.0)
            damp = 1.0 + (0.15 if material == "natural_gut" and day.month in (10, 11, 12, 1, 2) else 0.0)
            sawn = player.pattern * strokes * player.saw * damp / (2000.0 * thousand) * CROSSINGS / 2
            bed.loss = bed.loss + sawn * rng.gamma(4.0, 0.25, CROSSINGS) * (1 + bed.loss)
            slack = SHELF[bed.crosses][5]
            bed.slipped += (
                strokes / 1000 * (0.6 * slip + 0.4 * slack) * player.force * max(0.0, 0.42 - bed.slipped) / 0.3
            )
            stands = np.maximum(1.0 - bed.loss, 0.05) * (gauge / 1.27) ** 2 * 1.9
            # peaks above what is left, over all crossings
            hazard = strokes * float((player.pattern * np.exp(-(stands - player.force * 0.62) / 0.072)).sum())
            done += part
            if rng.random() < 1 - math.exp(-hazard):
                bed.ended_on, bed.cause = day, "breaks"
                return done - part * float(rng.random())
            if rng.random() < strokes * 7e-6:
                bed.ended_on, bed.cause = day, "mishit"
                return done
        return done

    def _pull(self, bed: Bed, day: date) -> float:
        """Share of the pull that is left."""
        age = max(0.5, (day - bed.strung_on).days)
        held = 0.65 * SHELF[bed.mains][4] + 0.35 * SHELF[bed.crosses][4]
        return held - (1 - held) * 0.22 * math.log(age) - bed.slipped

    def _look(self, day: date) -> None:
        rng = self.look_rng
        for racket in (r for p in self.players for r in p.rackets):
            bed = racket.bed
            if bed.cause or racket.handed_in or racket.role != "match" or bed.strung_on >= day:
                continue
            seen = [int(np.clip(round(4.5 * bed.loss.max() - 0.5 + rng.normal(0, 0.4)), 0, 3)),
                    int(np.clip(round(11 * (0.85 - self._pull(bed, day)) + rng.normal(0, 0.6)), 0, 3))]  # fmt: skip
            wrong = [int(rng.integers(0, 4)) for _ in seen]
            if rng.random() < float(self.nature["share_wrong_grades"]):
                seen = wrong
            is_hard = SHELF[bed.mains][0] == "polyester"
            self.files["inspections"].append(
                {"inspection_id": self._number("SI"), "inspected_on": day, "racket_id": racket.racket_id,
                 "fraying": None if is_hard else seen[0], "notching": seen[0] if is_hard else None,
                 "misalignment": seen[1]}
            )  # fmt: skip

    # ---- to town and back ---------------------------------------------------------------------------------------

    def _hand_in(self, racket: Racket, day: date, cause: str) -> None:
        if not racket.bed.cause:
            racket.bed.ended_on, racket.bed.cause = day, cause
        racket.handed_in = {
            "job_id": self._number("SJ"), "racket_id": racket.racket_id, "handed_in_on": day, "state": "due",
            "reason": "broke" if cause in ("breaks", "mishit") else cause, "state_on": day,
        }  # fmt: skip
        self.files["jobs"].append(racket.handed_in)  # type: ignore[arg-type]

    def _van(self, day: date) -> None:
        waiting = [r for p in self.players for r in p.rackets if r.handed_in]
        for racket in [r for r in waiting if r.on_van]:
            old, job = racket.bed, racket.handed_in
            assert job is not None
            racket.bed, racket.on_van, racket.handed_in = self._bed(racket.player, day), False, None
            player = racket.player
            player.memory += 0.3 * (self._pull(racket.bed, day + timedelta(days=2)) - player.memory)
            self.ends.append(
                {"racket_id": racket.racket_id, "player_id": player.player_id, "strung_on": old.strung_on,
                 "ended_on": old.ended_on, "restrung_on": day, "true_cause": old.cause}
            )  # fmt: skip
            row = self._note_stringing(racket, day, str(job["reason"]), old)
            job.update(state="strung", state_on=day, stringer="Town", restring_id=row["restring_id"])  # type: ignore[attr-defined]
        self.files["bench"].append({"bench_on": day, "stringer": "Town", "minutes": 35 * int(self.nature["van_takes"])})  # type: ignore[call-overload]
        goes = sorted((r for r in waiting if r.handed_in), key=lambda r: (r.handed_in["handed_in_on"], r.racket_id))  # type: ignore[index]
        for racket in goes[: int(self.nature["van_takes"])]:  # type: ignore[call-overload]
            racket.on_van = True

    def _note_stringing(self, racket: Racket, day: date, reason: str, old: Bed | None) -> dict[str, Any]:
        row = {
            "restring_id": self._number("SS"), "racket_id": racket.racket_id, "strung_on": day,
            "mains_string_id": racket.bed.mains, "crosses_string_id": racket.bed.crosses,
            "mains_kg": racket.player.pull_kg, "crosses_kg": racket.player.pull_kg, "reason": reason,
            "ended_on": old.ended_on if old and self.log_rng.random() < 0.6 else None,
            "broke_where": "edge" if old and old.cause == "mishit" and self.log_rng.random() < 0.7 else None,
        }  # fmt: skip
        self.files["restrings"].append(row)
        return row

    def all_endings(self) -> list[Row]:
        """The truth so far: beds cut out, then those in now."""
        return [*self.ends] + [
            {"racket_id": r.racket_id, "player_id": p.player_id, "strung_on": r.bed.strung_on,
             "ended_on": r.bed.ended_on, "true_cause": r.bed.cause or "still_in"}
            for p in self.players for r in p.rackets
        ]  # fmt: skip

    def fork(self, rng: np.random.Generator) -> StrokesClub:
        """The same club on the same day with another future."""
        kept = self.files, self.played, self.ends
        self.files, self.played, self.ends = {k: [] for k in self.files}, [], []
        other = copy.deepcopy(self)
        self.files, self.played, self.ends = kept
        other.rng, other.look_rng, other.log_rng = rng, *rng.spawn(2)
        return other

    def as_noted(self, share_without_racket: float, share_unlogged: float) -> dict[str, list[Row]]:
        """matches.csv and practices.csv as written down."""
        matches: dict[tuple[str, str], dict[str, Any]] = {}
        practices = []
        for s in self.played:
            forgotten, bare = self.log_rng.random() < share_unlogged, self.log_rng.random() < share_without_racket
            if forgotten:
                continue
            racket, player = s["racket"].racket_id, s["player"].player_id
            if s["is_match"]:
                row = matches.setdefault(
                    (s["match_id"], racket),
                    {"match_id": s["match_id"], "player_id": player, "racket_id": racket, "played_on": s["day"],
                     "format": s["activity"], "minutes": 0, "surface": "hard", "event": s["event"]},
                )  # fmt: skip
                row["minutes"] += s["minutes"]
            else:
                practices.append(
                    {"practice_id": self._number("SP"), "player_id": player, "played_on": s["day"],
                     "racket_id": None if bare else racket, "activity": s["activity"], "minutes": s["minutes"],
                     "surface": "hard"}
                )  # fmt: skip
        return {"matches": list(matches.values()), "practices": practices}  # type: ignore[dict-item]


def build(
    seed: int, players: int = 40, days: int = 500, until: date = date(2026, 11, 15),
    inspect_every: int | None = None, **nature: Any,
) -> StrokesClub:  # fmt: skip
    """The club on the eve of its first day."""
    return StrokesClub(seed, players, days, until, inspect_every, nature)


def make_club(
    folder: Path | str, *, seed: int, players: int = 40, days: int = 500, until: date = date(2026, 11, 15),
    share_without_racket: float = 0.7, share_unlogged: float = 0.0, share_unknown_reason: float = 0.0,
    inspect_every: int | None = None, units: str = "kg", only_required: bool = False, **nature: Any,
) -> None:  # fmt: skip
    """Simulate a club over `days` up to `until` and write its files and, beside them, its truth."""
    club = build(seed, players, days, until, inspect_every, **nature)
    club.advance_to(until)
    files: dict[str, list[Any]] = club.files | club.as_noted(share_without_racket, share_unlogged)
    for row in files["restrings"]:
        if row["reason"] != "first" and club.log_rng.random() < share_unknown_reason:
            row |= {"reason": None, "ended_on": None, "broke_where": None}
            for job in (j for j in files["jobs"] if j.get("restring_id") == row["restring_id"]):
                job["reason"] = None
        if units == "lb":
            row |= {f"{part}_lb": round(row.pop(f"{part}_kg") * POUNDS_A_KILO, 1) for part in ("mains", "crosses")}
    files["strings"] = [
        {"string_id": i, "string_name": f"Saite {i}", "material": s[0], "gauge_mm": s[1], "profile": s[2],
         "reel_m": 200, "reel_price": 90 + 10 * n}
        for n, (i, s) in enumerate(SHELF.items())
    ]  # fmt: skip
    write_club(Path(folder), files, club.all_endings(), only_required)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--players", type=int, default=40)
    args = parser.parse_args()
    make_club(args.folder, seed=args.seed, players=args.players)
