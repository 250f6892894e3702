"""The drawn string bed: right number of strings, signs that grow with the grade, the same look always the same picture.

Held against the ITF Rules of Tennis, appendix II: hitting surface at most 39.4 by 29.2 cm, pattern generally uniform
and not less dense in the centre.
"""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import pytest

from dashboard import string_bed
from dashboard.palette import palette
from dashboard.string_bed import string_bed_svg

COLOURS = palette("light")
SVG = "{http://www.w3.org/2000/svg}"


def draw(**signs: int | bool) -> ElementTree.Element:
    return ElementTree.fromstring(string_bed_svg(16, 19, COLOURS, **signs))


def paths(picture: ElementTree.Element, attribute: str) -> list[str]:
    """The paths of the group drawn in the colour of signs, as a fill or as a stroke."""
    return [
        path.get("d", "")
        for group in picture.iter(f"{SVG}g")
        if group.get(attribute) == COLOURS.breaks
        for path in group.findall(f"{SVG}path")
    ]


def test_as_many_strings_as_the_pattern() -> None:
    mains = [g.findall(f"{SVG}polyline") for g in draw().iter(f"{SVG}g") if g.get("stroke") == COLOURS.ink]
    crosses = [g.findall(f"{SVG}path") for g in draw().iter(f"{SVG}g") if g.get("stroke") == COLOURS.quiet]
    assert len(mains[0]) == 16
    assert len(crosses[0]) == 19


def test_a_bed_without_signs_shows_none() -> None:
    assert not paths(draw(), "fill")
    assert not paths(draw(), "stroke")


@pytest.mark.parametrize(("sign", "attribute"), [("notching", "fill"), ("fraying", "stroke")])
def test_signs_spread_with_the_grade(sign: str, attribute: str) -> None:
    counts = [len(paths(draw(**{sign: grade}), attribute)) for grade in range(4)]
    assert counts[0] == 0
    assert all(less < more for less, more in pairwise(counts))


def test_mains_wander_further_with_the_grade() -> None:
    largest = [
        max(abs(string_bed._shift(i, y, grade)) for i in range(16) for y in range(-160, 161, 8)) for grade in range(4)
    ]
    assert largest[0] == 0
    assert all(less < more for less, more in pairwise(largest))


def test_a_broken_main_is_in_two_pieces() -> None:
    ink = [g for g in draw(is_broken=True).iter(f"{SVG}g") if g.get("stroke") == COLOURS.ink]
    assert len(ink[0].findall(f"{SVG}polyline")) == 15
    assert ink[0].find(f"{SVG}path").get("d").count("M") == 2


def test_the_same_look_is_the_same_picture() -> None:
    assert string_bed_svg(18, 20, COLOURS, notching=2) == string_bed_svg(18, 20, COLOURS, notching=2)


def test_hoop_has_the_proportions_of_a_racket() -> None:
    """Length over width of the largest hitting surface in the rules: 39.4 / 29.2."""
    assert pytest.approx(39.4 / 29.2, rel=0.05) == string_bed.HOOP_Y / string_bed.HOOP_X


@pytest.mark.parametrize("count", [14, 16, 18, 20])
def test_pattern_is_not_less_dense_in_the_centre(count: int) -> None:
    gaps = [b - a for a, b in pairwise(string_bed._places(count, string_bed.HOOP_X))]
    middle = len(gaps) // 2
    assert min(gaps) == pytest.approx(min(gaps[middle - 1 : middle + 1]))
    assert max(gaps) < 1.5 * min(gaps)


def test_picture_holds_no_text_and_no_reference_outside() -> None:
    svg = string_bed_svg(16, 19, COLOURS, fraying=3, notching=3, misalignment=3, is_broken=True)
    assert "<text" not in svg
    assert "href" not in svg
