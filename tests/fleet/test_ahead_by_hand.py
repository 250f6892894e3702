"""One week of the march ahead, and days left beyond the horizon: few beds, every number set by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.fleet import weeks_ahead
from pipeline.fleet.outlook import days_left


def chunk(left: list[float], x: list[float], x_to: list[float]) -> Any:
    """One racket that is not played with, a draw a number. Other causes: 0.1 a day, whatever the age."""
    made: Any = object.__new__(weeks_ahead._Chunk)
    n = len(left)
    zero = np.zeros((1, n), dtype=np.float32)
    made.draws, made.player, made.share = n, np.array([0]), np.ones((1, 1), dtype=np.float32)
    made.load = np.zeros((1, 1, n), dtype=np.float32)
    made.h0, made.hours_from, made.born = zero, zero.copy(), zero.copy()
    made.hours_to, made.starts = np.full((1, n), np.inf, dtype=np.float32), np.full((1, n), -1.0, dtype=np.float32)
    made.x, made.x_base = zero.copy(), np.array([x], dtype=np.float32)
    made.x_to, made.left = np.array([x_to], dtype=np.float32), np.array([left], dtype=np.float32)
    made.slope = made.rest = np.zeros(1, dtype=np.float32)
    made.other_rate = np.ones(1, dtype=np.float32)
    days, steps = int(weeks_ahead.LAST_DAY) + 1, int(weeks_ahead.LAST_STEP) + 1
    made.other_table = np.full(days * steps, 0.1, dtype=np.float32)
    return made


def ended(made: Any) -> list[int]:
    calls: list[int] = []

    def end(cell: np.ndarray, *_rest: object) -> np.ndarray:
        calls.extend(cell.tolist())
        return np.zeros(0, dtype=np.int64)

    made._end = end
    made._week(0)
    return calls


def test_other_causes_take_a_bed_whose_threshold_the_week_uses_up() -> None:
    """Seven days at 0.1 use 0.7 up."""
    made = chunk([0.5, 0.69, 0.71, 1.5], [0.0] * 4, [np.inf] * 4)
    assert ended(made) == [0, 1]
    assert made.left[0, 2:].tolist() == pytest.approx([0.01, 0.8])


def test_a_bed_ends_when_its_life_is_used_to_the_last_bit() -> None:
    assert ended(chunk([9.0] * 3, [0.5, 1.0, 1.5], [1.0] * 3)) == [1, 2]


@pytest.mark.parametrize(("begun", "count"), [(0.4, 2), (0.6, 1)])
def test_strings_of_the_same_week_meet_other_causes_as_old_as_half_a_week_before_its_end(
    begun: float, count: int
) -> None:
    """Other causes set in on day 3 of a bed. Begun on day 0.4 it is 6.6 days old at the week's end, 3.1 half a week
    before, and 6.6 of its 1 are used up; begun on day 0.6 it is 2.9 then, and nothing is."""
    made = chunk([0.0], [0.0], [np.inf])
    made.other_table = np.zeros_like(made.other_table)
    made.other_table[3 * (int(weeks_ahead.LAST_STEP) + 1) :] = 1.0
    calls = []

    def end(cell: np.ndarray, *_rest: object) -> np.ndarray:
        calls.append(cell.tolist())
        return cell if len(calls) == 1 else np.zeros(0, dtype=np.int64)

    def begin(cell: np.ndarray, *_rest: object) -> None:
        made.begun = np.array([begun])
        made.left.ravel()[cell] = 1.0

    made._end, made._begin = end, begin
    made._week(0)
    assert calls == [[0]] * count


def test_beyond_the_horizon_the_last_fortnights_hazard_goes_on() -> None:
    """0.01 a day for 30 days and on: half of the beds last ln 2 / 0.01 = 69.3 days."""
    wear = np.exp(-0.01 * np.arange(1, 31))[None, :]
    found: Any = SimpleNamespace(survive_wear=wear)
    assert days_left(found, (0.5,))[0, 0] == pytest.approx(100 * np.log(2.0))
