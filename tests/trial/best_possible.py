"""The best that any forecast could do on a club: its hidden state at an origin in, probabilities and draws out.

The club is simulated up to the origin, then lived on many times from there with other chances (play, wear, what is
said, what is handed in); the share of those futures in which a bed ends is its probability. Knows every bed's true
state, every player's true nature and who joins or leaves when; does not know what chance will bring. Its score bounds
the product's from above, but for its own noise: n futures give a probability a standard error of up to 0.5 / sqrt(n).
Only for clubs of the trial's own generators, by name, kind and seed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pandas as pd

from tests.trial import club_compartment, club_fatigue, club_strands, club_strokes
from tests.trial.harness import Forecaster
from tests.trial.kinds import settings
from tests.trial.records import POSITIVE_CAUSES

BUILDERS: dict[str, Callable[..., Any]] = {
    "fatigue": club_fatigue.build,
    "compartment": club_compartment.build,
    "strokes": club_strokes.build,
    "strands": club_strands.build,
}
RECORDING_ONLY = {"share_without_racket", "share_unlogged", "share_unknown_reason", "units", "only_required"}


class Simulation(Protocol):
    today: date

    def advance_to(self, last_day: date) -> None: ...

    def all_endings(self) -> list[Any]: ...

    def fork(self, rng: np.random.Generator) -> Simulation: ...


class BestPossible:
    """Futures of a club from one origin, asked like a snapshot of the product."""

    def __init__(self, simulation: Simulation, origin: date, futures: int, weeks: int = 4) -> None:
        self.origin = origin
        self.futures: list[list[dict[str, Any]]] = []
        for n in range(futures):
            other = simulation.fork(np.random.default_rng([n, origin.toordinal()]))
            other.advance_to(origin + timedelta(days=7 * weeks))
            self.futures.append(other.all_endings())

    def rank(self, days: int) -> pd.DataFrame:
        until = self.origin + timedelta(days=days)
        counts: dict[str, int] = {}
        for ends in self.futures:
            for bed in (e for e in ends if e["strung_on"] <= self.origin):
                is_end = bed["true_cause"] in POSITIVE_CAUSES and self.origin < bed["ended_on"] <= until
                counts[bed["racket_id"]] = counts.get(bed["racket_id"], 0) + is_end
        return pd.DataFrame({"racket_id": list(counts), "p_end": [n / len(self.futures) for n in counts.values()]})

    def forecast_draws(self, weeks: int, draws: int, seed: int) -> np.ndarray:
        """The futures' own counts, each as often as it takes to make up the draws asked for."""
        edges = [self.origin + timedelta(days=7 * w) for w in range(weeks + 1)]
        strung = [[e["restrung_on"] for e in ends if e.get("restrung_on")] for ends in self.futures]
        counts = [[sum(a < day <= b for day in days) for a, b in pairwise(edges)] for days in strung]
        return np.resize(np.array(counts), (draws, weeks))


def best_opener(generator: str, kind: str, seed: int, futures: int) -> Callable[[Path], Any]:
    """An `open_club` for the harness; its origins must be asked for in order of time."""

    @contextmanager
    def open_club(folder: Path) -> Iterator[Callable[[date], Forecaster]]:
        wanted = {k: v for k, v in settings(generator, kind).items() if k not in RECORDING_ONLY}
        simulation = BUILDERS[generator](seed, **wanted)

        def at(origin: date) -> Forecaster:
            if simulation.today > origin:
                raise ValueError(f"the club has lived past {origin}; ask for origins in order of time")
            simulation.advance_to(origin)
            return BestPossible(simulation, origin, futures)

        yield at

    return open_club
