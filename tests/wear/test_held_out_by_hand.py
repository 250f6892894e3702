"""The weeks held out, by hand: which endings fall in them, and the log score of a club of one bed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.wear.held_out import endings_after, weeks_to_hold_out
from pipeline.wear.history import of_steps
from tests.wear.hand_made import FIRST_DAY, Bed, history


def test_endings_count_from_the_day_after() -> None:
    """Beds whose last days are 19, 20, 21 and 30: after day 20 there are two, one of which ended by half."""
    h = history([Bed(days=(5, last), abrasion=(1.0, 2.0)) for last in (19, 20, 21, 30)])
    assert endings_after(h, FIRST_DAY + 20, np.array([1.0, 1.0, 0.5, 1.0])) == 1.5
    assert endings_after(h, FIRST_DAY + 30, np.ones(4)) == 0.0


def test_no_beds_have_no_endings_and_no_weeks() -> None:
    h = history([Bed()])
    none = of_steps(replace(h, cause=np.zeros(1, dtype=np.int64)), np.zeros(1, dtype=bool), h.play)
    assert none.n_beds == 0
    assert endings_after(none, FIRST_DAY, np.zeros(0)) == 0.0
    assert weeks_to_hold_out(none) == 0


@pytest.mark.parametrize(
    ("days", "weeks"),
    [
        (7 * 13, 0),  # 13 x 0.3 = 3.9 weeks, less than four
        (7 * 14 - 1, 0),
        (7 * 14, 4),  # 4.2
        (7 * 50, 15),
        (7 * 89, 26),  # 26.7
        (7 * 300, 26),
    ],
)
def test_three_tenths_of_the_whole_weeks_on_file_are_held_out(days: int, weeks: int) -> None:
    h = history([Bed(days=(3,))], as_of=3 + days)
    assert weeks_to_hold_out(h) == weeks
