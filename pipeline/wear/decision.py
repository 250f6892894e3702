"""What a person decided about the values in force: to run on the trade values until the club is learned from again.

In: the store's folder. Out: Decision, kept in `learned.json` beside club.toml, which no view's deletion touches
and every backup takes along.
Without the file the program decides by itself, at refresh, from the club's own history.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline.store.errors import StoreError
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.settings import LEARNED_NAME as FILE
from pipeline.store.whole_files import write_whole

TRADE = "trade"


@dataclass(frozen=True)
class Decision:
    """Trade values by hand: since when, by whom."""

    since: date
    by: str


def decided(folder: Path) -> Decision | None:
    """The decision in force, or None where nobody made one. Raises StoreError where the file cannot be read."""
    path = folder / FILE
    if not path.exists():
        return None
    try:
        row = json.loads(path.read_text(encoding="utf-8"))
        if row["values"] != TRADE:
            raise ValueError(f"values are {row['values']!r}, not {TRADE!r}")
        return Decision(date.fromisoformat(row["since"]), str(row["by"]))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(
            f"{path} cannot be read ({error}), so it is not known whether the trade values were chosen by hand: "
            "run `racket-fleet learn`, or `racket-fleet learn --trade-values`, which writes it anew."
        ) from error


def decide_trade(folder: Path, since: date, by: Person = LOCAL) -> None:
    """Trade values from now on, in one step. Raises NotAllowedError unless `by` may learn."""
    require(by, "learn")
    write_whole(folder / FILE, json.dumps({"values": TRADE, "since": since.isoformat(), "by": by.name}) + "\n")


def decide_nothing(folder: Path, by: Person = LOCAL) -> None:
    """The program decides by itself again. Raises NotAllowedError unless `by` may learn."""
    require(by, "learn")
    (folder / FILE).unlink(missing_ok=True)
