"""What a one-minute look changes in the ranking."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd
import pytest

from pipeline.fleet.snapshot import snapshot
from tests.fleet.clubs import ORIGIN, academy
from tests.sql.club_rows import put

RACKET = "P00-1"


def after_a_look(days_ago: int, **grades: int) -> pd.Series:
    """The racket's row when it was looked at so many days before the origin; no grades: not looked at."""
    con = academy(players=6, weeks=20)
    con.execute("delete from facts.inspections where racket_id = ?", [RACKET])
    if grades:
        day = str(ORIGIN - timedelta(days=days_ago))
        put(con, "inspections", [{"inspection_id": "LOOK", "inspected_on": day, "racket_id": RACKET} | grades])
    return snapshot(con, ORIGIN).ranking().set_index("racket_id").loc[RACKET]


@pytest.mark.parametrize("days_ago", [0, 1, 5])
@pytest.mark.parametrize(
    ("sign", "part"), [("notching", "p_break"), ("misalignment", "p_feel"), ("lost_feel", "p_feel")]
)
def test_severe_is_more_urgent_than_none(sign: str, part: str, days_ago: int) -> None:
    """Common practice. A look on the origin's own day is the newest there is, and counts."""
    severe, none = after_a_look(days_ago, **{sign: 3}), after_a_look(days_ago, **{sign: 0})
    assert severe[part] > none[part]
    assert severe["p_end"] > none["p_end"]
    assert severe["days_left_p50"] <= none["days_left_p50"]


def test_nothing_to_see_is_less_urgent_than_not_looked_at() -> None:
    good = after_a_look(1, notching=0, misalignment=0, lost_feel=0)
    assert good["p_end"] < after_a_look(1)["p_end"]


def test_a_look_at_an_earlier_bed_says_nothing_about_this_one() -> None:
    strung = pd.Timestamp(after_a_look(0)["strung_on"]).date()
    before = (ORIGIN - strung).days + 3
    unseen, old = after_a_look(0), after_a_look(before, notching=3, misalignment=3, lost_feel=3)
    assert old["p_end"] == pytest.approx(unseen["p_end"], rel=0.1)
