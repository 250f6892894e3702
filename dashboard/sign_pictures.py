"""Reference pictures of an inspection: a close-up of five mains and five crosses for each sign and grade, by material.

In: the sign, a grade 0 to 3, the material of the mains, a `Palette`. Out: an SVG picture as text, drawn by this file
alone. Solid strings (polyester, solid-core nylon, aramid) are thin and notch in lozenges; strings of many fibres
(multifilament, natural gut) are thicker, show their fibres, fray in hairs and are sawn thinner from both sides (common
practice). Lost feel has no look: it is drawn as a ball that flies further past the line. Places are fixed by the grade.
"""

from __future__ import annotations

import math

from dashboard.palette import Palette

SIDE = 96
COUNT = 5
STEP = 17.0
FIRST = (SIDE - STEP * (COUNT - 1)) / 2
SOFT = ("multifilament", "natural_gut")
REACH = (0.0, 1.2, 2.3, 4.0)  # how far from the middle crossing a grade is seen, in crossings
BITE = (0.0, 3.0, 4.2, 5.6)


def sign_svg(sign: str, grade: int, material: str, colours: Palette) -> str:
    """The picture of one grade of one sign on one material."""
    body = _ball(grade, colours) if sign == "lost_feel" else _bed(sign, grade, material in SOFT, colours)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIDE} {SIDE}" width="{SIDE}" height="{SIDE}">'
        f'<rect width="{SIDE}" height="{SIDE}" fill="{colours.paper_second}"/>{body}</svg>'
    )


def _shift(i: int, y: float, misalignment: int) -> float:
    size = (0.0, 1.5, 3.2, 5.2)[misalignment]
    return size * (math.sin(2.4 * i + 0.9) + 0.6 * math.sin(y / 15 + 1.7 * i))


def _bed(sign: str, grade: int, is_soft: bool, colours: Palette) -> str:
    out_of_line = grade if sign == "misalignment" else 0
    places = [FIRST + STEP * i for i in range(COUNT)]
    width = 6.0 if is_soft else 4.2
    parts = [f'<g stroke="{colours.quiet}" stroke-width="{width - 0.6}" fill="none">']
    parts += [f'<path d="M0 {y}H{SIDE}"/>' for y in places]
    parts.append("</g>")
    for stroke, wide in ((colours.paper_second, width + 2.4), (colours.ink, width)):
        parts.append(f'<g stroke="{stroke}" stroke-width="{wide}" fill="none">')
        parts += [f'<polyline points="{_main(i, x, out_of_line)}"/>' for i, x in enumerate(places)]
        parts.append("</g>")
    if is_soft:
        parts.append(f'<g stroke="{colours.paper_second}" stroke-width="0.8" fill="none" opacity="0.55">')
        parts += [f'<polyline points="{_main(i, x - 1.2, out_of_line)}"/>' for i, x in enumerate(places)]
        parts.append("</g>")
    for stroke, wide in ((colours.paper_second, width + 1.8), (colours.quiet, width - 0.6)):
        parts.append(f'<g stroke="{stroke}" stroke-width="{wide}">')
        for i, x in enumerate(places):
            for j, y in enumerate(places):
                if (i + j) % 2:
                    middle = x + _shift(i, y, out_of_line)
                    parts.append(f'<path d="M{middle - 5.6:.1f} {y}h11.2"/>')
        parts.append("</g>")
    if grade and sign == "notching":
        parts += _bites(places, grade, width, colours) if is_soft else _notches(places, grade, colours)
    if grade and sign == "fraying":
        parts += _hairs(places, grade, colours)
    return "".join(parts)


def _main(i: int, x: float, misalignment: int) -> str:
    heights = [SIDE * k / 12 for k in range(13)] if misalignment else [0.0, float(SIDE)]
    return " ".join(f"{x + _shift(i, y, misalignment):.1f},{y:.1f}" for y in heights)


def _seen(places: list[float], grade: int) -> list[tuple[int, int, float, float, float]]:
    """Crossings where the grade is seen: main, cross, x, y, strength from 0 at the edge to 1 in the middle."""
    middle = (COUNT - 1) / 2
    found = []
    for i, x in enumerate(places):
        for j, y in enumerate(places):
            distance = math.hypot(i - middle, j - middle)
            if distance < REACH[grade]:
                found.append((i, j, x, y, 1 - distance / REACH[grade]))
    return found


def _notches(places: list[float], grade: int, colours: Palette) -> list[str]:
    parts = [f'<g fill="{colours.breaks}" stroke="{colours.paper_second}" stroke-width="0.8">']
    for _, _, x, y, strength in _seen(places, grade):
        s = f"{BITE[grade] * (0.75 + 0.45 * strength):.1f}"
        parts.append(f'<path d="M{x} {y - float(s):.1f}l{s} {s}l-{s} {s}l-{s} -{s}z"/>')
    return [*parts, "</g>"]


def _bites(places: list[float], grade: int, width: float, colours: Palette) -> list[str]:
    """Two wedges sawn into the main from both sides, with a clay edge; in the worst only a thread is left."""
    parts = [f'<g fill="{colours.breaks}" stroke="{colours.paper_second}" stroke-width="0.7">']
    for _, _, x, y, strength in _seen(places, grade):
        deep = width / 2 * (0.28, 0.4, 0.62, 0.82)[grade] * (0.8 + 0.3 * strength)
        tall = 1.5 * BITE[grade] * (0.8 + 0.3 * strength)
        for side in (-1, 1):
            edge = x + side * (width / 2 + 2.6)
            parts.append(
                f'<path d="M{edge:.1f} {y - tall:.1f}L{edge - side * (deep + 2.6):.1f} {y:.1f}'
                f'L{edge:.1f} {y + tall:.1f}z"/>'
            )
    return [*parts, "</g>"]


def _hairs(places: list[float], grade: int, colours: Palette) -> list[str]:
    parts = [f'<g stroke="{colours.breaks}" stroke-width="1.3" fill="none" stroke-linecap="round">']
    for i, j, x, y, strength in _seen(places, grade):
        for k in range(grade + 1 + (1 if strength > 0.4 else 0)):
            angle = 2.1 * k + 1.3 * math.sin(5.1 * i + 3.7 * j + k)
            length = (0.0, 5.5, 7.5, 9.5)[grade] * (0.75 + 0.4 * strength)
            dx, dy = length * math.cos(angle), length * math.sin(angle)
            parts.append(f'<path d="M{x} {y}q{dx * 0.4 - dy * 0.3:.1f} {dy * 0.4 + dx * 0.3:.1f} {dx:.1f} {dy:.1f}"/>')
    return [*parts, "</g>"]


def _ball(grade: int, colours: Palette) -> str:
    """A topspin ball over the net: it lands inside the line, or ever further beyond it."""
    ground, line, net = 76, 62, 16
    lands = (52, 68, 78, 88)[grade]
    top = (34, 26, 20, 14)[grade]
    colour = colours.goes_dead if grade == 0 else colours.breaks
    return (
        f'<path d="M0 {ground}H{SIDE}" stroke="{colours.quiet}" stroke-width="2"/>'
        f'<path d="M{line} {ground - 5}V{ground + 5}" stroke="{colours.ink}" stroke-width="4"/>'
        f'<path d="M{net} {ground}V{ground - 22}" stroke="{colours.ink}" stroke-width="2"/>'
        f'<path d="M2 {ground - 28}Q{(lands + 2) / 2 + 8:.0f} {top - 10} {lands} {ground - 6}" fill="none" '
        f'stroke="{colour}" stroke-width="2.2" stroke-dasharray="4 3"/>'
        f'<circle cx="{lands}" cy="{ground - 6}" r="5.5" fill="{colour}"/>'
    )
