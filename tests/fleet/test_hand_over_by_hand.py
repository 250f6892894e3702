"""From a bed's end to its restring, with one delay of each kind, so that every draw can be said beforehand.

Source: worked by hand from what HandOver's fields mean.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.fleet.bench_calendar import AHEAD_DAYS
from pipeline.fleet.hand_over import HandOver

# two days from the record of a worn bed to its restring, three after any other end, five in the bag before the record
WAY = HandOver(
    np.array([2.0]), np.array([3.0]), np.array([5.0]), np.zeros(AHEAD_DAYS), np.arange(AHEAD_DAYS, dtype=float)
)


def rng() -> np.random.Generator:
    return np.random.default_rng(0)


def test_a_worn_bed_lies_in_the_bag_and_then_waits_any_other_only_waits() -> None:
    """On day 1: 1 + 5 + 2 and 1 + 3."""
    assert WAY.restrung(np.array([1.7, 1.7]), np.array([False, True]), rng()).tolist() == [8.0, 4.0]


@pytest.mark.parametrize(("waited", "day"), [(0.0, 1.0), (1.0, 0.0)])
def test_who_waits_already_has_so_much_less_to_wait(waited: float, day: float) -> None:
    """Day 0 is the day after the origin: 2 - 0 - 1 and 2 - 1 - 1."""
    assert WAY.still_waiting(np.array([waited]), 3, rng()).tolist() == [[day] * 3]


def test_who_has_waited_longer_than_anybody_comes_within_five_days() -> None:
    days = WAY.still_waiting(np.array([2.0]), 400, rng())
    assert sorted(set(days.ravel())) == [0.0, 1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize(("since", "day"), [(0.0, 6.0), (1.5, 5.0), (4.0, 2.0), (5.0, 2.0)])
def test_a_bed_that_has_ended_unseen_comes_by_and_by(since: float, day: float) -> None:
    """What is left in the bag (5 - since - 1, none once it is longer than ever), then the bench's two days."""
    assert WAY.over_already(np.array([since]), 3, rng()).tolist() == [[day] * 3]


def test_a_closed_day_passes_the_job_to_the_next_open_one() -> None:
    """Day 8 is kept closed for certain, the bench is open from day 10 on."""
    keeps, opens = np.zeros(AHEAD_DAYS), np.arange(AHEAD_DAYS, dtype=float)
    keeps[8], opens[8] = 1.0, 10.0
    way = replace(WAY, keeps_closed=keeps, open_from=opens)
    assert way.restrung(np.array([1.0, 2.0]), np.array([False, False]), rng()).tolist() == [10.0, 9.0]
