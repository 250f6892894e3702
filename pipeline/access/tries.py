"""Failed tries to sign in, in; how long the next one has to wait, out.

After `FREE_TRIES` failures an address waits, and each further failure doubles its wait up to `MOST_WAIT_SECONDS`. All
addresses together have `FREE_TRIES_TOGETHER`, then waits of at most `MOST_WAIT_TOGETHER_SECONDS`: whoever changes
address at every try gains little, and cannot shut the club out either. Times are seconds since 1970; a clock that was
set back never makes a wait longer than it was at first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

FREE_TRIES = 3
FIRST_WAIT_SECONDS = 2.0
MOST_WAIT_SECONDS = 900.0
FREE_TRIES_TOGETHER = 30
MOST_WAIT_TOGETHER_SECONDS = 30.0
FORGOTTEN_AFTER_SECONDS = 24 * 3600.0
TOGETHER = "all addresses"


@dataclass(frozen=True)
class Tries:
    """Failures in a row: how many, and when the last was (seconds since 1970)."""

    failures: int = 0
    last_at: float = 0.0

    def wait_seconds(self, free: int, longest: float) -> float:
        """How long the next try waits after the last one: 0, then 2, 4, 8, ... seconds, never above `longest`."""
        over = self.failures - free
        if over < 0:
            return 0.0
        return min(longest, FIRST_WAIT_SECONDS * 2.0 ** min(over, 30))

    def left_seconds(self, at: float, free: int, longest: float) -> float:
        """What is left of the wait at the instant `at`."""
        wait = self.wait_seconds(free, longest)
        return max(0.0, min(wait, self.last_at + wait - at))


def left_seconds(book: Mapping[str, Tries], address: str, at: float) -> float:
    """Seconds until `address` may try again; 0 if it may now."""
    own = book.get(address, Tries()).left_seconds(at, FREE_TRIES, MOST_WAIT_SECONDS)
    together = book.get(TOGETHER, Tries()).left_seconds(at, FREE_TRIES_TOGETHER, MOST_WAIT_TOGETHER_SECONDS)
    return max(own, together)


def failed(book: Mapping[str, Tries], address: str, at: float) -> dict[str, Tries]:
    """The book after one more failure of `address`; what is a day old is forgotten."""
    recent = {name: tries for name, tries in book.items() if abs(at - tries.last_at) < FORGOTTEN_AFTER_SECONDS}
    counted = {name: Tries(recent.get(name, Tries()).failures + 1, at) for name in (address, TOGETHER)}
    return recent | counted


def succeeded(book: Mapping[str, Tries], address: str) -> dict[str, Tries]:
    """The book after `address` got in: its failures are forgotten, and this try does not count for all together."""
    kept = {name: tries for name, tries in book.items() if name != address}
    together = kept.get(TOGETHER)
    if together is not None:
        kept[TOGETHER] = Tries(max(together.failures - 1, 0), together.last_at)
    return kept


def as_rows(book: Mapping[str, Tries]) -> dict[str, dict[str, float]]:
    """The book as JSON keeps it."""
    return {name: asdict(tries) for name, tries in book.items()}


def from_rows(rows: Mapping[str, Mapping[str, float]]) -> dict[str, Tries]:
    """The book as it was kept; raises KeyError, TypeError or ValueError for anything else."""
    return {name: Tries(int(row["failures"]), float(row["last_at"])) for name, row in rows.items()}
