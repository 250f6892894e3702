"""What a club's own beds teach: counts that add up, causes shared out, who reports, looks, and what must teach
nothing."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pipeline.wear.history import CAUSES, SIGNS
from pipeline.wear.learning import BREAKS, DEAD, MISHIT, OTHER, Shapes, learn
from pipeline.wear.looks import GROUPS, LOOK_PRIORS
from pipeline.wear.reference import value
from tests.wear.hand_made import Bed, history
from tests.wear.simulated import drawn_beds


def usual_beds(seed: int = 1) -> list[Bed]:
    rng = np.random.default_rng(seed)
    return drawn_beds(rng, [0.5, 1.0, 1.0, 2.0], 10) + drawn_beds(rng, [1.0] * 4, 6, mains="multifilament")


def test_endings_expected_and_seen_agree_in_total() -> None:
    """The family multiplier solves f (s + exposure) = s + endings: the whole expectation is the endings, but for
    the prior."""
    h = history(usual_beds())
    made = learn(h)
    seen = made.responsibility[:, BREAKS].sum()
    assert seen > 40
    expected = made.expected["breaks"][h.last].sum()
    prior = made.shapes.strength_family * (1.0 - made.family["breaks"]).sum()
    assert expected == pytest.approx(seen + prior, rel=0.02)


def test_the_posterior_counts_each_player_s_endings() -> None:
    h = history(usual_beds())
    made = learn(h)
    endings = np.bincount(h.player, h.cause == BREAKS, len(h.players))
    assert made.a["breaks"][:-1] == pytest.approx(made.shapes.strength_breaks + endings)
    assert made.a["breaks"][-1] == made.b["breaks"][-1] == made.shapes.strength_breaks


def test_a_player_who_breaks_sooner_gets_a_larger_multiplier() -> None:
    h = history(drawn_beds(np.random.default_rng(3), [0.3, 1.0, 3.0], 25))
    theta = (learn(h).a["breaks"] / learn(h).b["breaks"])[:-1]
    assert theta[0] < theta[1] < theta[2]


def test_multipliers_that_were_put_in_are_found() -> None:
    truth = np.array([0.4, 0.7, 1.0, 1.5, 2.5])
    h = history(drawn_beds(np.random.default_rng(9), list(truth), 60))
    made = learn(h)
    got = (made.a["breaks"] / made.b["breaks"])[:-1] * made.family["breaks"][0]
    spread = 1.0 / np.sqrt(made.a["breaks"][:-1])
    assert (np.abs(np.log(got / truth)) < 4 * spread + 0.15).all()


def test_a_cause_that_was_given_stays() -> None:
    h = history([Bed(cause=c, player=f"P{i}") for i, c in enumerate(CAUSES)])
    made = learn(h)
    given = [c for c in CAUSES if c != "unknown"]
    for c in given:
        i = CAUSES.index(c)
        assert made.responsibility[i, i] == 1.0
    assert made.responsibility.sum(axis=1) == pytest.approx(np.ones(len(CAUSES)))


def test_endings_without_a_reason_are_shared_out_and_add_up_to_one() -> None:
    beds = usual_beds()
    blank = [replace(b, cause="unknown") if i % 4 == 0 and b.cause != "none" else b for i, b in enumerate(beds)]
    h = history(blank)
    made = learn(h)
    unknown = h.cause == CAUSES.index("unknown")
    assert unknown.sum() > 5
    shares = made.responsibility[unknown]
    assert shares.sum(axis=1) == pytest.approx(np.ones(unknown.sum()))
    assert (shares >= 0).all()
    assert shares[:, [BREAKS, DEAD, MISHIT, OTHER]].sum(axis=1) == pytest.approx(np.ones(unknown.sum()))


def test_an_unknown_ending_goes_to_the_limit_that_was_near() -> None:
    """Many hours on a soft string after few days: worn through; hardly any play and months of rest: not broken."""
    worn = Bed(
        cause="unknown",
        days=(4, 8),
        abrasion=(12.0, 26.0),
        playability=(8.0, 12.0),
        mains="multifilament",
        crosses="multifilament",
    )
    rested = Bed(
        cause="unknown",
        days=(60, 240),
        abrasion=(0.2, 0.4),
        player="P2",
        mains="multifilament",
        crosses="multifilament",
    )
    made = learn(history([worn, rested]))
    assert made.responsibility[0, BREAKS] > 0.5
    assert made.responsibility[1, BREAKS] < 0.05


def test_blank_reasons_do_not_lose_endings() -> None:
    """A quarter of the reasons left blank: the family multiplier stays within a fifth of what all reasons would
    give."""
    beds = usual_beds(5)
    rng = np.random.default_rng(0)
    blank = [replace(b, cause="unknown") if b.cause != "none" and rng.random() < 0.25 else b for b in beds]
    whole, part = learn(history(beds)), learn(history(blank))
    assert part.family["breaks"] == pytest.approx(whole.family["breaks"], rel=0.2)


def test_who_reports_lost_feel() -> None:
    """P1 has complained; P2 played six beds far beyond their lives without a word; P3 has hardly played."""
    said = [Bed("P1", "goes_dead", (5, 15), (6.0, 14.0))]
    silent = [Bed("P2", "other", (10, 40), (15.0, 30.0)) for _ in range(6)]
    new = [Bed("P3", "none", (2,), (1.0,))]
    made = learn(history(said + silent + new))
    prior = value("share_reporting")
    reports = dict(zip(("P1", "P2", "P3", "nobody"), made.reports, strict=True))
    assert reports["P1"] == 1.0
    assert reports["P2"] < 0.5 * prior
    assert prior * 0.9 < reports["P3"] <= prior
    assert reports["nobody"] == prior


def test_silent_players_do_not_make_strings_live_longer() -> None:
    """The same complaints, and as many players who never say a word: the family's speed hardly moves."""
    rng = np.random.default_rng(2)
    speak = drawn_beds(rng, [1.0] * 8, 8, cause="goes_dead", hours_a_step=1.0)
    mute = [Bed(f"M{i}", "other", (20, 60), (0.0, 0.0), (15.0, 34.0)) for i in range(8) for _ in range(6)]
    alone, both = learn(history(speak)), learn(history(speak + mute))
    assert both.family["goes_dead"][0] > 0.7 * alone.family["goes_dead"][0]


NOTHING_TO_TEACH = {
    "mishit": Bed("P1", "mishit", (5, 9), (8.0, 30.0), teaches_abrasion=False),
    "frame fault": Bed("P1", "other", (5, 9), (8.0, 30.0), teaches_abrasion=False),
    "broke on the machine": Bed("P1", "other", (1,), (0.0,), teaches_abrasion=False),
    "unknown string": Bed(
        "P1", "breaks", (5, 9), (8.0, 30.0), is_string_known=False, mains="unknown", crosses="unknown"
    ),
    "unknown string, unknown reason": Bed(
        "P1", "unknown", (5, 9), (8.0, 30.0), is_string_known=False, mains="unknown", crosses="unknown"
    ),
}


@pytest.mark.parametrize("what", NOTHING_TO_TEACH)
def test_a_bed_that_teaches_nothing_changes_no_posterior_of_breaking(what: str) -> None:
    h = history([replace(b, player=f"P{1 + i % 5}") for i, b in enumerate(usual_beds())])
    longer = history(
        [replace(b, player=f"P{1 + i % 5}") for i, b in enumerate(usual_beds())] + [NOTHING_TO_TEACH[what]]
    )
    # rackets taken as alike: how much one is used is learned from both limits
    alike = Shapes(strength_racket=1e15)
    before, after = learn(h, alike, tolerance=1e-9), learn(longer, alike, tolerance=1e-9)
    assert after.a["breaks"] == pytest.approx(before.a["breaks"], rel=1e-9)
    # how much of a last stretch was outlasted depends on both limits
    assert after.b["breaks"] == pytest.approx(before.b["breaks"], rel=1e-5)
    assert after.family["breaks"][:2] == pytest.approx(before.family["breaks"], rel=1e-5)


def test_a_frame_fault_still_teaches_that_the_bed_had_not_gone_dead() -> None:
    beds = usual_beds()
    more = [*beds, replace(NOTHING_TO_TEACH["frame fault"], player=beds[0].player)]
    before, after = learn(history(beds)), learn(history(more))
    assert after.b["goes_dead"][0] > before.b["goes_dead"][0]


@pytest.mark.parametrize("limit", ["breaks", "goes_dead"])
def test_severe_is_never_less_than_none_before_any_evidence(limit: str) -> None:
    """Common practice: a worse grade brings the end nearer."""
    for sign in SIGNS:
        grades = LOOK_PRIORS[limit][sign]
        assert all(low <= high for low, high in pairwise(grades))
        assert grades[1] == 1.0


def looked_at(grade: int, cause: str, player: str = "P1") -> Bed:
    return Bed(player, cause, (5, 10, 14), (5.0, 10.0, 14.0), looks={1: {"notching": grade}})


def test_a_severe_look_raises_the_factor_from_the_next_day_on() -> None:
    made = learn(
        history([looked_at(0, "none"), looked_at(3, "none"), Bed(days=(5, 10, 14), abrasion=(5.0, 10.0, 14.0))])
    )
    good, bad, unseen = made.factor["breaks"].reshape(3, 3)
    assert good[:2] == pytest.approx([1.0, 1.0])
    assert bad[:2] == pytest.approx([1.0, 1.0])
    assert good[2] < unseen[2] == 1.0 < bad[2]


def test_what_became_of_beds_after_a_grade_is_learned() -> None:
    ended = [looked_at(3, "breaks", f"P{i % 9}") for i in range(30)] + [
        looked_at(0, "other", f"P{i % 9}") for i in range(30)
    ]
    lasted = [looked_at(3, "other", f"P{i % 9}") for i in range(30)] + [
        looked_at(0, "breaks", f"P{i % 9}") for i in range(30)
    ]
    notching = SIGNS.index("notching")
    mono = GROUPS.index("monofilament")
    sharp, blind = (learn(history(b)).looks["breaks"][mono, notching] for b in (ended, lasted))
    prior = LOOK_PRIORS["breaks"]["notching"]
    assert sharp[3] > prior[3] > blind[3]
    assert sharp[0] < prior[0] < blind[0]


def test_the_effect_of_a_look_fades_with_play() -> None:
    beds = [Bed(days=(5, 10, 30, 60), abrasion=(2.0, 4.0, 14.0, 60.0), looks={0: {"notching": 3}})]
    factor = learn(history(beds)).factor["breaks"]
    assert factor[1] > factor[2] > factor[3] > 1.0


def test_planned_restrings_are_learned_by_squad() -> None:
    """U18 cuts strings out every ten days, U16 never: the rates of other causes say so."""
    often = [Bed(f"A{i}", "other", (10,), (2.0,), squad="U18") for i in range(40)]
    never = [Bed(f"B{i}", "none", (60,), (2.0,), squad="U16") for i in range(40)]
    h = history(often + never)
    made = learn(h)
    n_players = len(h.players)
    rate = made.other.rate(
        np.array([0, 1]), np.array([n_players, n_players]), np.array([9.0, 9.0]), np.array([0.1, 0.1])
    )
    assert rate[0] > 5 * rate[1] > 0.0


def test_a_bed_that_was_hardly_played_keeps_the_priors() -> None:
    made = learn(history([Bed()]))
    assert made.family["breaks"] == pytest.approx([1.0], abs=0.02)
    assert made.level["breaks"].level == pytest.approx(1.0, abs=0.02)


def test_shapes_refuse_a_name_they_do_not_know() -> None:
    with pytest.raises(TypeError, match="shape_brakes"):
        Shapes(shape_brakes=2.0)  # type: ignore[call-arg]
