"""The rule of thumb "once a year for every outing a week" against what it comes to in hours."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from tests.trial import rules_of_thumb
from tests.trial.records import read_club

STRUNG_ON = date(2026, 1, 4)
ORIGIN = STRUNG_ON + timedelta(weeks=rules_of_thumb.RECENT_WEEKS)


@pytest.mark.parametrize(("session_hours", "fixed_hours"), [(1, 52), (2, 104)])
@pytest.mark.parametrize("outings", [1, 2, 5])
def test_the_rule_is_a_fixed_number_of_hours_whatever_the_frequency(
    tmp_path: Path, outings: int, session_hours: int, fixed_hours: int
) -> None:
    """Common practice: once a year per weekly session. Computed: 52 x session length, 52 h at 1 h and 104 h at 2 h."""
    days = [
        STRUNG_ON + timedelta(days=1 + 7 * w + d) for w in range(rules_of_thumb.RECENT_WEEKS) for d in range(outings)
    ]
    files = {
        "players": "player_id,player_name,squad,level,spin,left_on\nP1,A,S,club,flat,\n",
        "rackets": "racket_id,player_id,frame,mains,crosses,role,in_service_on,retired_on\n"
        f"R1,P1,F,16,19,match,{STRUNG_ON},\n",
        "restrings": f"restring_id,racket_id,strung_on,reason\n1,R1,{STRUNG_ON},first\n",
        "practices": "practice_id,player_id,squad,played_on,racket_id,activity,minutes,absent\n"
        + "".join(f"{i},P1,,{day},R1,rally,{60 * session_hours},\n" for i, day in enumerate(days)),
    }
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    club = read_club(tmp_path)
    beds = pd.DataFrame({"racket_id": ["R1"], "player_id": ["P1"], "strung_on": [pd.Timestamp(STRUNG_ON)]})
    life_used = rules_of_thumb.times_a_week(club, beds, ORIGIN)[0]
    hours_at_its_end = rules_of_thumb.raw_hours(club, beds, ORIGIN)[0] / life_used
    assert hours_at_its_end == pytest.approx(fixed_hours * 365 / 364, rel=1e-6)
