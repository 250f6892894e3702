"""What every stringer knows, held against the whole pipeline: rows in, ranking out, all else equal.

Source of every direction: common practice (EVIDENCE, "going dead, friction, breaking"), unless a test names another.
"""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest

from pipeline.fleet.snapshot import snapshot
from tests.sql.club_rows import STRINGS, empty_club, players, practised, put, rackets, strung

ORIGIN = date(2026, 3, 29)
STRUNG_ON = ORIGIN - timedelta(days=21)
LOOKS_AHEAD_DAYS = 14

Side = dict[str, object]


def rank_of_two(first: Side, second: Side) -> tuple[pd.Series, pd.Series]:
    """The rows of two players who differ only in what is given: level, spin, string, minutes, activity, surface,
    intensity, score (a singles match instead of a practice). Both play Monday, Wednesday and Saturday with their
    one racket."""
    con = empty_club()
    put(con, "strings", STRINGS)
    for name, side in (("A", first), ("B", second)):
        players(con, name, level=side.get("level", "regional"), spin=side.get("spin", "moderate"))
        rackets(con, (f"R{name}", name))
        strung(con, f"J{name}", f"R{name}", str(STRUNG_ON), mains_string_id=side.get("string", "poly"))
        days = [
            STRUNG_ON + timedelta(days=d)
            for d in range(1, 22)
            if (STRUNG_ON + timedelta(days=d)).weekday() in (0, 2, 5)
        ]
        for i, day in enumerate(days):
            if "score" in side:
                row = {
                    "match_id": f"M{name}{i}",
                    "player_id": name,
                    "racket_id": f"R{name}",
                    "played_on": str(day),
                    "format": "singles",
                }
                put(con, "matches", [row | {"score": side["score"]}])
            else:
                more = {k: side[k] for k in ("minutes", "activity", "surface", "intensity") if k in side}
                practised(con, f"T{name}{i}", name, str(day), racket_id=f"R{name}", **more)
    frame = snapshot(con, ORIGIN).ranking(LOOKS_AHEAD_DAYS).set_index("racket_id")
    return frame.loc["RA"], frame.loc["RB"]


def assert_due_sooner(sooner: pd.Series, later: pd.Series) -> None:
    assert sooner["days_left_p50"] < later["days_left_p50"]
    assert sooner["due_on"] <= later["due_on"]
    assert sooner["p_end"] > later["p_end"]
    assert sooner["rank"] < later["rank"]


@pytest.mark.parametrize("string", ["poly_thin", "multi"])
def test_heavy_topspin_is_due_before_flat(string: str) -> None:
    heavy, flat = rank_of_two({"spin": "heavy", "string": string}, {"spin": "flat", "string": string})
    assert_due_sooner(heavy, flat)
    assert heavy["p_break"] > flat["p_break"]


def test_two_match_sets_before_half_an_hour_with_the_machine() -> None:
    assert_due_sooner(*rank_of_two({"score": "6-4 6-3"}, {"activity": "ball_machine", "minutes": 30.0}))


@pytest.mark.parametrize(
    ("competitive", "recreational"), [("national", "regional"), ("regional", "club"), ("club", "beginner")]
)
def test_competitive_before_recreational(competitive: str, recreational: str) -> None:
    assert_due_sooner(*rank_of_two({"level": competitive}, {"level": recreational}))


def test_hard_training_before_light() -> None:
    assert_due_sooner(*rank_of_two({"intensity": "hard"}, {"intensity": "light"}))


def test_clay_before_hard_court() -> None:
    """US patent 6,506,134, background: grit carried to the crossings speeds wear; direction only."""
    assert_due_sooner(*rank_of_two({"surface": "clay", "string": "multi"}, {"surface": "hard", "string": "multi"}))


def test_thin_before_thick() -> None:
    thin, thick = rank_of_two({"string": "poly_thin"}, {"string": "poly_thick"})
    assert_due_sooner(thin, thick)
    assert thin["p_break"] > thick["p_break"]
    assert thin["break_used"] > thick["break_used"]
    # gauge is about breaking: neither is deader than the other
    assert thin["dead_used"] == pytest.approx(thick["dead_used"])


def test_multifilament_breaks_before_polyester() -> None:
    """At the same diameter. Shop guide (common practice): durability polyester > multifilament."""
    multi, polyester = rank_of_two({"string": "multi_125"}, {"string": "poly"})
    assert multi["p_break"] > polyester["p_break"]
    assert multi["break_used"] > polyester["break_used"]
    assert multi["limit_first"] == "breaks"


def test_round_polyester_at_club_level_goes_dead_before_it_breaks() -> None:
    bed, _ = rank_of_two({"level": "club", "string": "poly"}, {"level": "club", "string": "multi"})
    assert bed["dead_used"] > bed["break_used"]
    assert bed["p_feel"] > bed["p_break"]
    assert bed["p_dead"] > bed["p_break"]
    assert bed["limit_first"] == "goes_dead"


def test_shaped_notches_sooner_than_round() -> None:
    shaped, plain = rank_of_two({"string": "poly_shaped"}, {"string": "poly"})
    assert_due_sooner(shaped, plain)
    assert shaped["p_break"] > plain["p_break"]


def test_as_often_but_differently_means_another_day() -> None:
    """The reason why a count of weekly outings cannot say when: three outings a week each, other days due."""
    first, second = rank_of_two(
        {"level": "national", "spin": "heavy", "minutes": 90.0}, {"level": "club", "spin": "flat", "minutes": 45.0}
    )
    assert_due_sooner(first, second)
    assert (second["due_on"] - first["due_on"]).days >= 7


def test_a_bed_loses_tension_in_the_bag() -> None:
    """USRSA, instruction page on tension loss: the loss at rest goes on without play."""
    bed, _ = rank_of_two({"minutes": 1.0}, {})
    assert bed["hours_played"] < 1.0
    assert bed["tension_left_pct"] < 99.0
    assert bed["dead_used"] > 0.1
