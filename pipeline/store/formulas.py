"""Text that a spreadsheet would run as a formula in, text that it shows as text out; and back again, exactly.

A cell that begins with = + - or @ (after blanks or not), or with a tab or a line end, gets an apostrophe in front when
it is written; so does one that begins with apostrophes followed by such a mark. Reading takes one apostrophe off a cell
of that shape. Nothing else is touched, so writing and reading again gives the same text, whatever it was.
Source: common practice against formula injection in CSV; the way back is ours.
"""

from __future__ import annotations

import re

from pipeline.contract.typed import literal

MARKS = "=+@\uff1d\uff0b\uff0d\uff20-"  # the wide forms count as their plain ones in some spreadsheets
RUNS = re.compile(f"'*(?:[ \u00a0]*[{MARKS}]|[\t\r\n])")
IN_BYTES = re.compile(rb"'(?:[ ]|\xc2\xa0)*(?:[=+@\-\t\r\n]|\xef\xbc|\Z)")
"""Where the bytes of a file may hold a neutralised cell; a piece of a file that ends within one counts."""
TEXT_KINDS = ("id", "label", "text", "list")


def neutralised(text: str) -> str:
    """The cell of a CSV file for this text."""
    return "'" + text if RUNS.match(text) else text


def read_back(text: str) -> str:
    """The text for this cell of a CSV file."""
    return text[1:] if text.startswith("'") and RUNS.match(text) else text


def read_back_sql(cell: str) -> str:
    """`read_back` as SQL over an expression."""
    is_so = f"regexp_matches({cell}, {literal(f'^{RUNS.pattern}')})"
    return f"case when starts_with({cell}, chr(39)) and {is_so} then substr({cell}, 2) else {cell} end"
