"""The string bed, drawn: weave of mains and crosses, and what an inspection finds on it.

In: the pattern, a grade 0 to 3 for each sign, a `Palette`. Out: an SVG picture as text, drawn by this file alone.
Notches are lozenges at the crossings, frayed filaments short hairs, misalignment mains that no longer run parallel, a
break a main with its two ends apart. Wear is strongest in the middle of the bed, where balls are hit (common practice).
The places are fixed by the grades, so the same look is always the same picture.
"""

from __future__ import annotations

import math

from dashboard.palette import Palette

WIDTH, HEIGHT = 300, 372  # user units; the hoop is close to the proportions of the rules' largest hitting surface
HOOP_X, HOOP_Y = 126.0, 166.0  # half axes of the ellipse inside the frame
CENTRE_X, CENTRE_Y = WIDTH / 2, HEIGHT / 2
GAP = 54  # from the middle to either end of a broken main
Crossing = tuple[int, int, float, float, float]  # main, cross, x, y, strength of the sign there
REACH = (0.0, 0.34, 0.56, 0.86)  # how far from the middle a sign of grade 0, 1, 2, 3 is seen (share of the half axes)


def _places(count: int, half: float) -> list[float]:
    """Offsets of strings from the middle, a little closer in the centre, as on a real frame."""
    steps = [2 * (i + 0.5) / count - 1 for i in range(count)]
    return [half * 0.94 * (0.86 * s + 0.14 * s * abs(s)) for s in steps]


def _half_chord(offset: float, across: float, along: float) -> float:
    """Half the length of a string at `offset` from the middle of an ellipse with half axes across and along."""
    return along * math.sqrt(max(0.0, 1 - (offset / across) ** 2))


def _wobble(i: int, j: int) -> float:
    """A fixed, irregular number between -1 and 1 for the crossing (i, j)."""
    return math.sin(12.9898 * (i + 1) + 78.233 * (j + 1)) * math.cos(37.719 * (i + 2) - 4.581 * (j + 1))


def _shift(i: int, y: float, misalignment: int) -> float:
    """How far a main has wandered sideways at height y (user units)."""
    if misalignment <= 0:
        return 0.0
    size = (0.0, 1.7, 3.3, 4.8)[misalignment]
    within = math.exp(-((y / (HOOP_Y * 0.62)) ** 2))
    return size * within * (math.sin(2.4 * i + 0.9) + 0.55 * math.sin(y / 26 + 1.7 * i))


def string_bed_svg(
    count_mains: int,
    count_crosses: int,
    colours: Palette,
    fraying: int = 0,
    notching: int = 0,
    misalignment: int = 0,
    is_broken: bool = False,
) -> str:
    """The picture of one string bed in its hoop."""
    xs = _places(count_mains, HOOP_X)
    ys = _places(count_crosses, HOOP_Y)
    hoop = f'fill="{colours.paper_second}" stroke="{colours.ink}" stroke-width="7"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">',
        f'<ellipse cx="{CENTRE_X}" cy="{CENTRE_Y}" rx="{HOOP_X + 9}" ry="{HOOP_Y + 9}" {hoop}/>',
        f'<g transform="translate({CENTRE_X} {CENTRE_Y})" fill="none" stroke-linecap="round">',
    ]
    parts += _strings(xs, ys, colours, misalignment, is_broken)
    gone = len(xs) // 2 if is_broken else None
    notched = [at for at in _crossings(xs, ys, notching) if at[0] != gone or abs(at[3]) > GAP]
    frayed = [at for at in _crossings(xs, ys, fraying) if at[0] != gone or abs(at[3]) > GAP]
    parts += _notches(notched, colours, notching, misalignment)
    parts += _hairs(frayed, colours, fraying, misalignment)
    parts += ["</g>", "</svg>"]
    return "".join(parts)


def _strings(xs: list[float], ys: list[float], colours: Palette, misalignment: int, is_broken: bool) -> list[str]:
    """Crosses below, mains above, then the crosses once more where they run over a main."""
    parts = [f'<g stroke="{colours.quiet}" stroke-width="1.9">']
    for y in ys:
        half = _half_chord(y, HOOP_Y, HOOP_X)
        parts.append(f'<path d="M{-half:.1f} {y:.1f}H{half:.1f}"/>')
    parts.append("</g>")
    gone = len(xs) // 2 if is_broken else -1
    for width, colour in ((4.2, colours.paper_second), (2.1, colours.ink)):
        parts.append(f'<g stroke="{colour}" stroke-width="{width}">')
        for i, x in enumerate(xs):
            half = _half_chord(x, HOOP_X, HOOP_Y)
            if i == gone:
                parts.append(f'<path d="{_broken_main(x, half)}"/>')
                continue
            steps = [half * (k / 12 - 1) for k in range(25)] if misalignment else [-half, half]
            points = " ".join(f"{x + _shift(i, y, misalignment):.1f},{y:.1f}" for y in steps)
            parts.append(f'<polyline points="{points}"/>')
        parts.append("</g>")
    for width, colour in ((4.0, colours.paper_second), (1.9, colours.quiet)):
        parts.append(f'<g stroke="{colour}" stroke-width="{width}" stroke-linecap="butt">')
        for j, y in enumerate(ys):
            for i, x in enumerate(xs):
                if (i + j) % 2 or i == gone or abs(x) > _half_chord(y, HOOP_Y, HOOP_X) - 4:
                    continue
                place = x + _shift(i, y, misalignment)
                parts.append(f'<path d="M{place - 3.4:.1f} {y:.1f}h6.8"/>')
        parts.append("</g>")
    return parts


def _broken_main(x: float, half: float) -> str:
    """A main in two pieces, the ends sprung back and apart."""
    upper = f"M{x:.1f} {-half:.1f}V{-GAP}C{x:.1f} {16 - GAP} {x + 11:.1f} {20 - GAP} {x + 19:.1f} {12 - GAP}"
    lower = f"M{x:.1f} {half:.1f}V{GAP}C{x:.1f} {GAP - 16} {x - 10:.1f} {GAP - 21} {x - 18:.1f} {GAP - 13}"
    return upper + lower


def _crossings(xs: list[float], ys: list[float], grade: int) -> list[Crossing]:
    """Crossings that show a sign of this grade: (main, cross, x, y, strength from 0 at the rim to 1 in the middle)."""
    found = []
    for i, x in enumerate(xs):
        for j, y in enumerate(ys):
            distance = math.hypot(x / HOOP_X, y / HOOP_Y) + 0.07 * _wobble(i, j)
            if distance < REACH[grade]:
                found.append((i, j, x, y, 1 - distance / REACH[grade]))
    return found


def _notches(places: list[Crossing], colours: Palette, grade: int, misalignment: int) -> list[str]:
    if grade <= 0:
        return []
    parts = [f'<g fill="{colours.breaks}" stroke="{colours.paper_second}" stroke-width="0.6">']
    for i, _, x, y, strength in places:
        size = (0.0, 3.2, 3.9, 4.8)[grade] * (0.72 + 0.4 * strength)
        place = x + _shift(i, y, misalignment)
        s = f"{size:.1f}"
        parts.append(f'<path d="M{place:.1f} {y - size:.1f}l{s} {s}l-{s} {s}l-{s} -{s}z"/>')
    return [*parts, "</g>"]


def _hairs(places: list[Crossing], colours: Palette, grade: int, misalignment: int) -> list[str]:
    if grade <= 0:
        return []
    parts = [f'<g stroke="{colours.breaks}" stroke-width="1.1">']
    for i, j, x, y, strength in places:
        place = x + _shift(i, y, misalignment)
        for k in range(grade + (1 if strength > 0.45 else 0)):
            angle = 2.2 * k + 1.9 * _wobble(i + 3 * k, j)
            length = (0.0, 4.2, 5.6, 7.4)[grade] * (0.75 + 0.5 * abs(_wobble(j, i + k)))
            dx, dy = length * math.cos(angle), length * math.sin(angle)
            bend = f"{dx * 0.4 - dy * 0.25:.1f} {dy * 0.4 + dx * 0.25:.1f}"
            parts.append(f'<path d="M{place:.1f} {y:.1f}q{bend} {dx:.1f} {dy:.1f}"/>')
    return [*parts, "</g>"]
