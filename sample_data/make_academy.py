"""Make the CSV files of an invented tennis academy by simulating it hit by hit.

    python sample_data/make_academy.py OUT --seed 21 --kind academy --until 2026-11-15 --truth

In: settings on the command line. Out: OUT/*.csv, the files a club would have on the evening of `--until`. With
`--truth` also, NEXT to OUT, OUT-truth/: `endings.csv` (how every bed really ended), `state.csv` (true wear of every bed
in play at each week's end) and `full/` (the same club's files had it gone on recording for `--after-days` more). The
same settings and seed give the same bytes.

Shares no code and no formula with the forecast: see `string_bed.py` for the physics. Kinds of club: `KINDS`.
"""

from __future__ import annotations

import argparse
import csv
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from datetime import date
from pathlib import Path

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sample_data.logbook import Logbook, files
from sample_data.roster import Nature, make_roster
from sample_data.rows import Habits, Row, iso
from sample_data.season import ClubYear, Season
from sample_data.timetable import make_timetable
from sample_data.workshop import Workshop

PLAY_FILES = ("matches", "practices")
OPTIONAL_FILES = ("holders", "setups", "jobs", "inspections", "calendar", "bench", "stock", "orders")
REQUIRED_ONLY = ("players", "rackets", "strings", "restrings")
OPTIONAL_COLUMNS = {
    "players": ("left_on",),
    "rackets": ("marking", "head_cm2", "tension_min_kg", "tension_max_kg"),
    "strings": ("lead_days",),
    "restrings": (
        "stringer",
        "minutes",
        "ended_on",
        "broke_where",
        "strung_at",
        "mains_m",
        "crosses_m",
        "pieces",
        "string_from",
        "charge_to",
        "charge",
        "paid_on",
    ),
    "matches": ("surface", "event"),
    "practices": ("intensity", "surface", "balls_hit", "players_on_court"),
}
MEASURED = (
    "hours",
    "hits",
    "notch_mm",
    "section_left",
    "stiffness_lost",
    "friction_gained",
    "break_used",
    "feel_used",
)


@dataclass(frozen=True)
class Kind:
    """One nature of club: how it lives, how it writes, and how long its log is."""

    meaning: str
    nature: Nature = field(default_factory=Nature)
    habits: Habits = field(default_factory=Habits)
    days: int | None = None
    has_play_log: bool = True


CLEAN = Habits(
    share_without_racket=0.0,
    share_unlogged=0.0,
    share_unknown_reason=0.0,
    share_score_only=0.0,
    share_ended_on_known=0.95,
    share_without_job=0.0,
    share_absence_forgotten=0.0,
    share_elsewhere_unknown=0.0,
    is_squad_rows=False,
)
KINDS = {
    "academy": Kind("a usual academy with the usual holes in its log"),
    "clean": Kind("every session with its racket, every reason given", Nature(share_old_beds=0.0), CLEAN),
    "messy": Kind(
        "a fifth of sessions unlogged, 15 % without racket, a quarter of reasons unknown",
        habits=Habits(0.15, True, 0.20, 0.25, share_ended_on_known=0.5, is_squad_rows=False),
    ),
    "no_racket": Kind(
        "nine in ten sessions without a racket, half of the matches logged as mere sparring", habits=Habits(0.90, True)
    ),
    "nobody_complains": Kind("no player ever reports dead strings", Nature(share_complaining=0.0)),
    "blank_reasons": Kind("a quarter of the reasons blank", habits=Habits(share_unknown_reason=0.25)),
    "unlogged": Kind("a fifth of the sessions not logged", habits=Habits(share_unlogged=0.20)),
    "restrings_only": Kind("no play log at all", has_play_log=False),
    "hardly_break": Kind(
        "thick polyester and gentle hitters: strings hardly ever break", Nature(is_hard_to_break=True)
    ),
    "scheduled_by_wear": Kind(
        "scheduled restrings that follow wear", Nature(share_scheduled_by_wear=0.55, share_scheduled=0.0)
    ),
    "new_club": Kind("three weeks of history", days=21),
}


@dataclass(frozen=True)
class Club:
    """Everything one simulated club gives: rows with the day each became known, and the truth."""

    known: dict[str, list[tuple[int, Row]]]
    season: Season
    until: int
    last: int


def simulate(
    kind: Kind, seed: int, count_players: int, until: int, days: int, after_days: int, inspect_every: int | None = None
) -> Club:
    """Run the club from `days` before the cut to `after_days` after it.

    Separate random streams: how the log is kept leaves what happened alone.
    """
    people, play, bench, life, log = (np.random.default_rng(stream) for stream in np.random.SeedSequence(seed).spawn(5))
    first, last = until - days + 1, until + after_days
    roster = make_roster(people, count_players, first, last, kind.nature)
    timetable = make_timetable(play, roster, first, last + 42)
    workshop = Workshop(count_players, bench)
    workshop.plan_hours(first, last + 42, timetable.closed)
    season = ClubYear(roster, timetable, workshop, kind.nature, first, life, inspect_every).run(last)
    logbook = Logbook(roster, timetable, workshop, season, kind.habits, first, log)
    logbook.write()
    return Club(logbook.known, season, until, last)


def write_csv(path: Path, rows: list[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_files(
    folder: Path, rows: dict[str, list[Row]], left_out: tuple[str, ...], dropped: dict[str, tuple[str, ...]]
) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name in sorted(rows):
        kept = [
            {column: value for column, value in row.items() if column not in dropped.get(name, ())}
            for row in rows[name]
        ]
        if kept and name not in left_out:
            write_csv(folder / f"{name}.csv", kept)
        else:
            (folder / f"{name}.csv").unlink(missing_ok=True)


def write_truth(folder: Path, club: Club) -> None:
    """endings.csv and state.csv. Empty feel_used: this player never complains."""
    folder.mkdir(parents=True, exist_ok=True)
    write_csv(
        folder / "endings.csv",
        [
            {
                "restring_id": life.restring_id,
                "racket_id": life.racket_id,
                "player_id": life.player_id,
                "strung_on": iso(life.strung_on),
                "ended_on": iso(life.ended_on),
                "restrung_on": iso(life.restrung_on),
                "true_cause": life.cause,
                "true_hours": f"{life.hours:.2f}",
            }
            for life in club.season.beds
        ],
    )
    states = []
    for state in club.season.states:
        row: Row = {"week_end_on": iso(state.day), "racket_id": state.racket_id, "player_id": state.player_id}
        row["strung_on"] = iso(state.strung_on)
        states.append(
            row | {name: "" if getattr(state, name) is None else f"{getattr(state, name):.4g}" for name in MEASURED}
        )
    write_csv(folder / "state.csv", states)


def whole_number(least: int) -> Callable[[str], int]:
    """A reader of whole numbers that are not below `least`."""

    def read(text: str) -> int:
        if not text.isdecimal() or int(text) < least:
            raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of {least} or more")
        return int(text)

    return read


def share(text: str) -> float:
    """A share between 0 and 1."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 1.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a share between 0 and 1; 20 % is 0.2")
    return value


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Make the CSV files of an invented tennis academy.")
    parser.add_argument("out", type=Path, metavar="OUT", help="folder to write; its files of these names are replaced")
    parser.add_argument(
        "--kind",
        choices=sorted(KINDS),
        default="academy",
        help="; ".join(f"{name}: {kind.meaning}" for name, kind in KINDS.items()).replace("%", "%%"),
    )
    parser.add_argument("--seed", type=whole_number(0), default=21)
    parser.add_argument("--players", type=whole_number(1), default=40)
    parser.add_argument("--days", type=whole_number(1), help="length of the log in days (default 425; new_club 21)")
    parser.add_argument("--until", type=date.fromisoformat, default=date(2026, 11, 15), help="the last day on file")
    parser.add_argument("--share-without-racket", type=share, help="share of practices logged without a racket")
    parser.add_argument("--share-unlogged", type=share)
    parser.add_argument("--share-unknown-reason", type=share)
    parser.add_argument(
        "--inspect-every",
        type=whole_number(1),
        help="days between looks at every match racket (default: about every 24 days, six in ten)",
    )
    parser.add_argument("--units", choices=("kg", "lb"), default="kg")
    parser.add_argument(
        "--only-required",
        action="store_true",
        help="leave out every optional file but the play log, and optional columns",
    )
    parser.add_argument("--truth", action="store_true", help="also write OUT-truth/ next to OUT")
    parser.add_argument("--after-days", type=whole_number(0), default=90, help="days simulated after --until")
    return parser.parse_args(arguments)


def main(arguments: list[str] | None = None) -> None:
    asked = parse(arguments)
    kind = KINDS[asked.kind]
    given = {habit.name: getattr(asked, habit.name, None) for habit in fields(Habits)}
    kind = replace(
        kind, habits=replace(kind.habits, **{name: value for name, value in given.items() if value is not None})
    )
    days = asked.days or kind.days or 425
    club = simulate(
        kind, asked.seed, asked.players, asked.until.toordinal(), days, asked.after_days, asked.inspect_every
    )
    left_out = OPTIONAL_FILES if asked.only_required else ()
    if not kind.has_play_log:
        left_out = tuple({*left_out, *PLAY_FILES, *OPTIONAL_FILES})
    dropped = OPTIONAL_COLUMNS if asked.only_required else {}
    write_files(asked.out, files(club.known, club.until), left_out, dropped)
    if asked.truth:
        truth = asked.out.with_name(asked.out.name + "-truth")
        write_truth(truth, club)
        write_files(truth / "full", files(club.known, club.last), left_out, dropped)


if __name__ == "__main__":
    main()
