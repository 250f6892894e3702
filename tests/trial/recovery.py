"""Does the fit find what was put in? Clubs simulated from the model itself, truths drawn from the fitting priors.

`python -m tests.trial.recovery` prints, by kind of number, how often the 90 % band holds the truth, pooled over 40
clubs, beside what chance allows (binomial), and how far off the middle is. The law of the simulation is the model's:
each racket's sessions add abrasion and playability hours by kind of play; a bed ends when its cumulative hazard passes
an exponential threshold; multipliers of family, player and racket are gamma; some players never report lost feel;
mishits, scheduled restrings and endings without a reason are in it. Inspections are not: nobody looks in these clubs.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from pipeline.wear import fitting
from pipeline.wear.adoption import problem_of
from pipeline.wear.held_out import reweighted
from pipeline.wear.history import History, Play
from pipeline.wear.learning import LIMITS, learn
from pipeline.wear.limits import LN2, break_features, lives_of
from pipeline.wear.reference import SESSION_WEIGHTS, session_weight_rows, value
from tests.wear.hand_made import Bed, history

BAND = 0.90
Z = float(stats.norm.ppf(0.5 + BAND / 2.0))
STRINGS = (  # mains, crosses, gauge of the mains, profile
    ("polyester", "polyester", 1.20, "round"),
    ("polyester", "polyester", 1.30, "shaped"),
    ("multifilament", "multifilament", 1.30, "round"),
    ("synthetic_gut", "synthetic_gut", 1.25, "round"),
)
TRADE = {(f, level): (a, p) for f, level, a, p in session_weight_rows()}


@dataclass(frozen=True)
class Truth:
    """One limit's numbers as put in: by the names of `fitting.names_of`, on the scale of the fit (log, effects as they
    are)."""

    numbers: dict[str, float]

    def of(self, name: str) -> float:
        return self.numbers[name]


def draw_truth(rng: np.random.Generator, limit: str) -> Truth:
    """From the priors that the fit itself holds."""
    spread = fitting.SPREAD
    out = {
        "shape": np.log(value("shape_breaks" if limit == "breaks" else "shape_goes_dead"))
        + spread["shape"] * rng.normal(),
        "strength": np.log(value("prior_strength_player")) + spread["strength"] * rng.normal(),
        "rest_scale": spread["rest"] * rng.normal(),
    }
    s = value("prior_strength_family")
    for family in dict.fromkeys(f"{m}/{c}" for m, c, _, _ in STRINGS):
        out[f"family {family}"] = float(np.log(rng.gamma(s, 1.0 / s)))
    for (feature, level), pair in TRADE.items():
        is_free = level not in fitting.REFERENCE_LEVELS[feature] and not (
            limit == "goes_dead" and feature in ("surface", "spin")
        )
        trade = np.log(pair[0 if limit == "breaks" else 1])
        out[f"{feature} {level}"] = trade + (spread["weight"] * rng.normal() if is_free else 0.0)
    for name in ("gauge_exponent", "openness_exponent", "shaped_life"):
        wide = spread["exponent"] if name.endswith("exponent") else spread["ratio"]
        out[name] = wide * rng.normal() if limit == "breaks" else 0.0
    return Truth(out)


def simulate_club(
    rng: np.random.Generator, truth: dict[str, Truth], count_players: int = 36, span_days: int = 480
) -> History:
    """A club of the model's own law. Every player has two rackets and plays some four times a week."""
    beds: list[Bed] = []
    kinds: list[list[tuple[float, dict[str, str]]]] = []
    lives = _lives(truth["breaks"])
    theta = {k: rng.gamma(a, 1.0 / a, count_players) for k in LIMITS for a in [np.exp(truth[k].of("strength"))]}
    reports = rng.random(count_players) < value("share_reporting")
    racket_strength = value("prior_strength_racket")
    for i in range(count_players):
        level = str(rng.choice(list(SESSION_WEIGHTS["level"])))
        spin = str(rng.choice(list(SESSION_WEIGHTS["spin"])))
        string = int(rng.integers(len(STRINGS)))
        for r in range(2):
            own = rng.gamma(racket_strength, 1.0 / racket_strength)
            days = np.flatnonzero(rng.random(span_days) < 0.3) + 1
            at = 0
            strung = 0
            while at < len(days):
                bed, played, at, strung = _one_bed(
                    rng, truth, lives[string], f"P{i}", f"R{i}-{r}", string, (level, spin), days, at, strung, span_days,
                    {k: own * theta[k][i] for k in LIMITS}, bool(reports[i]),
                )  # fmt: skip
                beds.append(bed)
                kinds.append(played)
                if bed.cause == "none":
                    break
    return _as_history(beds, kinds, span_days)


def _lives(truth: Truth) -> list[tuple[float, float, float]]:
    """Life to breaking with the true effects, life to dead and rest, by string."""
    out = []
    for mains, crosses, gauge, profile in STRINGS:
        frame = history([Bed(mains=mains, crosses=crosses, gauge_mm=gauge, profile=profile)]).beds
        names, _ = break_features(frame)
        made = lives_of(frame, {n: truth.of(n) for n in names})
        out.append((float(made.break_hours[0]), float(made.dead_hours[0]), float(made.rest[0])))
    return out


def _one_bed(
    rng: np.random.Generator,
    truth: dict[str, Truth],
    life: tuple[float, float, float],
    player: str,
    racket: str,
    string: int,
    kind: tuple[str, str],
    days: np.ndarray,
    at: int,
    strung: int,
    span_days: int,
    multiplier: dict[str, float],
    is_reporting: bool,
) -> tuple[Bed, list[tuple[float, dict[str, str]]], int, int]:
    """From `strung` until it ends or the span does: the bed, its sessions, where the next one starts."""
    mains, crosses, gauge, profile = STRINGS[string]
    ahead = days[at:]
    hours = rng.uniform(0.6, 2.0, len(ahead))
    names = {f: rng.choice(list(SESSION_WEIGHTS[f]), len(ahead)) for f in ("activity", "intensity", "surface")}
    names |= {"level": np.full(len(ahead), kind[0]), "spin": np.full(len(ahead), kind[1])}
    x = {}
    for j, limit in enumerate(LIMITS):
        t = truth[limit]
        log_weight = sum(np.array([t.of(f"{f} {n}") for n in levels]) for f, levels in names.items())
        x[limit] = np.cumsum(hours * np.exp(log_weight)) / life[j]
    x["goes_dead"] += (
        np.exp(truth["goes_dead"].of("rest_scale")) * life[2] * np.log10(1.0 + (ahead - strung) * 24.0 + 12.0)
    )
    ends: list[tuple[float, str]] = []  # session, with how far into it the bed lasted
    for limit in LIMITS:
        t = truth[limit]
        f = np.exp(t.of(f"family {mains}/{crosses}"))
        z = LN2 * np.power(x[limit], np.exp(t.of("shape"))) * f * multiplier[limit]
        if limit == "breaks" or is_reporting:
            ends.append((_reached(z, rng.exponential()), limit))
    ends.append((_reached(np.cumsum(hours), rng.exponential(2000.0)), "mishit"))
    # taken out when the play of that day is over
    ends.append((np.searchsorted(ahead, strung + rng.exponential(250.0)) + 1.0 - 1e-9, "other"))
    at_session, cause = min(ends)
    last = int(min(at_session, len(ahead) - 1.0))
    if at_session >= len(ahead):
        cause = "none"
    elif rng.random() < 0.1:
        cause = "unknown"
    n = last + 1
    bed = Bed(
        player, cause, tuple(ahead[:n]), tuple(np.cumsum(hours[:n])), strung=strung, mains=mains, crosses=crosses,
        gauge_mm=gauge, profile=profile, racket=racket, teaches_abrasion=cause != "mishit",
    )  # fmt: skip
    played = [(float(hours[i]), {f: str(v[i]) for f, v in names.items()}) for i in range(n)]
    return bed, played, at + n, int(ahead[last])


def _reached(so_far: np.ndarray, threshold: float) -> float:
    """Where a running sum reaches a threshold: the session, and how far into it, as one number."""
    return float(np.interp(threshold, np.concatenate([[0.0], so_far]), np.arange(len(so_far) + 1.0), right=np.inf))


def _as_history(beds: list[Bed], kinds: list[list[tuple[float, dict[str, str]]]], span_days: int) -> History:
    h = history(beds, as_of=span_days)
    rows = [row for played in kinds for row in played]
    levels = {f: pd.Categorical([row[1][f] for row in rows]) for f in SESSION_WEIGHTS}
    play = Play(np.arange(len(rows)), np.array([row[0] for row in rows]), levels)
    return reweighted(replace(h, play=play), TRADE)


def kind_of(name: str) -> str:
    """shape, strength, rest, family, weight or string: what a number is."""
    if name in ("shape", "strength"):
        return name
    if name == "rest_scale":
        return "rest"
    if name.startswith("family "):
        return "family"
    return "string" if name in ("gauge_exponent", "openness_exponent", "shaped_life") else "weight"


def recover(seed: int, count_players: int = 36, span_days: int = 480) -> pd.DataFrame:
    """One club: a row a learned number, with its truth, its estimate and its spread on the scale of the fit."""
    rng = np.random.default_rng(seed)
    truth = {limit: draw_truth(rng, limit) for limit in LIMITS}
    h = simulate_club(rng, truth, count_players, span_days)
    learned = learn(h)
    fits = {limit: fitting.fit(problem_of(h, learned, limit)) for limit in LIMITS}
    rows = []
    for limit, fit in fits.items():
        found = fitted_numbers(fit, h)
        for name, middle in found.items():
            if limit == "breaks" and name == "rest_scale":
                continue  # breaking knows no rest
            if name == "openness_exponent":
                continue  # every frame here has the reference pattern
            rows.append((seed, limit, kind_of(name), name, truth[limit].of(name), middle, fit.spreads[name]))
    frame = pd.DataFrame(rows, columns=["club", "limit", "kind", "name", "truth", "estimate", "spread"])
    frame["score"] = (frame["estimate"] - frame["truth"]) / frame["spread"]
    frame["is_inside"] = frame["score"].abs() <= Z
    frame["endings"] = frame["limit"].map({k: f.endings for k, f in fits.items()})
    return frame


def fitted_numbers(fit: fitting.Fit, h: History) -> dict[str, float]:
    """A fit's numbers by name, on the scale of the fit."""
    out = {"shape": np.log(fit.shape), "strength": np.log(fit.strength), "rest_scale": np.log(fit.rest_scale)}
    out |= {f"family {name}": float(np.log(f)) for name, f in zip(h.families, fit.family, strict=True)}
    out |= {f"{feature} {level}": float(np.log(w)) for (feature, level), w in fit.weights.items()}
    return out | fit.bed_effects


def allowed(n: int, chance: float = 0.001) -> tuple[float, float]:
    """Shares of n bands that hold the truth which chance alone allows where each holds it with 90 %."""
    return float(stats.binom.ppf(chance / 2, n, BAND) / n), float(stats.binom.ppf(1 - chance / 2, n, BAND) / n)


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """By limit and kind, and all: bands, share that holds the truth, what chance allows, bias and width in spreads."""
    parts = [(f"{limit}, {kind}", part) for (limit, kind), part in rows.groupby(["limit", "kind"])]
    parts += [("all shapes", rows[rows["kind"] == "shape"]), ("all weights", rows[rows["kind"] == "weight"])]
    parts.append(("all", rows))
    lines = []
    for name, part in parts:
        low, high = allowed(len(part))
        lines.append((name, len(part), part["is_inside"].mean(), low, high, part["score"].mean(), part["score"].std()))
    columns = ["numbers", "bands", "hold the truth", "least", "most", "mean off (spreads)", "sd of that"]
    return pd.DataFrame(lines, columns=columns)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.trial.recovery", description=__doc__.splitlines()[0])
    parser.add_argument("--clubs", type=int, default=40)
    parser.add_argument("--players", type=int, default=36)
    parser.add_argument("--days", type=int, default=480)
    parser.add_argument("--seed", type=int, default=1000)
    options = parser.parse_args(arguments)
    rows = pd.concat([recover(options.seed + i, options.players, options.days) for i in range(options.clubs)])
    endings = rows.groupby(["club", "limit"])["endings"].first().groupby("limit").median()
    print(
        f"{options.clubs} clubs of {options.players} players over {options.days} days; median endings a club: ", end=""
    )
    print(", ".join(f"{limit} {count:.0f}" for limit, count in endings.items()))
    print(summary(rows).round(3).to_string(index=False))
    return 0


if __name__ == "__main__":
    sys.exit(main())
