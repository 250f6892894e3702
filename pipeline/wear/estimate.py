"""From a club's facts to everything the model knows about it at one origin.

In: a connection with the clean tables attached as `facts`, and the origin. Out: Estimate, and the relations of
pipeline.sql in the connection. Shapes and weights are fitted where a limit has enough endings; a new club keeps the
trade values, and says so.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import date

import duckdb
import numpy as np

from pipeline.sql import WeightRow, run_relations, run_weighted
from pipeline.wear import fitting
from pipeline.wear.history import History, read_history
from pipeline.wear.learning import BREAKS, DEAD, UNKNOWN, Learned, Shapes, learn
from pipeline.wear.limits import break_features, lives_of
from pipeline.wear.reference import VALUES, session_weight_rows

ENOUGH_ENDINGS = 30
# a fit is made anew after so many new endings, or so large a part more, or so many days
ENOUGH_NEW = 10.0
NEW_PART = 0.03
MAX_AGE_DAYS = 28


@dataclass(frozen=True)
class Kept:
    """Fits made at an earlier origin, in force until enough is new. endings: how many there were, all limits
    together.
    """

    as_of: date
    endings: float
    fits: dict[str, fitting.Fit]

    def to_json(self) -> str:
        """As text, for the store."""
        rows = []
        for f in self.fits.values():
            row = asdict(f)
            row["family"] = [float(x) for x in f.family]
            row["weights"] = [[feature, level, w] for (feature, level), w in f.weights.items()]
            rows.append(row)
        return json.dumps({"as_of": self.as_of.isoformat(), "endings": self.endings, "fits": rows})

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
            return Kept(date.fromisoformat(made["as_of"]), float(made["endings"]), fits)
        except (KeyError, TypeError) as error:
            raise ValueError(f"The kept fit cannot be read ({error}); it is made anew at the next refresh.") from error

    def serves(self, as_of: date, endings: float) -> bool:
        """Whether it may stand at `as_of`: not from the future, at most MAX_AGE_DAYS old, little new since."""
        age = (as_of - self.as_of).days
        return 0 <= age <= MAX_AGE_DAYS and 0 <= endings - self.endings <= max(ENOUGH_NEW, NEW_PART * self.endings)


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
        if not self.fits:
            worn = count["breaks"] + count["goes_dead"]
            return f"Runs on trade values: {worn:.0f} endings from wear are on file, too few to learn from."
        own = " and ".join({"breaks": "breaking", "goes_dead": "going dead"}[f] for f in self.fits)
        told = f"{count['breaks']:.0f} breaks and {count['goes_dead']:.0f} complaints of lost feel"
        return f"Learned from this club's own {told}: {own}."


def estimate(
    con: duckdb.DuckDBPyConnection, as_of: date, is_fitting: bool = True, kept: Kept | None = None
) -> Estimate:
    """Run the relations as known on `as_of`, fit what the club can teach, learn the multipliers.

    is_fitting False keeps the trade values. kept: fits made before, used while little is new.
    """
    trade = tuple(session_weight_rows())
    weights = weights_of(kept.fits) if kept else trade
    run_relations(con, as_of, [(v.name, v.value) for v in VALUES], weights)
    history = read_history(con)
    endings = count_endings(history)
    if kept and kept.serves(as_of, endings):
        return Estimate(as_of, history, learn(history, shapes_of(kept.fits, Shapes())), weights, kept.fits, kept)
    if kept:
        run_weighted(con, trade)
        history = read_history(con)
    learned = learn(history)
    if not is_fitting:
        return Estimate(as_of, history, learned, trade, {}, Kept(as_of, endings, {}))
    fits = {}
    for limit, code in (("breaks", BREAKS), ("goes_dead", DEAD)):
        if float(learned.responsibility[:, code].sum()) >= ENOUGH_ENDINGS:
            fits[limit] = fitting.fit(problem_of(history, learned, limit))
    made = Kept(as_of, endings, fits)
    if not fits:
        return Estimate(as_of, history, learned, trade, {}, made)
    shapes, weights = shapes_of(fits, learned.shapes), weights_of(fits)
    run_weighted(con, weights)
    history = read_history(con)
    return Estimate(as_of, history, learn(history, shapes), weights, fits, made)


def count_endings(h: History) -> float:
    """Endings on file that may be wear's."""
    return float(np.isin(h.cause, (BREAKS, DEAD, UNKNOWN)).sum())


def problem_of(h: History, learned: Learned, limit: str) -> fitting.Problem:
    """The likelihood of one limit, given the causes and inspections as learned so far."""
    known = h.beds["is_string_known"].to_numpy(dtype=bool)
    trade, lives = Shapes(), lives_of(h.beds)
    if limit == "breaks":
        names, features = break_features(h.beds)
        counts, code = known & h.beds["teaches_abrasion"].to_numpy(dtype=bool), BREAKS
        base, rest = lives.break_hours, np.zeros(len(h.bed))
        shape, strength = trade.shape_breaks, trade.strength_breaks
    else:
        names, features = (), np.zeros((h.n_beds, 0))
        counts, code = known, DEAD
        base, rest = lives.dead_hours, lives.rest[h.bed] * np.log10(1.0 + h.age_hours)
        shape, strength = trade.shape_dead, trade.strength_dead
    return fitting.Problem(
        h, limit, base, rest, learned.factor[limit], learned.responsibility[:, code], counts.astype(float), features,
        names,
        shape, strength, trade.share_reporting, trade.strength_family, np.ones(len(h.day)),
    )  # fmt: skip


def shapes_of(fits: dict[str, fitting.Fit], base: Shapes) -> Shapes:
    """Shapes with the fitted numbers in place of the trade's."""
    if "breaks" in fits:
        f = fits["breaks"]
        base = replace(base, shape_breaks=f.shape, strength_breaks=f.strength, bed_effects=tuple(f.bed_effects.items()))
    if "goes_dead" in fits:
        f = fits["goes_dead"]
        base = replace(base, shape_dead=f.shape, strength_dead=f.strength, rest_scale=f.rest_scale)
    return base


def weights_of(fits: dict[str, fitting.Fit]) -> tuple[WeightRow, ...]:
    """Session weights with the fitted ones in place of the trade's."""
    abrasion = fits["breaks"].weights if "breaks" in fits else {}
    playability = fits["goes_dead"].weights if "goes_dead" in fits else {}
    return tuple(
        (f, lv, abrasion.get((f, lv), a), playability.get((f, lv), p)) for f, lv, a, p in session_weight_rows()
    )
