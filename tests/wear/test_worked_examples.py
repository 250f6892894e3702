"""The wear model worked out by hand, or by a plain loop written here, number by number.

Sources: the formulas of the modules' own docstrings, with numbers from reference.py; SciPy where named.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.wear import pitch
from pipeline.wear.baseline import Baseline
from pipeline.wear.drift import DISCOUNTS, follow
from pipeline.wear.held_out import LEAST_WEEKS, Comparison, weeks_to_hold_out
from pipeline.wear.history import last_played, named_play, sums_from
from pipeline.wear.learning import Shapes, learn
from pipeline.wear.limits import break_features, life_used_dead, lives_of
from pipeline.wear.look_grades import learn_look_grades, trade_chances
from pipeline.wear.looks import log_word, look_fade, priors
from pipeline.wear.part_of_club import part_to_fit
from pipeline.wear.tension import tension_left_percent
from tests.wear.hand_made import Bed, history


def frame(**cells: object) -> pd.DataFrame:
    row = {"mains_material": "polyester", "crosses_material": "polyester", "mains_gauge_mm": 1.25,
           "mains_profile": "round", "density_per_cm2": 16 * 19 / 632.0}  # fmt: skip
    return pd.DataFrame([row | cells])


def test_the_life_of_a_thin_shaped_soft_bed_in_an_open_pattern() -> None:
    """By hand: 15 h x (1.25 / 1.30)^2.5 x (16 x 16 / 645 over 16 x 19 / 632)^0.6 x 0.8 shaped x 0.7 sawn by polyester;
    dead after 26 h; rest 0.6 x 0.05 + 0.4 x 0.10 of a life a decade."""
    one = lives_of(frame(mains_material="multifilament", mains_gauge_mm=1.25, mains_profile="shaped",
                         density_per_cm2=16 * 16 / 645.0))  # fmt: skip
    density = (256 / 645) / (304 / 632)
    assert one.break_hours[0] == pytest.approx(15 * (1.25 / 1.30) ** 2.5 * density**0.6 * 0.8 * 0.7, rel=1e-12)
    assert one.dead_hours[0] == 26.0
    assert one.rest[0] == pytest.approx(0.07, rel=1e-12)


def test_the_life_of_polyester_mains_with_gut_crosses() -> None:
    """By hand: 34 h to the break, 13 x 1.15 h to dead, rest 0.6 x 0.10 + 0.4 x 0.03."""
    one = lives_of(frame(crosses_material="natural_gut"))
    assert (one.break_hours[0], one.dead_hours[0]) == pytest.approx((34.0, 14.95), rel=1e-12)
    assert one.rest[0] == pytest.approx(0.072, rel=1e-12)


def test_what_a_club_corrects_multiplies_the_life() -> None:
    """By hand: the exponent of the gauge 0.4 higher and shaped strings e^0.1 better."""
    beds = frame(mains_gauge_mm=1.35, mains_profile="shaped")
    plain = lives_of(beds).break_hours[0]
    corrected = lives_of(beds, {"gauge_exponent": 0.4, "shaped_life": 0.1}).break_hours[0]
    assert corrected / plain == pytest.approx((1.35 / 1.25) ** 0.4 * math.exp(0.1), rel=1e-12)
    names, features = break_features(frame(density_per_cm2=2 * 16 * 19 / 632.0))
    assert dict(zip(names, features[0], strict=True)) == pytest.approx(
        {"gauge_exponent": 0.0, "openness_exponent": math.log(2.0), "shaped_life": 0.0}, abs=1e-12
    )


def test_a_pattern_of_no_crossings_is_no_pattern() -> None:
    assert lives_of(frame(density_per_cm2=0.0)).break_hours[0] == lives_of(frame()).break_hours[0]


def test_life_used_towards_dead() -> None:
    """By hand: 6.5 of 13 h, and 0.1 of a life for each of the two decades from 1 h to 1 + 99 h."""
    assert float(life_used_dead(np.array(6.5), np.array(99.0), np.array(13.0), np.array(0.1))) == pytest.approx(0.7)


def test_tension_left_half_way() -> None:
    """By hand: polyester, half a life played and 0.1 for the decade from 24 to 240 h: 0.6 lives; the bound is 0.55, and
    one life takes 0.20, so 1 - 0.55 (1 - (1 - 0.20 / 0.55)^0.6)."""
    left = tension_left_percent(*(np.array([v]) for v in (6.5, 240.0, 13.0, 0.1)), np.array(["polyester"]))
    assert left[0] == pytest.approx(100 * (1 - 0.55 * (1 - (1 - 0.20 / 0.55) ** 0.6)), rel=1e-12)
    fresh = tension_left_percent(*(np.array([v]) for v in (0.0, 5.0, 13.0, 0.1)), np.array(["polyester"]))
    assert fresh[0] == 100.0


@pytest.mark.parametrize(
    ("material", "most"),
    [("natural_gut", 27), ("multifilament", 33), ("synthetic_gut", 35), ("other", 38), ("unknown", 38),
     ("aramid", 50), ("polyester", 55), ("never heard of", 38)],
)  # fmt: skip
def test_no_bed_loses_more_than_its_bound(material: str, most: float) -> None:
    """As written in the module, per cent."""
    left = tension_left_percent(*(np.array([v]) for v in (1e6, 24.0, 13.0, 0.1)), np.array([material]))
    assert left[0] == pytest.approx(100 - most, abs=1e-9)


def test_pitch_in_figures() -> None:
    """By hand: 24 kgf pulled, 0.70 of it in the bed, 630 cm2 of a string of 1.7 g/m: 1/2 sqrt(T / m) / L."""
    tension = 0.70 * 24.0 * 9.80665
    length = math.sqrt(0.0630)
    hz = 0.5 * math.sqrt(tension / 0.0017) / length
    one = [np.array([v]) for v in (tension, 630.0, 0.0017)]
    assert pitch.strung_tension_newton(np.array([24.0]))[0] == pytest.approx(tension, rel=1e-12)
    assert pitch.pitch_at(*one)[0] == pytest.approx(hz, rel=1e-12)
    assert pitch.tension_newton(np.array([hz]), *one[1:])[0] == pytest.approx(tension, rel=1e-12)
    assert pitch.linear_density_kg_m(np.array([1.385]), np.array([1.25]))[0] == pytest.approx(
        1385 * math.pi * 0.000625**2, rel=1e-12
    )


def test_what_a_reading_says_and_how_surely() -> None:
    """By hand: 5 % lower in pitch is 0.95^2 of the tension, of the 0.98 there was; two readings off by 1.5 % each are
    off by 3 % x sqrt 2 in tension. Without a first reading 3 % and the 12 % of the formula add as squares."""
    left, spread = pitch.left_by_first_reading(*(np.array([v]) for v in (570.0, 600.0, 0.98)))
    assert (left[0], spread[0]) == pytest.approx((0.95**2 * 0.98, 0.03 * math.sqrt(2)), rel=1e-12)
    left, spread = pitch.left_by_pull(*(np.array([v]) for v in (600.0, 24.0, 630.0, 0.0017, 0.1)))
    there = (2 * 600) ** 2 * 0.0017 * 0.0630
    assert (left[0], spread[0]) == pytest.approx(
        (there / (0.7 * 24 * 9.80665 * 0.9), math.hypot(0.03, 0.12)), rel=1e-12
    )


def test_two_estimates_weighed_by_their_precision() -> None:
    """By hand: spreads 0.1 and 0.2, so weights 100 and 25: log 0.8 x 100 / 125 + log 0.9 x 25 / 125."""
    both = pitch.combined(*(np.array([v, w]) for v, w in ((0.8, np.nan), (0.1, 0.1), (0.9, 0.9), (0.2, 0.2))))
    assert both[0] == pytest.approx([0.8**0.8 * 0.9**0.2, 0.9], rel=1e-12)
    assert both[1] == pytest.approx([1 / math.sqrt(125), 0.2], rel=1e-12)


def slow_follow(expected: list[float], observed: list[float], discounts: tuple[float, ...]) -> tuple[float, ...]:
    """The filter in plain Python, its likelihood from SciPy's negative binomial law (o whole numbers, e > 0)."""
    levels, spreads, scores = [], [], []
    for d in discounts:
        a = b = 15.0
        score = 0.0
        for e, o in zip(expected, observed, strict=True):
            a, b = d * a, d * b
            if b < 7.5:
                a, b = a * 7.5 / b, 7.5
            score += float(stats.nbinom.logpmf(o, a, b / (b + e)))
            a, b = a + o, b + e
        levels.append(a / b)
        spreads.append(1 / math.sqrt(d * a))
        scores.append(score)
    weights = [math.exp(s - max(scores)) for s in scores]
    weights = [w / sum(weights) for w in weights]
    level = sum(w * x for w, x in zip(weights, levels, strict=True))
    variance = sum(w * (s**2 + (x / level - 1) ** 2) for w, x, s in zip(weights, levels, spreads, strict=True))
    return level, math.sqrt(variance), sum(w * d for w, d in zip(weights, discounts, strict=True))


@pytest.mark.parametrize("seed", range(4))
def test_the_level_is_that_of_a_plain_filter(seed: int) -> None:
    """SciPy's negative binomial law; few endings, so that the floor under the past is reached."""
    rng = np.random.default_rng(seed)
    expected = rng.uniform(0.1, 4.0, 12)
    observed = rng.poisson(1.6 * expected).astype(float)
    level = follow(expected, observed)
    assert (level.level, level.spread, level.discount) == pytest.approx(
        slow_follow(list(expected), list(observed), DISCOUNTS), rel=1e-9
    )


def test_a_warp_in_figures() -> None:
    """By hand: slopes 2, 1, 0.5 from 0, 1 and 3 on."""
    warp = Baseline(np.array([0.0, 1.0, 3.0]), np.array([2.0, 1.0, 0.5]))
    assert warp.warped(np.array([0.0, 0.5, 1.0, 2.0, 3.0, 5.0])) == pytest.approx([0, 1, 2, 3, 4, 5])
    assert warp.unwarped(np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])) == pytest.approx([0, 0.5, 1, 2, 3, 5])


def test_what_grades_the_trade_expects() -> None:
    """By hand: the logistic law about 0.35, 0.75 and 1.2 lives, 0.18 wide; SciPy's."""
    x = np.array([0.0, 0.35, 1.0, 2.5])
    at_least = [stats.logistic(half, 0.18).cdf(x) for half in (0.35, 0.75, 1.2)]
    by_hand = np.stack([1 - at_least[0], at_least[0] - at_least[1], at_least[1] - at_least[2], at_least[2]], axis=1)
    assert trade_chances(x) == pytest.approx(by_hand, abs=1e-12)


def test_grades_are_looked_up_by_the_life_used() -> None:
    """By hand: one clear notching at 0.5 lives on polyester: the club's chances are (6 trade + look) / 7, the
    material's (6 club + look) / 7; a life on the edge counts above it; the bin's middle speaks for the trade."""
    life = {"breaks": np.array([0.5]), "goes_dead": np.array([0.0])}
    made = learn_look_grades(np.array(["polyester"]), life, np.array([[-1, 2, -1, -1]]))
    look = np.array([0.0, 0.0, 1.0, 0.0])
    club = (6 * trade_chances(np.array([0.525]))[0] + look) / 7
    own = (6 * club + look) / 7
    assert made.chances(np.array(["polyester", "gut"]), 1, np.array([0.45, 0.59])) == pytest.approx(
        np.stack([own, club]), abs=1e-12
    )
    elsewhere = trade_chances(np.array([0.7]))[0]
    assert made.chances(np.array(["gut"]), 1, np.array([0.6]))[0] == pytest.approx(elsewhere, abs=1e-12)
    beyond = trade_chances(np.array([1.9]))[0]
    assert made.chances(np.array(["gut"]), 0, np.array([3.0]))[0] == pytest.approx(beyond, abs=1e-12)


def test_looks_at_one_bed_share_one_proof() -> None:
    """By hand: two looks at one bed count half each, one at another bed of the same life whole."""
    life = {"breaks": np.full(3, 0.5), "goes_dead": np.zeros(3)}
    grades = np.array([[-1, 2, -1, -1], [-1, 3, -1, -1], [-1, 1, -1, -1]])
    made = learn_look_grades(np.array(["p"] * 3), life, grades, np.array([7, 7, 8]))
    club = (6 * trade_chances(np.array([0.525]))[0] + np.array([0.0, 1.0, 0.5, 0.5])) / 8
    assert made.chance[-1, 1, 3] == pytest.approx(club, abs=1e-12)


def test_a_word_halves_with_the_play_since() -> None:
    """By hand: half a life halves it, a whole one quarters it."""
    assert look_fade(np.array([0.3, 0.8, 1.3]), np.full(3, 0.3), 0.5) == pytest.approx([1.0, 0.5, 0.25])


def test_a_word_of_two_signs() -> None:
    """As the trade has it: severe notching 2.2 and no misalignment 0.95 towards a break, on polyester."""
    word = log_word(priors("breaks"), np.array([0]), np.array([[-1, 3, 0, -1]]))
    assert word[0] == pytest.approx(math.log(2.2 * 0.95), rel=1e-12)


def test_a_look_in_the_hazard_of_the_next_steps() -> None:
    """By hand: polyester, 17 of 34 h at the look, 34 h at the last step: half a life later the word of 2.2 has halved
    to its root. The prior is made to weigh so much that the one bed teaches nothing."""
    beds = [Bed("P", "none", (2, 4), (17.0, 34.0), looks={0: {"notching": 3}})]
    made = learn(history(beds), Shapes(look_prior=1e9))
    assert made.factor["breaks"] == pytest.approx([1.0, math.sqrt(2.2)], rel=1e-6)


@pytest.mark.parametrize(("days", "weeks"), [(7 * 13, 0), (7 * 14 - 1, 0), (7 * 14, 4), (7 * 50, 15), (7 * 200, 26)])
def test_how_many_weeks_are_held_out(days: int, weeks: int) -> None:
    """By hand: three tenths of the whole weeks on file, at least 4, at most 26. The first step is on day 10."""
    h = history([Bed("P", "none", (10,), (1.0,))], as_of=10 + days)
    assert LEAST_WEEKS == 4
    assert weeks_to_hold_out(h) == weeks


@pytest.mark.parametrize(
    ("trade", "fitted", "is_adopted"), [(-5.0, -4.0, True), (-5.0, -5.0, False), (-4.0, -5.0, False)]
)
def test_only_a_gain_is_adopted(trade: float, fitted: float, is_adopted: bool) -> None:
    one = Comparison("breaks", 8, 10.0, trade, fitted, 1.0)
    assert (one.gain, one.is_adopted) == (fitted - trade, is_adopted)


def test_the_step_last_played() -> None:
    """By hand: play on the first two of three steps; none at all; on the last."""
    beds = [Bed("P", "none", (1, 2, 3), (1.0, 2.0, 2.0)), Bed("P", "none", (1, 2), (0.0, 0.0)),
            Bed("P", "none", (1, 2), (0.0, 1.0))]  # fmt: skip
    assert last_played(history(beds)).tolist() == [1, 4, 6]


def test_a_part_of_the_club_has_whole_players_and_about_so_many_endings() -> None:
    """By hand: ten players with three breaks each; twelve endings are reached by the fourth player drawn."""
    beds = [Bed(f"P{i}", "breaks") for i in range(10) for _ in range(3)]
    h = history(beds)
    part = part_to_fit(h, 12)
    counts = np.bincount(part.player, minlength=10)
    assert sorted(counts[counts > 0].tolist()) == [3] * 4
    assert part_to_fit(h, 30) is h
    assert part_to_fit(h, 29) is not h
    assert part.n_beds == len(part.first) == 12


def test_sums_over_a_bed_and_from_a_step_of_it_on() -> None:
    """Three beds of 3, 1 and 2 steps; from the second step, the only one, and the first of the last bed on."""
    h = history([Bed(days=(1, 2, 3), abrasion=(1, 2, 3)), Bed(days=(4,)), Bed(days=(5, 6), abrasion=(1, 2))])
    whole, since = sums_from(np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0]), h, np.array([1, 3, 4]))
    assert whole.tolist() == [7.0, 8.0, 48.0]
    assert since.tolist() == [6.0, 8.0, 48.0]


@pytest.mark.parametrize(
    ("hours", "shared", "is_named"),
    [
        (3.0, 0.17, True),
        (3.0, 0.19, False),
        (0.04, 0.0, False),
        (0.06, 0.0, True),
        (0.5, 0.0049, True),
        (0.5, 0.006, False),
    ],
)
def test_play_is_named_where_its_variance_is_below_a_fiftieth_of_its_square(
    hours: float, shared: float, is_named: bool
) -> None:
    """0.02 x 3 x 3 = 0.18; 0.02 x 0.5 x 0.5 = 0.005; three minutes are no play. The step before counts for nothing."""
    h = history([Bed(days=(1, 2), abrasion=(5.0, 5.0 + hours))])
    h = replace(h, share_variance=np.array([9.0, 9.0 + shared]))
    played, named = named_play(h, np.array([1]))
    assert played[0] == pytest.approx(hours)
    assert bool(named[0]) is is_named
