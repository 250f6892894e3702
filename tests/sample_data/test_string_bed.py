"""The simulated string bed behaves as the trade and the literature say strings do: order, direction, usual ranges."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest

from sample_data.string_bed import MATERIALS, BedStrings, Bout, StringBed

POLYESTER = BedStrings("polyester", "polyester", 1.25, False, 23.0, 1.0, 630.0)
MATCH_HIT = {"power": 1.3, "brush": 1.0, "grit": 0.0}


def other(**changes: object) -> BedStrings:
    return dataclasses.replace(POLYESTER, **changes)  # type: ignore[arg-type]


def full_bed(material: str, **changes: object) -> BedStrings:
    return other(mains_material=material, crosses_material=material, **changes)


def hits_to_break(strings: BedStrings, seed: int = 0, **hit: float) -> int:
    """Hits until it parts, an hour of 260 at a time, ten hours a week."""
    bed, rng = StringBed(strings, 1.0, 1.0), np.random.default_rng(seed)
    for hour in range(1, 2000):
        if bed.play(Bout(260, **(MATCH_HIT | hit)), 24 + 17.0 * hour, rng):
            return 260 * hour
    raise AssertionError("never breaks")


def played(strings: BedStrings, count_hours: int, age_hours: float = 400.0, **hit: float) -> StringBed:
    bed, rng = StringBed(strings, 9.0, 1.0), np.random.default_rng(1)
    for _ in range(count_hours):
        bed.play(Bout(260, **(MATCH_HIT | hit)), age_hours, rng)
    return bed


@pytest.mark.parametrize(
    ("sooner", "later"),
    [
        # thicker lasts longer (common practice)
        (other(mains_gauge_mm=1.18), other(mains_gauge_mm=1.30)),
        (full_bed("multifilament", mains_gauge_mm=1.25), full_bed("multifilament", mains_gauge_mm=1.35)),
        # shaped profiles suffer more from notching (common practice)
        (other(is_mains_shaped=True), POLYESTER),
        # durability: polyester > multifilament > natural gut (shop guide, common practice); nylon frays through first
        (full_bed("multifilament", mains_gauge_mm=1.25), POLYESTER),
        (full_bed("natural_gut"), POLYESTER),
        # hard crosses saw soft mains (common practice)
        (other(mains_material="natural_gut"), full_bed("natural_gut")),
        # an open pattern lets the mains slip further (common practice)
        (other(openness=1.05), other(openness=0.9)),
    ],
)
def test_what_breaks_sooner(sooner: BedStrings, later: BedStrings) -> None:
    assert hits_to_break(sooner) < hits_to_break(later)


@pytest.mark.parametrize(
    "harder",
    [
        {"brush": 1.45},  # topspin wears faster than flat hitting (common practice)
        {"power": 1.5},  # competitive play faster than recreational (common practice)
        {"grit": 0.25},  # grit carried to the crossings speeds wear on clay (US patent 6,506,134, background)
    ],
)
def test_what_wears_faster(harder: dict[str, float]) -> None:
    assert hits_to_break(POLYESTER, **harder) < hits_to_break(POLYESTER)


def test_a_junior_who_hits_hard_breaks_multifilament_in_about_a_dozen_hours() -> None:
    # 8-10 h (coaching article, 2013, common practice); 260 hits an hour of match play (J Sports Sci Med 2007)
    hours = hits_to_break(full_bed("multifilament", mains_gauge_mm=1.30), brush=1.3) / 260
    assert 6 <= hours <= 14


def test_polyester_goes_dead_long_before_it_breaks() -> None:
    # players report a dead bed after 2-20 h (Lindsey 2013, part 1); restring at 20 % (Racquet Sports Industry, 2007)
    lost = [played(POLYESTER, hours).deadness(400.0) for hours in (0, 4, 8, 16)]
    assert lost == sorted(lost)
    assert lost[1] < 0.20 < lost[3]
    assert hits_to_break(POLYESTER) / 260 > 20


def test_holding_tension_goes_the_other_way_than_durability() -> None:
    # holding, best to worst: gut, nylon, then polyester (Lindsey & Cross 2016; USRSA)
    lost = [played(full_bed(name), 8).stiffness_lost(400.0) for name in ("natural_gut", "synthetic_gut", "polyester")]
    assert lost == sorted(lost)


def test_loss_at_rest_is_near_equal_per_decade_and_never_stops() -> None:
    # relaxation is near linear in the log of time (Cross, Sports Engineering 3, 2000, from memory)
    bed = StringBed(POLYESTER, 1.0, 1.0)
    losses = [bed.relaxed_share(hours) for hours in (1, 10, 100, 1000)]
    steps = np.diff(losses)
    assert min(steps) > 0
    assert max(steps) / min(steps) < 1.15


def test_stiffness_lost_in_the_first_day_is_in_the_usual_range_for_polyester() -> None:
    # usual 8-12 % in the first 24 h (stringer's log and shop log, 2009-2011, common practice)
    bed = StringBed(POLYESTER, 1.0, 1.0)
    assert 0.06 <= 1 - bed.tension_n(24.0) / bed.tension_n(0.0) <= 0.12


def test_tension_new_is_about_thirty_per_cent_below_the_pull() -> None:
    # Cross & Bower, Sports Engineering 4, 2001
    pull_n = POLYESTER.mains_kg * 9.80665
    assert 0.65 <= StringBed(POLYESTER, 1.0, 1.0).tension_n(0.0) / pull_n <= 0.75


def test_pitch_of_a_new_bed_is_in_the_usual_band_and_goes_as_the_root_of_tension() -> None:
    # the tapped bed: 500-700 Hz; T goes as f squared (Cross, Measuring string tension, 2006)
    fresh = StringBed(POLYESTER, 1.0, 1.0)
    worn = played(POLYESTER, 10)
    assert 500 <= fresh.pitch_hz(24.0) <= 700
    ratio = worn.tension_n(400.0) / fresh.tension_n(24.0)
    assert math.isclose((worn.pitch_hz(400.0) / fresh.pitch_hz(24.0)) ** 2, ratio, rel_tol=1e-9)


def test_monofilaments_do_not_fray_and_soft_strings_do() -> None:
    # common practice
    assert played(POLYESTER, 8).frayed() == 0
    assert played(full_bed("multifilament"), 8).frayed() > 0.1


@pytest.mark.parametrize("material", sorted(MATERIALS))
def test_wear_only_grows(material: str) -> None:
    bed, rng = StringBed(full_bed(material), 9.0, 1.0), np.random.default_rng(2)
    seen = []
    for hour in range(20):
        seen.append((-bed.notch_mm, bed.section_left(), bed.tension_n(24.0 * hour + 6)))
        bed.play(Bout(260, **MATCH_HIT), 24.0 * hour + 6, rng)
    for before, after in itertools.pairwise(seen):
        assert all(new <= old for old, new in zip(before, after, strict=True))


def test_a_new_bed_is_whole() -> None:
    bed = StringBed(POLYESTER, 1.0, 1.0)
    assert bed.section_left() == 1.0
    assert bed.deadness(24.0) == 0.0
    assert bed.break_used(1.2, 24.0) == 0.0


def test_no_hits_no_wear() -> None:
    bed = StringBed(POLYESTER, 1.0, 1.0)
    assert not bed.play(Bout(0, **MATCH_HIT), 24.0, np.random.default_rng(0))
    assert bed.notch_mm == 0.0
