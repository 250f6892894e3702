"""The growth plot: seconds of the processor against sessions, both on logarithmic axes.

In: the sizes as measured (scale.py). Out: an SVG picture as text, one line a piece of work with the exponent of its
growth, the slope of a line through the logarithms of all its sizes. Nothing is drawn that was not measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from tests.bench.scale import Scaled, exponents

WIDTH, HEIGHT = 760, 480
LEFT, RIGHT, TOP, BOTTOM = 70, 500, 20, 430
PIECES = {
    "bare": ("bare DuckDB", "#7a7a7a"), "load": ("load", "#1f6f8b"), "first_refresh": ("first refresh", "#b5542d"),
    "refresh": ("refresh on what was learned", "#3c7d3c"), "one_day": ("load one day more", "#7a4f9a"),
}  # fmt: skip


def _decades(least: float, most: float) -> range:
    """The whole powers of ten around both."""
    low, high = math.floor(math.log10(least)), math.ceil(math.log10(most))
    return range(low, max(high, low + 1) + 1)


def _text(x: float, y: float, said: str, anchor: str = "start", fill: str = "#222") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}">{escape(said)}</text>'


def growth_svg(made: Sequence[Scaled], machine: str) -> str:
    """The picture of two sizes or more. machine: what they were measured on, in a line or two."""
    made = sorted(made, key=lambda s: s.sessions)
    seconds = {piece: [getattr(s, piece)[1] for s in made] for piece in PIECES}
    across = _decades(made[0].sessions, made[-1].sessions)
    up = _decades(min(map(min, seconds.values())), max(map(max, seconds.values())))

    def x(sessions: float) -> float:
        return LEFT + (math.log10(sessions) - across[0]) / (across[-1] - across[0]) * (RIGHT - LEFT)

    def y(value: float) -> float:
        return BOTTOM - (math.log10(value) - up[0]) / (up[-1] - up[0]) * (BOTTOM - TOP)

    parts = [f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>']
    for power in across:
        at = x(10.0**power)
        parts.append(f'<path d="M{at:.1f} {TOP}V{BOTTOM}" stroke="#ddd"/>')
        parts.append(_text(at, BOTTOM + 16, f"{10.0**power:,.0f}", "middle"))
    for power in up:
        at = y(10.0**power)
        parts.append(f'<path d="M{LEFT} {at:.1f}H{RIGHT}" stroke="#ddd"/>')
        parts.append(_text(LEFT - 6, at + 4, f"{10.0**power:g} s", "end"))
    slope = exponents(made)
    for row, (piece, (name, colour)) in enumerate(PIECES.items()):
        points = [(x(s.sessions), y(value)) for s, value in zip(made, seconds[piece], strict=True)]
        line = " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
        parts.append(f'<polyline points="{line}" fill="none" stroke="{colour}" stroke-width="2"/>')
        parts += [f'<circle cx="{px:.1f}" cy="{py:.1f}" r="3.5" fill="{colour}"/>' for px, py in points]
        parts.append(_text(RIGHT + 14, TOP + 14 + 20 * row, f"{name}: power {slope[piece]:.2f}", fill=colour))
    parts.append(_text((LEFT + RIGHT) / 2, BOTTOM + 36, "sessions; up: seconds of the processor", "middle"))
    parts += [_text(RIGHT + 14, TOP + 134 + 14 * row, line) for row, line in enumerate(_lines(machine))]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'font-family="sans-serif" font-size="12">{"".join(parts)}</svg>\n'
    )


def _lines(machine: str) -> list[str]:
    """What it was measured on, in pieces short enough for the margin."""
    return [piece.strip() for line in machine.splitlines() for piece in line.split(",")]
