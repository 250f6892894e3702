"""Paper with the house's fonts: black on white, a serif for headings, a sans for the rest, lengths in millimetres.

In: nothing but the fonts beside this file (open licences, see fonts/LICENSE-*.txt): Latin, Greek and Cyrillic in the
house's own look; Hebrew, Arabic, Armenian, Georgian and signs from a further font. A name in letters that none of them
has is printed as the number it stands for, and the sheet says so. Out: Paper, and PDF bytes.
"""

from __future__ import annotations

import logging
from functools import cache
from importlib.resources import files
from typing import Any

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from pipeline.fleet.words import is_missing

SANS, SERIF, FURTHER = "fleet sans", "fleet serif", "further"
GREY, RULE = 90, 170  # of 255
PT_MM = 0.3528
logging.getLogger("fontTools").setLevel(logging.ERROR)  # it tells of every table of a font that it drops


def _font(name: str) -> bytes:
    return files(__package__).joinpath("fonts", name).read_bytes()


class Paper(FPDF):
    """A document in millimetres with the fonts set up. size: width and height, or a name such as A4."""

    def __init__(self, size: tuple[float, float] | str = "A4", margin: float = 14.0) -> None:
        super().__init__("portrait", "mm", size)
        self.c_margin = 0.0  # text starts where it is put
        folder = files(__package__).joinpath("fonts")
        for family, style, name in (
            (SANS, "", "FleetSans-Regular.ttf"),
            (SANS, "B", "FleetSans-Bold.ttf"),
            (SERIF, "B", "FleetSerif-Bold.ttf"),
            (FURTHER, "", "DejaVuSans-Further.ttf"),
        ):
            self.add_font(family, style, str(folder.joinpath(name)))
        self.set_fallback_fonts([FURTHER], exact_match=False)
        self.set_margin(margin)
        self.set_auto_page_break(False)
        self.set_creator("racket-fleet")
        self.has_numbers_for_names = False

    def say(
        self, x: float, y: float, text: str, size: float, width: float, bold: bool = False, serif: bool = False,
        grey: bool = False, align: str = "L", smallest: float | None = None,
    ) -> None:  # fmt: skip
        """One line at a place, made smaller down to `smallest`, then cut off with an ellipsis, where it is too wide."""
        self.set_text_color(GREY if grey else 0)
        least = smallest or size * 0.7
        family, style = (SERIF, "B") if serif else (SANS, "B" if bold else "")
        self.set_font(family, style, size)
        while size > least and self.get_string_width(text) > width:
            size = max(size - 0.5, least)
            self.set_font(family, style, size)
        if self.get_string_width(text) > width:
            while text and self.get_string_width(text + "…") > width:
                text = text[:-1]
            text = text.rstrip() + "…"
        self.set_xy(x, y)
        self.cell(width, size * PT_MM * 1.2, text, align=align, new_x=XPos.LEFT, new_y=YPos.TOP)
        self.set_text_color(0)

    def paragraph(self, x: float, y: float, text: str, size: float, width: float, grey: bool = False) -> float:
        """Text over several lines; the y below it."""
        self.set_text_color(GREY if grey else 0)
        self.set_font(SANS, "", size)
        self.set_xy(x, y)
        self.multi_cell(width, size * PT_MM * 1.25, text, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        self.set_text_color(0)
        return float(self.get_y())

    def height_of(self, text: str, size: float, width: float) -> float:
        """How high `paragraph` will be."""
        self.set_font(SANS, "", size)
        lines: Any = self.multi_cell(width, size * PT_MM * 1.25, text, align="L", dry_run=True, output="LINES")
        return len(lines) * size * PT_MM * 1.25

    def rule(self, y: float, x_from: float | None = None, x_to: float | None = None, thick: float = 0.2) -> None:
        """A thin line across."""
        self.set_draw_color(RULE if thick < 0.3 else 0)
        self.set_line_width(thick)
        self.line(self.l_margin if x_from is None else x_from, y, self.w - self.r_margin if x_to is None else x_to, y)

    def tick_box(self, x: float, y: float, side: float = 6.0) -> None:
        """An empty box to tick."""
        self.set_draw_color(0)
        self.set_line_width(0.4)
        self.rect(x, y, side, side)

    def name(self, name: Any, number: Any) -> str:
        """A name as it can be printed; in letters that no font here has, the number it stands for."""
        if is_missing(name):
            return "" if is_missing(number) else str(number)
        text = " ".join(str(name).split())
        if can_print(text):
            return text
        self.has_numbers_for_names = True
        return "?" if is_missing(number) else str(number)

    def small_print(self, y: float, text: str = "") -> None:
        """A line at the foot, with a word on names that could not be printed."""
        said = [text] if text else []
        if self.has_numbers_for_names:
            said.append("Names in letters that the printed fonts have not are given as numbers.")
        if said:
            self.paragraph(self.l_margin, y, " ".join(said), 8, self.w - self.l_margin - self.r_margin, grey=True)

    def to_bytes(self) -> bytes:
        """The finished PDF."""
        return bytes(self.output())


@cache
def _letters() -> frozenset[int]:
    from io import BytesIO

    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    found: set[int] = set()
    for name in ("FleetSans-Regular.ttf", "DejaVuSans-Further.ttf"):
        found |= set(TTFont(BytesIO(_font(name))).getBestCmap())
    return frozenset(found)


def can_print(text: str) -> bool:
    """Whether every letter is in one of the fonts."""
    return all(ord(letter) in _letters() or letter.isspace() for letter in text)
