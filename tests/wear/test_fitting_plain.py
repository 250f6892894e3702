"""The likelihood that is fitted against plain loops; when a fit is tried; kept fits at their edges.

Source: the module's description, worked out anew in loops; test_nested holds the two levels against SciPy.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from pipeline.wear import adoption, fitting
from pipeline.wear.adoption import problem_of
from pipeline.wear.estimate import ENOUGH_NEW, MAX_AGE_DAYS, NEW_PART, Kept, trade_by_hand
from pipeline.wear.held_out import Comparison
from pipeline.wear.history import History
from pipeline.wear.learning import learn
from pipeline.wear.nested import marginal
from tests.wear.hand_made import Bed, history
from tests.wear.test_fitting import mixed_history


def with_nobodys_beds() -> History:
    """Two rackets of nobody, each with beds: each is as if it had a player of its own."""
    h = mixed_history()
    nobody = np.isin(h.player, [2, 5])
    racket = np.where(np.arange(h.n_beds) % 3 == 0, h.racket + 10, h.racket)
    return replace(h, player=np.where(nobody, -1, h.player), racket=racket)


def plainly(v: np.ndarray, p: fitting.Problem) -> float:
    """Negative penalised log marginal likelihood, in loops."""
    h, at = p.h, fitting._Layout(p)
    shape, strength, rest = (math.exp(x) for x in v[:3])
    names = fitting.names_of(p, at)
    value = dict(zip(names, v, strict=True))
    bed_effects = [value[name] for name in p.bed_feature_names]
    log_like = 0.0
    groups: dict[tuple[int, int], list[float]] = {}
    for i in range(h.n_beds):
        steps = range(h.first[i], h.last[i] + 1)
        life = p.base_life[i] * math.exp(sum(e * f for e, f in zip(bed_effects, p.bed_features[i], strict=True)))
        log_f = value[f"family {h.families[max(h.family[i], 0)]}"]
        played, start, before = 0.0, steps[-1], 0.0
        for s in steps:
            start = s if h.hours[s] > before else start
            before = h.hours[s]
        z, hazard = [], 0.0
        for s in steps:
            for row in np.flatnonzero(h.play.step == s):
                log_w = 0.0
                for feature in h.play.levels:
                    level = str(h.play.levels[feature][row])
                    if f"{feature} {level}" in value:
                        log_w += value[f"{feature} {level}"]
                    else:
                        log_w += held(p, feature, level)
                played += h.play.hours[row] * math.exp(log_w)
            x = max(played / life + rest * p.rest_log[s], 1e-9)
            z.append(math.log(2.0) * x**shape)
            dz = z[-1] - (z[-2] if len(z) > 1 else 0.0)
            hazard += p.multiplier[s] * dz * (p.outlasted[i] if s >= start else 1.0)
        ended = p.ended[i] * p.counts[i]
        n = start - steps[0]
        added = max(z[-1] - (z[n - 1] if n else 0.0), fitting.LEAST_ADDED)
        log_like += ended * (log_f + math.log(p.multiplier[steps[-1]] * added))
        owner = int(h.player[i]) if h.player[i] >= 0 else 1000 + int(h.racket[i])
        group = groups.setdefault((owner, int(h.racket[i])), [0.0, 0.0])
        group[0] += ended
        group[1] += hazard * p.counts[i] * math.exp(log_f)
    for owner in sorted({o for o, _ in groups}):
        mine = [g for (o, _), g in sorted(groups.items()) if o == owner]
        endings, hazards = np.array([g[0] for g in mine]), np.array([g[1] for g in mine])
        one = marginal(endings, hazards, np.zeros(len(mine), dtype=np.int64), 1, strength, p.strength_racket)
        full = float(one.log_like[0])
        if p.limit == "goes_dead" and endings.sum() < 0.5:
            full = math.log(p.share_reporting * math.exp(min(full, 0.0)) + 1.0 - p.share_reporting)
        log_like += full
    spread = fitting.SPREAD
    penalty = 0.5 * ((v[0] - math.log(p.trade_shape)) / spread["shape"]) ** 2
    penalty += 0.5 * ((v[1] - math.log(p.trade_strength)) / spread["strength"]) ** 2
    penalty += 0.5 * (v[2] / spread["rest"]) ** 2
    for name in h.families:
        penalty -= p.strength_family * (value[f"family {name}"] - math.exp(value[f"family {name}"]))
    for (feature, level), trade in zip(at.weight_keys, at.trade_weights, strict=True):
        penalty += 0.5 * ((value[f"{feature} {level}"] - trade) / spread["weight"]) ** 2
    for name in p.bed_feature_names:
        penalty += 0.5 * (value[name] / spread["exponent" if name.endswith("exponent") else "ratio"]) ** 2
    return -(log_like - penalty)


def held(p: fitting.Problem, feature: str, level: str) -> float:
    """Log of the trade's weight of a level that is not fitted."""
    from pipeline.wear.reference import SESSION_WEIGHTS

    pair = SESSION_WEIGHTS[feature].get(level)
    return 0.0 if pair is None else math.log(pair[0 if p.limit == "breaks" else 1])


@pytest.mark.parametrize("limit", ["breaks", "goes_dead"])
def test_the_likelihood_is_that_of_plain_loops(limit: str) -> None:
    h = with_nobodys_beds()
    p = problem_of(h, learn(h), limit)
    at = fitting._Layout(p)
    assert at.n_players > len(set(h.player[h.player >= 0])) + 1 and at.n_rackets > at.n_players
    rng = np.random.default_rng(2)
    for _ in range(3):
        v = rng.normal(0.0, 0.2, at.size)
        v[0] += 0.7
        v[1] += 1.5
        assert fitting.objective(v, p, at)[0] == pytest.approx(plainly(v, p), rel=1e-9)


@pytest.mark.parametrize(("before", "after", "is_tried"), [(10, 5, True), (9, 6, False), (11, 4, False), (10, 6, True)])
def test_ten_endings_before_and_five_in_the_weeks_held_out_are_needed(
    monkeypatch: pytest.MonkeyPatch, before: int, after: int, is_tried: bool
) -> None:
    """Four weeks held out of 100 days: an ending on day 72 is before, one on day 73 within."""
    beds = [
        Bed(f"P{n}", "breaks", (40, 72 if n < before else 73), (8.0, 14.0), strung=30) for n in range(before + after)
    ]
    h = history(beds, 100)
    monkeypatch.setattr(adoption, "weeks_to_hold_out", lambda h: 4)
    (found,) = adoption.compared(h, ["breaks"], {"breaks": np.ones(h.n_beds), "goes_dead": np.zeros(h.n_beds)})
    assert (found.limit, found.weeks, found.endings) == ("breaks", 4, after)
    assert (found.trade == found.trade) == is_tried


def test_a_kept_fit_stands_up_to_its_edges_and_no_further() -> None:
    """Ten endings more of a club with few, three in a hundred more of one with many; 28 days; nothing of the past."""
    day = date(2026, 3, 1)
    few, many = Kept(day, 100.0, {}), Kept(day, 1000.0, {})
    assert (ENOUGH_NEW, NEW_PART, MAX_AGE_DAYS) == (10.0, 0.03, 28)
    assert few.serves(day, 110.0) and not few.serves(day, 110.5)
    assert many.serves(day, 1030.0) and not many.serves(day, 1031.0)
    assert few.serves(day + timedelta(days=28), 100.0) and not few.serves(day + timedelta(days=29), 100.0)
    assert not few.serves(day - timedelta(days=1), 100.0)
    assert not few.serves(day, 99.0)  # a record was taken back
    assert trade_by_hand(day, "the coach").serves(day - timedelta(days=900), 1e9)


def test_mishits_come_at_one_in_two_thousand_hours_before_any_is_on_file() -> None:
    """Three mishits in 60 hours: (1 + 3) / (2000 + 60)."""
    beds = [Bed("P1", "mishit", (10,), (20.0,)) for _ in range(3)]
    assert learn(history(beds)).mishit_per_hour == pytest.approx(4.0 / 2060.0)
    assert learn(history([Bed("P1", "none", (10,), (20.0,))])).mishit_per_hour == pytest.approx(1.0 / 2020.0)


def test_what_a_limit_was_decided_on_comes_back_from_text_with_its_numbers() -> None:
    """A score that was never worked out is not a number, which JSON has no word for (RFC 8259, section 6)."""
    seen = Comparison("breaks", 4, 5.0, -12.25, -11.5, 0.85)
    never = Comparison("goes_dead", 4, 1.0, math.nan, math.nan, 1.0)
    again = Kept.from_json(Kept(date(2026, 3, 1), 6.0, {}, (seen, never)).to_json())
    assert again.evidence[0] == seen
    assert (again.evidence[1].endings, again.evidence[1].limit) == (1.0, "goes_dead")
    assert math.isnan(again.evidence[1].trade) and math.isnan(again.evidence[1].fitted)
