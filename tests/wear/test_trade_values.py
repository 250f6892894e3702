"""The trade values, written out a second time: one changes only on purpose, here and there, with its reason.

They are assumptions or facts of the trade (`wear/reference.py` names the source of each), the numbers that a new club
is told by until it has endings of its own, so a slip of the finger in one would mislead it unnoticed. In the files
they stand beside sentences; here they stand as plain tables, to be compared at a glance.
"""

from __future__ import annotations

from pipeline.wear.looks import GROUP_PRIORS, LOOK_PRIORS
from pipeline.wear.reference import MATERIALS, SESSION_WEIGHTS, VALUES

NUMBERS = """
minutes_per_game 4.3            minutes_match_unwritten 75      practice_hits_per_hour 550
usage_half_life_months 4        usage_prior_hours 3             usage_match_weight 0.5
usage_ending_weight 0.5         usage_role_match 1              usage_role_spare 0.4
usage_role_loan 0.3             shape_breaks 3                  shape_goes_dead 3
gauge_exponent 2.5              shaped_life 0.8                 openness_exponent 0.6
sawn_life 0.7                   soft_cross_life 1.15            prior_strength_player 3
prior_strength_family 2         prior_strength_racket 12        share_reporting 0.85
inspection_prior 4              inspection_fade 0.5             misalignment_says_from 0.15
strung_part_of_pull 0.7         pitch_error 0.015               pitch_formula_error 0.12
tension_model_error 0.3         failing_cost 2                  failing_cost_before_event 3
dead_life_lost 0.5              look_cost 0.01                  look_grades_prior 6
mishit_hours 2000
hours_week_beginner 2           hours_week_club 4               hours_week_regional 8
hours_week_national 12
"""

# (abrasion, playability) of an hour
WEIGHTS = {
    "activity": {
        "singles": (1, 1), "doubles": (0.6, 0.6), "drills": (1.2, 1.2), "rally": (1, 1), "sparring": (1.1, 1.1),
        "serve": (0.7, 0.7), "ball_machine": (1.1, 1.1),
    },
    "intensity": {"light": (0.75, 0.75), "normal": (1, 1), "hard": (1.3, 1.3), "match": (1, 1)},
    "surface": {"hard": (1, 1), "clay": (1.25, 1), "grass": (0.9, 1), "carpet": (0.95, 1), "sand": (1.3, 1)},
    "spin": {"flat": (0.7, 1), "moderate": (1, 1), "heavy": (1.4, 1)},
    "level": {"beginner": (0.55, 0.55), "club": (0.8, 0.8), "regional": (1, 1), "national": (1.2, 1.2)},
}  # fmt: skip

# hours to breaking, hours to dead, loss at rest a decade, gauge mm, frays, g/cm3, loss at rest in 24 h
STRINGS = {
    "polyester": (34, 13, 0.10, 1.25, False, 1.385, 0.10),
    "multifilament": (15, 26, 0.05, 1.30, True, 1.14, 0.08),
    "synthetic_gut": (17, 22, 0.06, 1.30, False, 1.14, 0.085),
    "natural_gut": (13, 40, 0.03, 1.30, True, 1.3, 0.06),
    "aramid": (45, 13, 0.10, 1.25, False, 1.44, 0.10),
    "other": (18, 20, 0.06, 1.28, False, 1.2, 0.09),
    "unknown": (18, 20, 0.06, 1.28, False, 1.2, 0.09),
}

# multipliers of the hazard after a look: none, slight, clear, severe
LOOKS = {
    ("breaks", "fraying"): (0.7, 1, 1.5, 2.2), ("breaks", "notching"): (0.7, 1, 1.5, 2.2),
    ("breaks", "misalignment"): (0.95, 1, 1.1, 1.2), ("breaks", "lost_feel"): (1, 1, 1, 1),
    ("goes_dead", "fraying"): (0.95, 1, 1.1, 1.2), ("goes_dead", "notching"): (0.9, 1, 1.15, 1.3),
    ("goes_dead", "misalignment"): (0.85, 1, 1.3, 1.6), ("goes_dead", "lost_feel"): (0.7, 1, 1.6, 2.4),
}  # fmt: skip
LOOKS_OF_GROUPS = {
    ("monofilament", "breaks", "fraying"): (1, 1, 1.1, 1.2), ("monofilament", "goes_dead", "fraying"): (1, 1, 1, 1),
    ("soft", "goes_dead", "misalignment"): (0.95, 1, 1.1, 1.2),
    ("solid", "goes_dead", "misalignment"): (0.95, 1, 1.1, 1.2),
}  # fmt: skip


def test_numbers_are_as_written_here() -> None:
    words = NUMBERS.split()
    assert {value.name: value.value for value in VALUES} == dict(zip(words[::2], map(float, words[1::2]), strict=True))


def test_weights_of_an_hour_are_as_written_here() -> None:
    assert SESSION_WEIGHTS == WEIGHTS


def test_strings_are_as_written_here() -> None:
    assert {name: tuple(vars(material).values()) for name, material in MATERIALS.items()} == STRINGS


def test_what_a_look_says_is_as_written_here() -> None:
    assert {(limit, sign): grades for limit, signs in LOOK_PRIORS.items() for sign, grades in signs.items()} == LOOKS
    assert GROUP_PRIORS == LOOKS_OF_GROUPS


def test_a_worse_grade_never_speaks_for_the_strings() -> None:
    for grades in [*LOOKS.values(), *LOOKS_OF_GROUPS.values()]:
        assert list(grades) == sorted(grades) and grades[1] == 1
