"""What was foreseen of each racket held against the later log: nine rackets, one of each kind, worked out by hand."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pipeline.fleet import record_table
from pipeline.fleet.backtest import Backtest, count_new_ended, judge_rackets

ORIGIN = date(2026, 3, 1)
# racket, status at the origin, days from it to the bed's end by the later log, cause; what is scored
NINE: list[tuple[str, str, int | None, str | None, str]] = [
    ("R9", "in_play", 14, "breaks", "wear"),  # the last day of the fortnight
    ("R1", "in_play", 15, "breaks", "in"),
    ("R2", "in_play", 0, "breaks", ""),  # as it later turned out it had ended by then
    ("R3", "in_play", None, None, ""),  # the later log knows no such bed
    ("R4", "in_play", 3, "unknown", "unreasoned"),
    ("R5", "in_play", 1, "other", "other"),
    ("R6", "broken", 5, "breaks", ""),  # not in play, so there was no call to make
    ("R7", "in_play", 2, "goes_dead", ""),  # no rule can say how long ago it was strung
    ("R8", "in_play", None, "none", "in"),
]


def day(after: int | None) -> pd.Timestamp:
    return pd.NaT if after is None else pd.Timestamp(ORIGIN + timedelta(days=after))  # type: ignore[return-value]


def judged(has_play: bool = True) -> tuple[pd.DataFrame, int]:
    names = [name for name, *_ in NINE]
    ranking = pd.DataFrame({"racket_id": names, "bed_id": names, "status": [s for _, s, *_ in NINE], "p_end": 0.3})
    rules = pd.DataFrame(
        {"racket_id": names, "bed_id": names, "days_since": [np.nan if n == "R7" else 20.0 for n in names],
         "hours_played": 9.0, "rule_used": 0.5, "p_days": 0.1, "p_hours": 0.2, "p_rule": 0.3}
    )  # fmt: skip
    beds = pd.DataFrame(
        [(name, day(end), cause) for name, _, end, cause, _ in NINE if name != "R3"],
        columns=["bed_id", "ended_on", "cause"],
    )
    made: Any = SimpleNamespace(ranking=lambda days: ranking)
    given: Any = SimpleNamespace(rackets=rules, has_play=has_play)
    return judge_rackets(made, given, beds, ORIGIN, 0.4)


def test_each_kind_of_racket_is_scored_as_the_later_log_says() -> None:
    found, left_out = judged()
    expected = {name: outcome for name, *_, outcome in sorted(NINE) if outcome}
    assert dict(zip(found["racket_id"], found["outcome"], strict=True)) == expected
    assert found["racket_id"].tolist() == list(expected), "in the order of their numbers"
    truth = {"wear": 1.0, "unreasoned": 0.4, "other": 0.0, "in": 0.0}
    assert found["came_true"].tolist() == [truth[outcome] for outcome in expected.values()]
    assert left_out == 3  # R2, R3 and R7; R6 was in nobody's hands
    assert set(found["origin"]) == {ORIGIN} and set(found["hours_played"]) == {9.0}


def test_rules_by_play_say_nothing_where_no_play_is_on_file() -> None:
    found, left_out = judged(has_play=False)
    assert found[["hours_played", "rule_used", "p_hours", "p_rule"]].isna().all().all()
    assert found[["days_since", "p_days", "p_end"]].notna().all().all() and left_out == 3


def test_beds_strung_and_worn_out_between_two_calls_are_counted() -> None:
    """Strung after the origin and ended within its fortnight by wear: the first and the fifth."""
    rows = [
        (1, 14, "breaks"),
        (1, 15, "breaks"),
        (0, 5, "breaks"),
        (2, 9, "other"),
        (3, 9, "goes_dead"),
        (3, None, "none"),
    ]
    beds = pd.DataFrame(
        [(day(strung), day(end), cause) for strung, end, cause in rows], columns=["strung_on", "ended_on", "cause"]
    )
    assert count_new_ended(beds, ORIGIN) == 2


def test_what_is_not_counted_is_told_where_there_is_some() -> None:
    """One bed of the nine has no reason on file; beside it two new beds that ended, and three rackets left out."""
    found, left_out = judged()
    first, new, unreasoned, out = record_table.small_print(Backtest(ORIGIN, 2, found, pd.DataFrame(), left_out, 2))
    assert (
        "50 %" in first and "2 beds strung after a call" in new and "1 bed that came out without a reason" in unreasoned
    )
    assert "3 rackets that had ended by the day of the call" in out
    with_reasons = found[found["outcome"] != "unreasoned"]
    assert record_table.small_print(Backtest(ORIGIN, 2, with_reasons, pd.DataFrame(), 0, 0)) == [first]
