"""Text that a spreadsheet would run as a formula in, text that it shows as text out; and back again, exactly.

A cell that begins with = + - or @ (after blanks or not), or with a tab or a line end, gets an apostrophe in front when
it is written; so does one that begins with apostrophes followed by such a mark. Reading takes one apostrophe off a cell
of that shape. Nothing else is touched, so writing and reading again gives the same text, whatever it was.
Source: common practice against formula injection in CSV; the way back is ours.
"""

from __future__ import annotations

import re

MARKS = "=+@\uff1d\uff0b\uff0d\uff20-"  # the wide forms count as their plain ones in some spreadsheets
RUNS = re.compile(rf"'*(?:[ \u00a0]*[{MARKS}]|[\t\r\n])")
READS_PATTERN = rf"^''*([ \u00a0]*[{MARKS}]|[\t\r\n])"
"""SQL form (RE2) of a cell that was neutralised."""
IN_BYTES = re.compile(rb"'(?:[ ]|\xc2\xa0)*(?:[=+@\-\t\r\n]|\xef\xbc)")
TEXT_KINDS = ("id", "label", "text", "list")


def neutralised(text: str) -> str:
    """The cell of a CSV file for this text."""
    return "'" + text if RUNS.match(text) else text


def read_back(text: str) -> str:
    """The text for this cell of a CSV file."""
    return text[1:] if text.startswith("'") and RUNS.match(text) else text
