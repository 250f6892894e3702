"""What stands where on a printed page, as a ruler would measure it on the paper.

In: the bytes of a PDF, the number of the page. Out: texts, drawn lines and boxes with their places in millimetres from
the upper left corner, read by pdfium, which shares no code with the library that writes. Texts lie on their base line.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import pypdfium2
import pypdfium2.raw as raw

MM = 25.4 / 72.0  # a point


@dataclass(frozen=True)
class Said:
    """One run of text: left end and base line in mm, size in points, whether it is grey; right end."""

    text: str
    x: float
    y: float
    size: float
    is_grey: bool
    right: float


@dataclass(frozen=True)
class Drawn:
    """One line or filled box: its edges in mm, the width of its stroke in mm (0: filled), the grey of 255."""

    left: float
    top: float
    right: float
    bottom: float
    stroke: float
    grey: int


def texts(pdf: bytes, page: int = 0) -> list[Said]:
    """Every run of text of a page, in the order in which it was written."""
    document = pypdfium2.PdfDocument(pdf)
    sheet = document[page]
    words = sheet.get_textpage()
    height = sheet.get_height()
    found = []
    for thing in sheet.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
        length = raw.FPDFTextObj_GetText(thing.raw, words.raw, None, 0)
        letters = ctypes.create_string_buffer(length)
        raw.FPDFTextObj_GetText(thing.raw, words.raw, ctypes.cast(letters, ctypes.POINTER(ctypes.c_ushort)), length)
        text = letters.raw[: length - 2].decode("utf-16-le")
        size = ctypes.c_float()
        raw.FPDFTextObj_GetFontSize(thing.raw, size)
        matrix = thing.get_matrix()
        _, _, right, _ = thing.get_bounds()
        if text.strip():
            found.append(
                Said(text, matrix.e * MM, (height - matrix.f) * MM, round(size.value * matrix.d, 2), _grey(thing) > 0,
                     right * MM)
            )  # fmt: skip
    return found


def drawings(pdf: bytes, page: int = 0) -> list[Drawn]:
    """Every line and box of a page, in the order in which it was drawn."""
    sheet = pypdfium2.PdfDocument(pdf)[page]
    height = sheet.get_height()
    found = []
    for thing in sheet.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        left, bottom, right, top = thing.get_bounds()
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(thing.raw, fill, stroke)
        width = ctypes.c_float()
        raw.FPDFPageObj_GetStrokeWidth(thing.raw, width)
        wide = width.value * MM if stroke.value else 0.0
        # pdfium's edges lie outside a stroke by its width
        found.append(
            Drawn(left * MM + wide, (height - top) * MM + wide, right * MM - wide, (height - bottom) * MM - wide, wide,
                  _grey(thing, bool(stroke.value)))
        )  # fmt: skip
    return found


def _grey(thing: pypdfium2.PdfObject, is_stroke: bool = False) -> int:
    """0 black to 255 white."""
    red, green, blue, alpha = (ctypes.c_uint() for _ in range(4))
    read = raw.FPDFPageObj_GetStrokeColor if is_stroke else raw.FPDFPageObj_GetFillColor
    read(thing.raw, red, green, blue, alpha)
    return int(red.value)
