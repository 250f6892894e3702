"""Reference values of the wear model: what is assumed before a club has taught us anything.

In: nothing. Out: named values with unit, meaning and source. Where no published figure was found the source reads
"assumption": such values are adjustable, re-estimated from the club's own records where these suffice, and listed on
the Track record page. The reference hour is one hour of singles by a regional-level player with moderate topspin on a
hard court; every reference level of a weight is 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Value:
    """One number the model stands on.

    name: how code and the parameter table call it.
    value: the trade value, in `unit`.
    source: where it comes from, or "assumption".
    """

    name: str
    value: float
    unit: str
    meaning: str
    source: str

    @property
    def is_assumption(self) -> bool:
        """Whether the value rests on no source."""
        return self.source.startswith("assumption")


_HITS = (
    "assumption; order from hits per hour: about 260 in matches (J Sports Sci Med 2007), "
    "400-800 in practice (single-case study of 314 practices)"
)
_DIRECTION = "assumption; direction is common practice"

# --- weights of a session: feature, level -> (abrasion, playability) ------------------------------------------------
SESSION_WEIGHTS: dict[str, dict[str, tuple[float, float]]] = {
    "activity": {
        "singles": (1.0, 1.0),
        "doubles": (0.6, 0.6),
        "drills": (1.2, 1.2),
        "rally": (1.0, 1.0),
        "sparring": (1.1, 1.1),
        "serve": (0.7, 0.7),
        "ball_machine": (1.1, 1.1),
    },
    "intensity": {"light": (0.75, 0.75), "normal": (1.0, 1.0), "hard": (1.3, 1.3), "match": (1.0, 1.0)},
    "surface": {
        "hard": (1.0, 1.0),
        "clay": (1.25, 1.0),
        "grass": (0.9, 1.0),
        "carpet": (0.95, 1.0),
        "sand": (1.3, 1.0),
    },
    "spin": {"flat": (0.7, 1.0), "moderate": (1.0, 1.0), "heavy": (1.4, 1.0)},
    "level": {"beginner": (0.55, 0.55), "club": (0.8, 0.8), "regional": (1.0, 1.0), "national": (1.2, 1.2)},
}
SESSION_WEIGHT_SOURCES = {
    "activity": _HITS,
    "intensity": "assumption",
    "surface": "assumption; clay carries grit to the crossings (US patent 6,506,134: direction only)",
    "spin": _DIRECTION,
    "level": _DIRECTION,
}


@dataclass(frozen=True)
class Material:
    """What a string material brings, as mains (break_hours) or as the mains of the bed's playability.

    break_hours: abrasion hours at which half of such beds have broken (reference gauge, round, 16x19 in 632 cm2).
    dead_hours: playability hours at which half of such beds are dead, rest left out.
    rest_per_decade: part of the life that ten times the age in hours takes, played or not.
    gauge_mm: reference gauge.
    is_soft: frays (multifilament, gut); else notches only.
    """

    break_hours: float
    dead_hours: float
    rest_per_decade: float
    gauge_mm: float
    is_soft: bool
    density_g_cm3: float
    rest_loss_24h: float


MATERIALS: dict[str, Material] = {
    "polyester": Material(34.0, 13.0, 0.10, 1.25, False, 1.385, 0.10),
    "multifilament": Material(15.0, 26.0, 0.05, 1.30, True, 1.14, 0.08),
    "synthetic_gut": Material(17.0, 22.0, 0.06, 1.30, False, 1.14, 0.085),
    "natural_gut": Material(13.0, 40.0, 0.03, 1.30, True, 1.30, 0.06),
    "aramid": Material(45.0, 13.0, 0.10, 1.25, False, 1.44, 0.10),
    "other": Material(18.0, 20.0, 0.06, 1.28, False, 1.20, 0.09),
    "unknown": Material(18.0, 20.0, 0.06, 1.28, False, 1.20, 0.09),
}
MATERIAL_SOURCES = {
    "break_hours": "assumption within common practice: multifilament 8-10 h for a hard hitter; "
    "order polyester > multifilament > natural gut",
    "dead_hours": "assumption within Lindsey 2013 (2-20 h, mostly polyester) and common practice (polyester 4-20 h)",
    "rest_per_decade": "assumption; form linear in log time (Cross 2000, from memory), "
    "order gut < nylon < polyester (Lindsey & Cross 2016)",
    "gauge_mm": "common practice",
    "density_g_cm3": "Morton & Hearle, Physical Properties of Textile Fibres, table 5.1; natural gut from memory",
    "rest_loss_24h": "stringer's log and shop log, 2009-2011 (common practice): mean 8.95 %, usual 8-12 %",
}

VALUES: tuple[Value, ...] = (
    Value("minutes_per_game", 4.3, "min", "length of a game, to turn a score into minutes", "assumption"),
    Value("minutes_match_unwritten", 75.0, "min", "a match with neither minutes nor a score", "assumption"),
    Value(
        "practice_hits_per_hour",
        550.0,
        "1/h",
        "hits in an hour of practice",
        "single-case study of 314 practices: 400-800 hits/h",
    ),
    Value("usage_half_life_months", 4.0, "months", "how soon known use of a racket fades", "assumption"),
    Value("usage_prior_hours", 3.0, "h", "weight of a racket's role before any evidence of use", "assumption"),
    Value(
        "usage_match_weight",
        0.5,
        "1",
        "an hour of match with a racket, as evidence for its use in practice",
        "assumption",
    ),
    Value("usage_ending_weight", 0.5, "1", "weight of a restring for wear as evidence of use", "assumption"),
    Value("usage_role_match", 1.0, "1", "use of a match racket", "assumption"),
    Value("usage_role_spare", 0.4, "1", "use of a spare against a match racket", "assumption"),
    Value("usage_role_loan", 0.3, "1", "use of a loan racket against a match racket", "assumption"),
    Value(
        "shape_breaks",
        3.0,
        "1",
        "Weibull shape of breaking",
        "assumption; above 1 because notching wears out (common practice)",
    ),
    Value("shape_goes_dead", 3.0, "1", "Weibull shape of going dead", "assumption; above 1: loss adds up"),
    Value(
        "gauge_exponent",
        2.5,
        "1",
        "life to breaking goes as diameter to this power",
        "assumption; thicker lasts longer is common practice",
    ),
    Value("shaped_life", 0.8, "1", "life to breaking of a shaped profile against round", _DIRECTION),
    Value("openness_exponent", 0.6, "1", "life to breaking goes as crossings per cm2 to this power", _DIRECTION),
    Value("sawn_life", 0.7, "1", "life of soft mains under polyester or aramid crosses", _DIRECTION),
    Value(
        "soft_cross_life", 1.15, "1", "playing life of polyester mains with soft crosses against a full bed", _DIRECTION
    ),
    Value("prior_strength_player", 3.0, "endings", "how many endings the player prior weighs", "assumption"),
    Value("prior_strength_family", 2.0, "endings", "how many endings the family prior weighs", "assumption"),
    Value(
        "prior_strength_racket",
        12.0,
        "endings",
        "how many endings the prior of a racket's own wear weighs",
        "assumption",
    ),
    Value("share_reporting", 0.85, "1", "players who report lost feel at all, before any evidence", "assumption"),
    Value("mishit_hours", 2000.0, "h", "hours of play to a mishit that breaks a string", "assumption"),
    Value("inspection_prior", 4.0, "endings", "how many endings the prior of a grade multiplier weighs", "assumption"),
    Value("inspection_fade", 0.5, "lives", "play after a look, in lives, by which its effect has halved", "assumption"),
    Value(
        "misalignment_says_from",
        0.15,
        "lives",
        "life used from which misalignment of nylon or gut mains says anything: new ones wander",
        "assumption; that soft new mains move is common practice",
    ),
    Value(
        "strung_part_of_pull",
        0.70,
        "1",
        "tension in the bed just after stringing, as a part of the machine's pull",
        "Cross & Bower, Measurements of string tension in a tennis racket, 2001: about 30 % below the pull",
    ),
    Value("pitch_error", 0.015, "1", "how far a pitch reading is off, as a part of its Hz", "assumption"),
    Value(
        "pitch_formula_error",
        0.12,
        "1",
        "how far tension from pitch, frame and string alone is off, without a first reading of that bed",
        "assumption; bed areas, gauges and losses on the machine differ",
    ),
    Value(
        "tension_model_error",
        0.3,
        "1",
        "how far the loss of tension by the model is off, as a part of it",
        "assumption",
    ),
    Value(
        "failing_cost",
        2.0,
        "restrings",
        "cost of a racket that ends in play, its restring included",
        "assumption; a planned restring is 1",
    ),
    Value(
        "failing_cost_before_event",
        3.0,
        "restrings",
        "the same where a match or event comes first",
        "assumption",
    ),
    Value(
        "dead_life_lost",
        0.5,
        "1",
        "how much of its remaining life a dead bed that nobody complains of is taken to have lost",
        "assumption",
    ),
    Value("look_cost", 0.01, "restrings", "cost of a one-minute look by one who is at the court anyway", "assumption"),
    Value("look_grades_prior", 6.0, "looks", "how many looks the trade's word on grades weighs", "assumption"),
    Value("hours_week_beginner", 2.0, "h", "weekly play of a beginner without any log", "assumption"),
    Value("hours_week_club", 4.0, "h", "weekly play at club level without any log", "assumption"),
    Value("hours_week_regional", 8.0, "h", "weekly play at regional level without any log", "assumption"),
    Value("hours_week_national", 12.0, "h", "weekly play at national level without any log", "assumption"),
)


def value(name: str) -> float:
    """The trade value called `name`. Raises KeyError with the name where there is none."""
    return _BY_NAME[name].value


def session_weight_rows() -> Iterator[tuple[str, str, float, float]]:
    """(feature, level, abrasion, playability) for every level of every session weight."""
    for feature, levels in SESSION_WEIGHTS.items():
        for level, (abrasion, playability) in levels.items():
            yield feature, level, abrasion, playability


_BY_NAME = {v.name: v for v in VALUES}
