"""Every number the model stands on: trade value, value in force with its band, source, since when, on what evidence.

In: Estimate. Out: a frame, one row a number. Bands are of 90 %: of fitted numbers by the curvature of the likelihood at
its optimum (Laplace), of multipliers learned by conjugate update by their gamma posterior given the rest. A number that
stands at its trade value has none.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from pipeline.wear import reference
from pipeline.wear.estimate import LIMIT_WORDS, Estimate
from pipeline.wear.history import SIGNS
from pipeline.wear.learning import LIMITS, MISHIT
from pipeline.wear.looks import GRADES, GROUPS, priors
from pipeline.wear.taken_out import TakenOut, taken_out

COLUMNS = (
    "name", "meaning", "unit", "trade_value", "value", "value_p05", "value_p95", "source", "is_assumption", "since",
    "evidence",
)  # fmt: skip
BAND = (0.05, 0.95)
Z = float(stats.norm.ppf(BAND[1]))
GRADE_WORDS = ("none", "slight", "clear", "severe")
LEARNED = "learned from this club's endings"
# least change of an inspection's multiplier that is listed
LEAST_CHANGE = 1e-6

Row = tuple[object, ...]
Band = tuple[float, float]
NO_BAND: Band = (float("nan"), float("nan"))


def parameters(e: Estimate) -> pd.DataFrame:
    """The numbers in force at this estimate's origin."""
    rows = [*_values(e), *_weights(e), *_materials(), *_learned(e), *_lives(e), *_looks(e)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame["since"] = pd.to_datetime(frame["since"])
    return frame


def evidence_of(e: Estimate, limit: str) -> str:
    """On what held-out weeks a limit was decided, in words; '' where it was never tried."""
    if e.kept.by_hand:
        return f"trade values by hand ({e.kept.by_hand})"
    for c in e.kept.evidence:
        if c.limit != limit:
            continue
        if not np.isfinite(c.gain):
            return f"trade value stays: too few endings by {LIMIT_WORDS[limit]} to hold weeks out"
        how = "better" if c.is_adopted else "no better, so the trade value stays"
        return (
            f"{c.weeks} held-out weeks, {c.endings:.0f} endings by {LIMIT_WORDS[limit]}: log score {c.fitted:.1f} with "
            f"fitted values, {c.trade:.1f} with trade values: {how}"
        )
    return ""


def _of_fit(e: Estimate, limit: str, name: str, value: float, is_log: bool = True) -> tuple[Band, object, str]:
    """Band, since and evidence of a fitted number; empty where the limit stands on trade values."""
    if limit not in e.fits:
        return NO_BAND, None, evidence_of(e, limit)
    spread = e.fits[limit].spreads.get(name)
    if spread is None:
        return NO_BAND, None, ""
    band = (
        (value * float(np.exp(-Z * spread)), value * float(np.exp(Z * spread)))
        if is_log
        else (value - Z * spread, value + Z * spread)
    )
    return band, e.kept.as_of, evidence_of(e, limit)


def _values(e: Estimate) -> list[Row]:
    shapes = e.learned.shapes
    rows: list[Row] = []
    effects = dict(shapes.bed_effects)
    # name in reference.VALUES -> rows of (added to the name, limit, name in the fit, value in force, on the log scale)
    fitted: dict[str, list[tuple[str, str, str, float, bool]]] = {
        "shape_breaks": [("", "breaks", "shape", shapes.shape_breaks, True)],
        "shape_goes_dead": [("", "goes_dead", "shape", shapes.shape_dead, True)],
        "prior_strength_player": [
            ("", "breaks", "strength", shapes.strength_breaks, True),
            (f", {LIMIT_WORDS['goes_dead']}", "goes_dead", "strength", shapes.strength_dead, True),
        ],
    }
    for name in ("gauge_exponent", "openness_exponent", "shaped_life"):
        trade, effect = reference.value(name), effects.get(name, 0.0)
        is_log = not name.endswith("exponent")
        fitted[name] = [("", "breaks", name, trade * float(np.exp(effect)) if is_log else trade + effect, is_log)]
    for v in reference.VALUES:
        if v.name == "mishit_hours":
            rows.append(_mishits(e, v))
            continue
        for added, limit, name, value, is_log in fitted.get(v.name, [("", "", "", v.value, True)]):
            band, since, evidence = _of_fit(e, limit, name, value, is_log) if limit else (NO_BAND, None, "")
            rows.append(
                (v.name + added, v.meaning + added, v.unit, v.value, value, *band, v.source, v.is_assumption, since,
                 evidence)
            )  # fmt: skip
    band, since, evidence = _of_fit(e, "goes_dead", "rest_scale", shapes.rest_scale)
    rows.append(
        ("rest_scale", "loss at rest against the reference of each material", "1", 1.0, shapes.rest_scale, *band,
         "assumption", True, since, evidence)
    )  # fmt: skip
    for limit, fit in e.fits.items():
        rows.append(
            (f"steepness, {LIMIT_WORDS[limit]}", "part of the fitted shape that forecasts are made with", "1", 1.0,
             fit.steepness, *NO_BAND, "chosen by the held-out weeks", False, e.kept.as_of, evidence_of(e, limit))
        )  # fmt: skip
    return rows


def _mishits(e: Estimate, trade: reference.Value) -> Row:
    """Hours of play to one mishit: gamma posterior of the rate, one mishit in the trade's hours as its prior."""
    count = float(e.learned.responsibility[:, MISHIT].sum())
    low, high = _gamma_band(e.learned.mishit_per_hour, 1.0 + count)
    return (
        trade.name, trade.meaning, trade.unit, trade.value, 1.0 / e.learned.mishit_per_hour, 1.0 / high, 1.0 / low,
        trade.source, trade.is_assumption, e.as_of, f"mishits: {count:.0f}",
    )  # fmt: skip


def _weights(e: Estimate) -> list[Row]:
    rows: list[Row] = []
    in_force = {(f, lv): (a, p) for f, lv, a, p in e.weights}
    for f, lv, *trade in reference.session_weight_rows():
        for i, (limit, towards) in enumerate((("breaks", "breaking"), ("goes_dead", "dead"))):
            value = in_force[f, lv][i]
            band, since, evidence = _of_fit(e, limit, f"{f} {lv}", value)
            rows.append(
                (f"{f} {lv}, towards {towards}", f"weight of an hour: {f} {lv}", "1", trade[i], value, *band,
                 reference.SESSION_WEIGHT_SOURCES[f], True, since, evidence)
            )  # fmt: skip
    return rows


def _materials() -> list[Row]:
    rows: list[Row] = []
    for material, m in reference.MATERIALS.items():
        for field, unit in (
            ("break_hours", "h"), ("dead_hours", "h"), ("rest_per_decade", "lives"), ("gauge_mm", "mm"),
        ):  # fmt: skip
            source, number = reference.MATERIAL_SOURCES[field], getattr(m, field)
            rows.append(
                (f"{material} {field}", f"{field.replace('_', ' ')} of {material}", unit, number, number, *NO_BAND,
                 source, source.startswith("assumption"), None, "")
            )  # fmt: skip
    return rows


def _gamma_band(value: float, endings: float) -> Band:
    """90 % band of a multiplier learned from so many endings (prior included), its mean at `value`."""
    low, high = stats.gamma.ppf(BAND, endings, scale=value / endings)
    return float(low), float(high)


def _learned(e: Estimate) -> list[Row]:
    """Families and levels, learned anew at every refresh."""
    h, learned = e.history, e.learned
    rows: list[Row] = []
    for limit in LIMITS:
        words = LIMIT_WORDS[limit]
        for i, (family, f) in enumerate(zip(h.families, learned.family[limit], strict=True)):
            own = float(learned.endings_family[limit][i]) if limit in learned.endings_family else 0.0
            spread = e.fits[limit].spreads.get(f"family {family}") if limit in e.fits else None
            band = (
                _gamma_band(float(f), learned.shapes.strength_family + own)
                if spread is None
                else (float(f * np.exp(-Z * spread)), float(f * np.exp(Z * spread)))
            )
            rows.append(
                (f"family {family}, {words}", "speed of this club's beds against the reference (hazard)", "1", 1.0,
                 float(f), *band, LEARNED, False, e.as_of, f"{own:.0f} endings by {words}")
            )  # fmt: skip
        level = learned.level[limit]
        band = _gamma_band(level.level, 1.0 / max(level.spread, 1e-6) ** 2)
        rows.append(
            (f"level now, {words}", "newest weeks against the whole history", "1", 1.0, level.level, *band, LEARNED,
             False, e.as_of, "")
        )  # fmt: skip
    return rows


def _lives(e: Estimate) -> list[Row]:
    """Median lives as learned, and whether they are corrected for restrings that follow wear."""
    found = taken_out(e.history, e.learned)
    told = said_of(found)
    rows: list[Row] = []
    for limit, field in (("breaks", "break_hours"), ("goes_dead", "dead_hours")):
        shape = e.learned.exposure.shape[limit]
        for family, f in zip(e.history.families, e.learned.family[limit], strict=True):
            material = reference.MATERIALS.get(family.split("/")[0], reference.MATERIALS["other"])
            trade = float(getattr(material, field))
            life = trade * float(f) ** (-1.0 / shape) * (found.life_factor(shape) if found else 1.0)
            rows.append(
                (f"life of {family}, {LIMIT_WORDS[limit]}", "reference hours at which half of such beds have ended",
                 "h", trade, life, *NO_BAND, LEARNED, False, e.as_of, told)
            )  # fmt: skip
    return rows


def said_of(found: TakenOut | None) -> str:
    """Whether lives are corrected for restrings that follow wear, in words; '' where too few were taken out to tell."""
    if found is None:
        return ""
    if found.is_in_force:
        return (
            f"corrected for restrings that follow wear: {100 * found.part:.0f} % of beds seem to be taken out at "
            f"{100 * found.at:.0f} % of their life ({found.endings} taken out)"
        )
    return f"not corrected: the {found.endings} beds taken out follow age and hours on file"


def _looks(e: Estimate) -> list[Row]:
    """What inspections say here, where any look has moved it from the trade's value."""
    rows: list[Row] = []
    for limit in LIMITS:
        trade, value = priors(limit), e.learned.looks[limit]
        for g, group in enumerate(GROUPS):
            for s, sign in enumerate(SIGNS):
                for grade in range(GRADES):
                    was, now = float(trade[g, s, grade]), float(value[g, s, grade])
                    if abs(now / was - 1.0) < LEAST_CHANGE:
                        continue
                    endings = float(e.learned.look_endings[limit][g, s, grade])
                    rows.append(
                        (f"{sign} {GRADE_WORDS[grade]} on {group} mains, {LIMIT_WORDS[limit]}",
                         "hazard after such a look against none", "1", was, now,
                         *_gamma_band(now, e.learned.shapes.look_prior + endings),
                         "assumption; order is common practice", True, e.as_of,
                         f"{endings:.1f} endings after such a look")
                    )  # fmt: skip
    return rows
