"""From a club's facts to everything the model knows about it at one origin.

In: a connection with the clean tables attached as `facts`, and the origin. Out: Estimate, and the relations of
pipeline.sql in the connection. Shapes and weights are fitted where a limit has enough endings, and adopted where
held-out weeks are forecast better; a new club keeps the trade values, and says so.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import duckdb
import numpy as np

from pipeline.sql import WeightRow, run_relations, run_weighted
from pipeline.store.memory import bound_relations
from pipeline.wear import fitting
from pipeline.wear.adoption import adopt, shapes_of, weights_of
from pipeline.wear.held_out import Comparison
from pipeline.wear.history import History, read_history
from pipeline.wear.learning import BREAKS, DEAD, UNKNOWN, Learned, Shapes, learn
from pipeline.wear.part_of_club import MOST_ENDINGS
from pipeline.wear.reference import VALUES, session_weight_rows

# a fit is made anew after so many new endings, or so large a part more, or so many days
ENOUGH_NEW = 10.0
NEW_PART = 0.03
MAX_AGE_DAYS = 28
LEAST_PART = 0.9  # fits to fewer of a limit's endings were made on a part of the players
LIMIT_WORDS = {"breaks": "breaking", "goes_dead": "going dead"}


@dataclass(frozen=True)
class Kept:
    """Fits made at an earlier origin, in force until enough is new. endings: how many there were, all limits
    together. evidence: the held-out weeks on which each limit was decided. by_hand: who chose the trade values, if
    anybody did; then there are no fits, and they stay so.
    """

    as_of: date
    endings: float
    fits: dict[str, fitting.Fit]
    evidence: tuple[Comparison, ...] = ()
    by_hand: str = ""

    def to_json(self) -> str:
        """As text, for the store."""
        rows = []
        for f in self.fits.values():
            row = asdict(f)
            row["family"] = [float(x) for x in f.family]
            row["weights"] = [[feature, level, w] for (feature, level), w in f.weights.items()]
            rows.append(row)
        evidence = [{k: None if v != v else v for k, v in asdict(c).items()} for c in self.evidence]
        return json.dumps(
            {
                "as_of": self.as_of.isoformat(),
                "endings": self.endings,
                "fits": rows,
                "evidence": evidence,
                "by_hand": self.by_hand,
            },
            allow_nan=False,
        )

    @staticmethod
    def from_json(text: str) -> Kept:
        """Back from text. Raises ValueError where the text is not one that to_json made."""
        try:
            made = json.loads(text)
            fits = {}
            for row in made["fits"]:
                row["family"] = np.array(row["family"])
                row["weights"] = {(feature, level): w for feature, level, w in row["weights"]}
                fits[row["limit"]] = fitting.Fit(**row)
                if not fits[row["limit"]].spreads:
                    raise KeyError("spreads")
            evidence = tuple(Comparison(**_with_nan(row)) for row in made["evidence"])
            return Kept(date.fromisoformat(made["as_of"]), float(made["endings"]), fits, evidence, made["by_hand"])
        except (KeyError, TypeError) as error:
            raise ValueError(f"The kept fit cannot be read ({error}); it is made anew at the next refresh.") from error

    def serves(self, as_of: date, endings: float) -> bool:
        """Whether it may stand at `as_of`: chosen by hand, or not from the future, at most MAX_AGE_DAYS old, little
        new since."""
        if self.by_hand:
            return True
        age = (as_of - self.as_of).days
        return 0 <= age <= MAX_AGE_DAYS and 0 <= endings - self.endings <= max(ENOUGH_NEW, NEW_PART * self.endings)


def _with_nan(row: dict[str, Any]) -> dict[str, Any]:
    """A comparison's cells back from JSON, which has no NaN."""
    return {name: math.nan if cell is None else cell for name, cell in row.items()}


def trade_by_hand(since: date, by: str) -> Kept:
    """Trade values, chosen by a person: they stand whatever is new."""
    return Kept(since, 0.0, {}, (), by)


@dataclass(frozen=True)
class Estimate:
    """history and learned as they stand; weights as in force; fits by limit where the club had enough endings;
    kept: what the next refresh may go on with."""

    as_of: date
    history: History
    learned: Learned
    weights: tuple[WeightRow, ...]
    fits: dict[str, fitting.Fit]
    kept: Kept

    @property
    def sentence(self) -> str:
        """Whose numbers are in force, in words."""
        ended = self.learned.responsibility
        count = {
            limit: float(ended[:, code].sum()) if len(ended) else 0.0
            for limit, code in (("breaks", BREAKS), ("goes_dead", DEAD))
        }
        worn = count["breaks"] + count["goes_dead"]
        if self.kept.by_hand:
            return f"Runs on trade values by hand, since {self.kept.as_of} ({self.kept.by_hand}); run learn to go back."
        if not self.fits and not self.kept.evidence:
            return f"Runs on trade values: {worn:.0f} endings from wear are on file, too few to learn from."
        told = f"{count['breaks']:.0f} breaks and {count['goes_dead']:.0f} complaints of lost feel"
        if not self.fits:
            return f"Runs on trade values: this club's own {told} do not yet forecast its held-out weeks better."
        own = " and ".join(LIMIT_WORDS[f] for f in self.fits)
        fitted = sum(f.endings for f in self.fits.values())
        if worn > MOST_ENDINGS and fitted < LEAST_PART * sum(count[limit] for limit in self.fits):
            own += f" (fitted to {fitted:.0f} of them, those of players drawn by lot)"
        rest = [LIMIT_WORDS[k] for k in LIMIT_WORDS if k not in self.fits]
        return f"Learned from this club's own {told}: {own}." + (f" Trade values: {rest[0]}." if rest else "")


def estimate(
    con: duckdb.DuckDBPyConnection, as_of: date, is_fitting: bool = True, kept: Kept | None = None
) -> Estimate:
    """Run the relations as known on `as_of`, fit what the club can teach, learn the multipliers.

    is_fitting False keeps the trade values. kept: fits made before, used while little is new.
    """
    trade = tuple(session_weight_rows())
    weights = weights_of(kept.fits) if kept else trade
    bound_relations(con, is_building=True)
    run_relations(con, as_of, [(v.name, v.value) for v in VALUES], weights)
    history = _read(con)
    endings = count_endings(history)
    if kept and kept.serves(as_of, endings):
        return Estimate(as_of, history, learn(history, shapes_of(kept.fits, Shapes())), weights, kept.fits, kept)
    if kept:
        _run_weighted(con, trade)
        history = _read(con)
    learned = learn(history)
    if not is_fitting:
        return Estimate(as_of, history, learned, trade, {}, Kept(as_of, endings, {}))
    fits, evidence = adopt(history, learned)
    made = Kept(as_of, endings, fits, evidence)
    if not fits:
        return Estimate(as_of, history, learned, trade, {}, made)
    shapes, weights = shapes_of(fits, learned.shapes), weights_of(fits)
    del learned, history  # a large club's are as large again as what comes of them
    _run_weighted(con, weights)
    history = _read(con)
    return Estimate(as_of, history, learn(history, shapes), weights, fits, made)


def _read(con: duckdb.DuckDBPyConnection) -> History:
    """The history in arrays; from then on the relations of a large club wait on the disk until they are asked for."""
    history = read_history(con)
    bound_relations(con, is_building=False)
    return history


def _run_weighted(con: duckdb.DuckDBPyConnection, weights: Iterable[WeightRow]) -> None:
    bound_relations(con, is_building=True)
    run_weighted(con, weights)


def count_endings(h: History) -> float:
    """Endings on file that may be wear's."""
    return float(np.isin(h.cause, (BREAKS, DEAD, UNKNOWN)).sum())
