"""What an inspection says, by material of the mains."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.wear.history import SIGNS
from pipeline.wear.learning import learn
from pipeline.wear.looks import GROUPS, Looked, group_of, log_word, priors, told
from tests.wear.hand_made import Bed, history

MISALIGNMENT, NOTCHING = SIGNS.index("misalignment"), SIGNS.index("notching")
MONO, SOFT, SOLID = (GROUPS.index(g) for g in ("monofilament", "soft", "solid"))


def test_materials_fall_into_groups() -> None:
    materials = pd.Series(["polyester", "aramid", "multifilament", "natural_gut", "synthetic_gut", "other", None])
    assert group_of(materials).tolist() == [MONO, MONO, SOFT, SOFT, SOLID, SOLID, SOLID]


def test_misalignment_says_less_of_nylon_and_nothing_while_it_is_new() -> None:
    """Common practice: soft new mains wander too."""
    trade = priors("goes_dead")[:, MISALIGNMENT]
    assert trade[SOFT, 3] < trade[MONO, 3] and trade[SOLID, 3] < trade[MONO, 3]
    grades = np.full((3, 4), 2)
    out = told(grades, np.array([MONO, SOLID, SOLID]), np.array([0.05, 0.05, 0.5]))
    assert out[:, MISALIGNMENT].tolist() == [2, -1, 2]
    assert (np.delete(out, MISALIGNMENT, axis=1) == 2).all()


def test_fraying_of_monofilaments_says_next_to_nothing() -> None:
    """Monofilaments notch and do not fray (common practice): such a grade is questioned, and weighs little."""
    fraying = priors("breaks")[:, SIGNS.index("fraying")]
    assert np.ptp(fraying[MONO]) < 0.25 < np.ptp(fraying[SOFT])


def looked(grade: int, cause: str, player: str, mains: str) -> Bed:
    return Bed(
        player, cause, (5, 10, 14), (5.0, 10.0, 14.0), looks={1: {"notching": grade}}, mains=mains, crosses=mains
    )


def test_what_one_material_shows_moves_the_others_less() -> None:
    """Two levels: severe notches foretell the end on polyester here; nylon follows, only part of the way."""
    beds = [looked(3, "breaks", f"P{i % 7}", "polyester") for i in range(40)]
    beds += [looked(0, "other", f"P{i % 7}", "polyester") for i in range(40)]
    beds.append(looked(3, "none", "P1", "synthetic_gut"))
    looks, trade = learn(history(beds)).looks["breaks"], priors("breaks")
    moved = np.log(looks / trade)[:, NOTCHING, 3]
    assert moved[MONO] > 0.2
    assert 0.0 < moved[SOLID] < moved[MONO]


def test_looking_again_and_again_is_no_more_proof() -> None:
    """Four looks in a row that see the same, against one: the same factor as the last of them alone."""
    days, hours = (3, 4, 5, 6, 10), (3.0, 3.5, 4.0, 4.5, 8.0)
    often = Bed("P1", "none", days, hours, looks={i: {"notching": 3} for i in range(4)})
    once = Bed("P2", "none", days, hours, looks={3: {"notching": 3}})
    factor = learn(history([often, once])).factor["breaks"].reshape(2, 5)
    assert factor[0, 4] == pytest.approx(factor[1, 4], rel=1e-9)


def test_a_word_is_the_product_of_its_signs() -> None:
    looks = priors("breaks")
    grades = np.array([[3, 3, -1, -1], [-1, -1, -1, -1]])
    got = np.exp(log_word(looks, np.array([SOFT, SOFT]), grades))
    assert got == pytest.approx([looks[SOFT, 0, 3] * looks[SOFT, 1, 3], 1.0])


def test_signs_are_learned_one_after_the_other_each_with_what_the_one_before_said() -> None:
    """A bed of polyester with two signs graded at one look, and one ending after it; no life is used since, so nothing
    fades. With a prior weight w = 3, hazard z = 2 and one ending, by hand: all materials together
    (w + 1) / (w + z t) of the trade's t, then (w + 1) / (w / prior + z). The second sign's hazard is z times what the
    first has just been found to make of it."""
    grades = {"fraying": 1, "notching": 3}
    h = history([Bed("P1", "breaks", (5, 10, 14), (5.0, 10.0, 14.0), looks={1: grades})])
    x = np.full(3, 0.5)
    looked = Looked(h, {"breaks": x, "goes_dead": x}, fade_lives=1.0)
    assert looked.at.tolist() == [2]
    looks = np.ones((len(GROUPS), len(SIGNS), 4))
    made = looked.learned("breaks", np.array([2.0]), np.array([1.0]), looks, 3.0)
    hazard = 2.0
    for sign, grade in ((SIGNS.index("fraying"), 1), (NOTCHING, 3)):
        trade = float(priors("breaks")[MONO, sign, grade])
        prior = trade * 4.0 / (3.0 + hazard * trade)
        expected = 4.0 / (3.0 / prior + hazard)
        assert made[MONO, sign, grade] == pytest.approx(expected), SIGNS[sign]
        assert made[SOFT, sign, grade] == pytest.approx(
            float(priors("breaks")[SOFT, sign, grade]) * 4.0 / (3.0 + hazard * trade)
        )
        hazard *= expected
    assert (made[:, MISALIGNMENT] == 1.0).all()  # nobody graded it


def test_a_look_s_word_fades_by_half_with_every_so_many_lives() -> None:
    """A notching of 3 at 0.5 lives that multiplies by 16, half a life on and with 0.5 lives to halve it: 16 ** 0.5."""
    h = history([Bed("P1", "none", (5, 10, 14), (5.0, 10.0, 14.0), looks={0: {"notching": 3}})])
    x = np.array([0.5, 0.5, 1.0])
    looked = Looked(h, {"breaks": x, "goes_dead": x}, fade_lives=0.5)
    looks = np.ones((len(GROUPS), len(SIGNS), 4))
    looks[MONO, NOTCHING, 3] = 16.0
    assert looked.factor("breaks", looks) == pytest.approx([16.0, 4.0])
    counted = looked.counted("breaks", np.array([1.0, 1.0]))
    assert counted[MONO, NOTCHING, 3] == pytest.approx(1.5) and counted.sum() == pytest.approx(1.5)
