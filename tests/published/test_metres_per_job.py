"""Metres a job takes, held against what tournaments reported and what is sold."""

from __future__ import annotations

import pytest

from pipeline.fleet.reels.metres import metres_per_job
from pipeline.fleet.reels.reel_jobs import jobs_in

# head in cm2 (95 to 110 square inches), mains, crosses: the usual frames, common practice
USUAL = [(head, 16, crosses) for head in (613, 632, 645, 677, 710) for crosses in (18, 19, 20)]
USUAL += [(head, 18, crosses) for head in (613, 632, 645, 658) for crosses in (19, 20)] + [(645, 14, 18)]

# metres strung over rackets strung, from reported totals: Wimbledon 2007, US Open 2019 (35 miles), Roland Garros 2013
REPORTED_M = (21_730 / 2_200, 35 * 1_609.344 / 5_500, 40_000 / 3_500)


@pytest.mark.parametrize("frame", USUAL, ids=str)
def test_every_usual_frame_takes_what_the_trade_cuts(frame: tuple[int, int, int]) -> None:
    assert 9.9 <= metres_per_job(*frame).total_m <= 12.2


def test_the_reported_totals_lie_about_the_usual_frames() -> None:
    totals = [metres_per_job(*frame).total_m for frame in USUAL]
    assert [round(m, 1) for m in REPORTED_M] == [9.9, 10.2, 11.4]
    assert min(totals) < sum(REPORTED_M) / 3 + 0.5 and max(totals) > max(REPORTED_M)


@pytest.mark.parametrize("frame", USUAL, ids=str)
def test_a_set_for_sale_is_enough(frame: tuple[int, int, int]) -> None:
    """A set: 40 ft (12.19 m), of which 22 ft for the mains and 18 ft for the crosses; common practice."""
    assert metres_per_job(*frame).total_m <= 40 * 0.3048
    assert metres_per_job(*frame).mains_m <= 22 * 0.3048


def test_jobs_in_a_reel_are_counted_reel_by_reel() -> None:
    """200 m / 660 ft and 100 m / 330 ft at 11.5 m a job: 17, and 16 from two halves; computed."""
    assert jobs_in(200, 11.5) == 17
    assert 2 * jobs_in(100, 11.5) == 16
