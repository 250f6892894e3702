"""The kinds of club that the trial runs on: a kind's name in, the settings of a generator's make_club out.

`python -m tests.trial.kinds FOLDER --generators fatigue --kinds clean messy --seeds 1 2` writes the clubs.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

CLEAN = {"share_without_racket": 0.0}

# how well the club keeps its log: any generator takes these
RECORDING: dict[str, dict[str, Any]] = {
    "default": {},
    "clean": CLEAN,
    "messy": {"share_without_racket": 0.15, "share_unlogged": 0.2, "share_unknown_reason": 0.25},
    "no_racket": {"share_without_racket": 0.9},
    "small": CLEAN | {"players": 8},
    "large": CLEAN | {"players": 120},
}
# what the club is like: each generator says it in its own words
NATURE: dict[str, dict[str, dict[str, Any]]] = {
    "fatigue": {
        "soft": CLEAN | {"strings": "soft"},
        "polyester": CLEAN | {"strings": "polyester", "surface": "clay"},
        "breakers": CLEAN | {"power": 1.18, "load": 1.3},
        "scheduled": CLEAN | {"share_scheduled_squads": 1.0},
        "drifting": CLEAN | {"yearly_power_gain": 0.2, "turnover": 0.4},
        "silent": CLEAN | {"share_reporters": 0.15},
        "inspected": CLEAN | {"inspect_every": 14, "share_taken_out": 0.0},
        "misgraded": CLEAN | {"inspect_every": 14, "share_taken_out": 0.0, "share_wrong_grades": 1.0},
        "taken_out": CLEAN | {"inspect_every": 14},
    },
    "academy": {  # the sample data's own program, called as a user would; it knows its kinds by name
        **{
            kind: {"kind": kind}
            for kind in (
                "clean",
                "messy",
                "no_racket",
                "blank_reasons",
                "unlogged",
                "nobody_complains",
                "hardly_break",
                "scheduled_by_wear",
            )
        },
        "default": {"kind": "academy"},
        "small": {"kind": "clean", "players": 8},
        "large": {"kind": "clean", "players": 120},
    },
    "compartment": {
        "soft": CLEAN | {"strings": "soft"},
        "polyester": CLEAN | {"strings": "polyester", "surface": "clay"},
        "breakers": CLEAN | {"intensity": 1.7, "load": 1.2},
        "scheduled": CLEAN | {"share_calendar_squads": 1.0},
        "drifting": CLEAN | {"load_gain_a_year": 0.4, "turnover": 0.35, "string_changes": 0.6},
        "silent": CLEAN | {"share_complaining": 0.15},
        "inspected": CLEAN | {"inspect_every": 14},
        "misgraded": CLEAN | {"inspect_every": 14, "share_wrong_grades": 1.0},
        "batched": CLEAN | {"bench_days_a_week": 1, "share_sundays_only": 0.9},
        "pounds": {"units": "lb"},
    },
    "strokes": {
        "soft": CLEAN | {"strings": "soft"},
        "polyester": CLEAN | {"strings": "polyester"},
        "scheduled": CLEAN | {"share_before_events": 1.0},
        "silent": CLEAN | {"share_speaking": 0.15},
        "inspected": CLEAN | {"inspect_every": 14},
        "misgraded": CLEAN | {"inspect_every": 14, "share_wrong_grades": 1.0},
        "batched": CLEAN | {"van_days": (2,), "van_takes": 40},
    },
    "strands": {
        "soft": CLEAN | {"strings": "soft"},
        "polyester": CLEAN | {"strings": "polyester"},
        "silent": CLEAN | {"share_saying_so": 0.15},
        "inspected": CLEAN | {"inspect_every": 14},
        "misgraded": CLEAN | {"inspect_every": 14, "share_wrong_grades": 1.0},
        "batched": CLEAN | {"share_box": 1.0},
    },
}


def generators() -> dict[str, Callable[..., None]]:
    """Each generator's make_club by name; imported here, so that a kind can be looked up without them."""
    from tests.trial.club_compartment import make_club as compartment
    from tests.trial.club_fatigue import make_club as fatigue
    from tests.trial.club_strands import make_club as strands
    from tests.trial.club_strokes import make_club as strokes

    return {
        "fatigue": fatigue,
        "compartment": compartment,
        "academy": _academy,
        "strokes": strokes,
        "strands": strands,
    }


def _academy(folder: Path, *, seed: int, kind: str, players: int = 40) -> None:
    """A club of the sample data's program, in a process of its own."""
    script = Path(__file__).parents[2] / "sample_data" / "make_academy.py"
    command = [
        sys.executable,
        str(script),
        str(folder),
        "--kind",
        kind,
        "--seed",
        str(seed),
        "--players",
        str(players),
        "--truth",
    ]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def kinds_of(generator: str) -> dict[str, dict[str, Any]]:
    """Every kind of club that a generator can make, with the settings it takes."""
    return NATURE[generator] if generator == "academy" else RECORDING | NATURE[generator]


def settings(generator: str, kind: str) -> dict[str, Any]:
    """What make_club takes for a kind of club."""
    known = kinds_of(generator)
    if kind not in known:
        raise ValueError(f"no kind {kind!r} for the {generator} clubs; there are {', '.join(known)}")
    return known[kind]


def write_clubs(folder: Path, names: Iterable[str], kinds: Iterable[str], seeds: Iterable[int]) -> list[Path]:
    """Write `<folder>/<generator>-<kind>-<seed>` and its truth for each; a generator passes over kinds it lacks."""
    made, kinds, seeds = [], list(kinds), list(seeds)
    for name in names:
        for kind in (k for k in kinds if k in kinds_of(name)):
            for seed in seeds:
                made.append(folder / f"{name}-{kind}-{seed}")
                generators()[name](made[-1], seed=seed, **settings(name, kind))
    return made


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--generators", nargs="+", default=list(NATURE))
    parser.add_argument(
        "--kinds",
        nargs="+",
        default=list(dict.fromkeys([*RECORDING, *sorted({k for n in NATURE.values() for k in n})])),
    )
    parser.add_argument("--seeds", nargs="+", type=int, default=[1, 2])
    args = parser.parse_args()
    for path in write_clubs(args.folder, args.generators, args.kinds, args.seeds):
        print(path)
