"""Which of a club's fitted values come into force: those that foretold the last weeks of its own history better.

In: History and what was learned with the trade values. Out: fits to go on with, by limit, and the evidence. Each limit
with enough endings is fitted to the history as it stood some weeks ago; those weeks are then forecast with the trade's
and with the fitted values. Only where the fitted win they are fitted anew to all the history, and adopted. A large club
is fitted, and the fit judged, on a part of its players (part_of_club.py).

Forecasts may be made with a less steep wear-out than the one fitted (`steepness`, a factor on the shape): hours that
are not exactly known and players who change blur the ageing of beds to come, and how much so, the same weeks choose.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.wear import fitting
from pipeline.wear.held_out import Comparison, endings_after, log_scores, reweighted, until, weeks_to_hold_out
from pipeline.wear.history import History
from pipeline.wear.learning import CODES, LIMITS, Learned, Shapes, learn, teaches
from pipeline.wear.limits import break_features, lives_of
from pipeline.wear.part_of_club import part_to_fit
from pipeline.wear.reference import session_weight_rows

WeightRow = tuple[str, str, float, float]

ENOUGH_ENDINGS = 30
# held out and before that, at least so many each: fewer would choose by chance
LEAST_HELD_OUT = 5.0
LEAST_BEFORE = 10.0
STEEPNESS = (1.0, 0.85, 0.7)


def adopt(h: History, learned: Learned) -> tuple[dict[str, fitting.Fit], tuple[Comparison, ...]]:
    """The fits to adopt by limit, and a comparison for every limit that had enough endings to be tried."""
    ended = {k: learned.responsibility[:, CODES[k]] for k in LIMITS}
    wanted = [k for k in LIMITS if float(ended[k].sum()) >= ENOUGH_ENDINGS]
    if not wanted:
        return {}, ()
    part = part_to_fit(h)
    if part is not h:
        learned = learn(part)
        ended = {k: learned.responsibility[:, CODES[k]] for k in LIMITS}
    found = compared(part, wanted, ended)
    fits = {}
    for one in found:
        if one.is_adopted:
            fits[one.limit] = replace(fitting.fit(problem_of(part, learned, one.limit)), steepness=one.steepness)
    return fits, found


def compared(h: History, limits: list[str], ended: dict[str, np.ndarray]) -> tuple[Comparison, ...]:
    """The last weeks forecast both ways, by limit. ended: limit -> (n_beds,) how far each bed ended by it."""
    weeks = weeks_to_hold_out(h)
    after = h.as_of_day - 7 * weeks
    held = {k: endings_after(h, after, ended[k]) for k in limits}
    tried = [
        k for k in limits if weeks and held[k] >= LEAST_HELD_OUT and float(ended[k].sum()) - held[k] >= LEAST_BEFORE
    ]
    none = [Comparison(k, weeks, held[k], float("nan"), float("nan"), 1.0) for k in limits if k not in tried]
    if not tried:
        return tuple(none)
    before = until(h, after)
    by_trade = learn(before)
    fits = {k: fitting.fit(problem_of(before, by_trade, k), has_spreads=False) for k in tried}
    trade = log_scores(h, by_trade, after, ended)
    weighed = reweighted(h, {row[:2]: row[2:] for row in weights_of(fits)})
    weighed_before = until(weighed, after)
    best: dict[str, tuple[float, float]] = {}
    for steepness in STEEPNESS:
        shapes = shapes_of({k: replace(f, steepness=steepness) for k, f in fits.items()}, Shapes())
        scores = log_scores(weighed, learn(weighed_before, shapes), after, ended)
        for k in tried:
            if k not in best or scores[k] > best[k][0]:
                best[k] = scores[k], steepness
    made = [Comparison(k, weeks, held[k], trade[k], *best[k]) for k in tried]
    return tuple(sorted([*made, *none], key=lambda one: LIMITS.index(one.limit)))


def problem_of(history: History, learned: Learned, limit: str) -> fitting.Problem:
    """The likelihood of one limit, given the causes and inspections as learned so far."""
    counts = teaches(history, limit)
    trade, lives = Shapes(), lives_of(history.beds)
    if limit == "breaks":
        names, features = break_features(history.beds)
        base, rest = lives.break_hours, np.zeros(len(history.bed))
        shape, strength = trade.shape_breaks, trade.strength_breaks
    else:
        names, features = (), np.zeros((history.n_beds, 0))
        base, rest = lives.dead_hours, lives.rest[history.bed] * np.log10(1.0 + history.age_hours)
        shape, strength = trade.shape_dead, trade.strength_dead
    return fitting.Problem(
        history, limit, base, rest, learned.factor[limit], learned.responsibility[:, CODES[limit]],
        counts.astype(float), learned.outlasted, features, names, shape, strength, trade.share_reporting,
        trade.strength_family, trade.strength_racket,
    )  # fmt: skip


def shapes_of(fits: dict[str, fitting.Fit], base: Shapes) -> Shapes:
    """Shapes with the fitted numbers in place of the trade's."""
    if "breaks" in fits:
        f = fits["breaks"]
        base = replace(
            base,
            shape_breaks=f.shape * f.steepness,
            strength_breaks=f.strength,
            bed_effects=tuple(f.bed_effects.items()),
        )
    if "goes_dead" in fits:
        f = fits["goes_dead"]
        base = replace(base, shape_dead=f.shape * f.steepness, strength_dead=f.strength, rest_scale=f.rest_scale)
    return base


def weights_of(fits: dict[str, fitting.Fit]) -> tuple[WeightRow, ...]:
    """Session weights with the fitted ones in place of the trade's."""
    abrasion = fits["breaks"].weights if "breaks" in fits else {}
    playability = fits["goes_dead"].weights if "goes_dead" in fits else {}
    return tuple(
        (f, lv, abrasion.get((f, lv), a), playability.get((f, lv), p)) for f, lv, a, p in session_weight_rows()
    )
