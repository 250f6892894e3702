"""The rule of thumb "once a year for every outing a week" against what it comes to in hours."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from pipeline.fleet.thumb_rules import RECENT_WEEKS, rule_jobs, rule_scores
from tests.sql.club_rows import one_player_club, practised, relations, strung

STRUNG_ON = date(2026, 1, 4)
ORIGIN = STRUNG_ON + timedelta(weeks=RECENT_WEEKS)


@pytest.mark.parametrize(("session_hours", "fixed_hours"), [(1, 52), (2, 104)])
@pytest.mark.parametrize("outings", [1, 2, 5])
def test_the_rule_is_a_fixed_number_of_hours_whatever_the_frequency(
    outings: int, session_hours: int, fixed_hours: int
) -> None:
    """Common practice: once a year per weekly session. Computed: 52 x session length, 52 h at 1 h and 104 h at 2 h."""
    con = one_player_club()
    strung(con, "J1", "R1", str(STRUNG_ON))
    for week in range(RECENT_WEEKS):
        for d in range(outings):
            day = STRUNG_ON + timedelta(days=1 + 7 * week + d)
            practised(con, f"T{day}", "P1", str(day), racket_id="R1", minutes=60.0 * session_hours)
    relations(con, str(ORIGIN))
    racket = rule_scores(con, ORIGIN, 14).rackets.iloc[0]
    assert racket["weekly_outings"] == outings
    hours_at_its_end = racket["hours_played"] / racket["rule_used"]
    assert hours_at_its_end == pytest.approx(fixed_hours * 365 / 364, rel=1e-6)  # a year of 52 weeks is a day short


def test_the_rule_makes_as_many_jobs_a_year_as_outings_a_week() -> None:
    """Common practice: three outings a week, three restrings a year: the next one is due after a third of a year."""
    con = one_player_club()
    strung(con, "J1", "R1", str(ORIGIN))
    for week in range(RECENT_WEEKS):
        for d in range(3):
            day = ORIGIN - timedelta(days=7 * week + d)
            practised(con, f"T{day}", "P1", str(day), racket_id=None)
    relations(con, str(ORIGIN))
    jobs = rule_jobs(rule_scores(con, ORIGIN, 14).rackets, 52)
    assert jobs.sum() == 1.0
    assert int(jobs.argmax()) == int(365 / 3 // 7)
