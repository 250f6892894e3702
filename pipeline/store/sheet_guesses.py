"""Cells of one column of a club's own sheet in, what they likely mean out: a unit, a way of reading, an id, a word.

Each guess comes with its reason in words and with whether it is sure; a person confirms it, see `sheet_proposal.py`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.contract.resources import Field
from pipeline.store.sheet_values import ISO, PAIR, PATTERN, is_day_first, number, pair, readings_for
from pipeline.store.sheet_words import CHOICES, NO, YES

POUNDS_FROM = 40
"""A usual pull from here on is in pounds: hardly a frame allows it in kilograms (common practice)."""

Guess = tuple[str, str, bool]
"""What it becomes ("" = nothing found), why, and whether that is sure."""


def plain_heading(text: str) -> str:
    """Lower case, words parted by one space, marks left out."""
    return " ".join(re.sub(r"[^\w]+|_", " ", text.lower()).split())


@dataclass(frozen=True)
class Directory:
    """What the store knows by name: per file, id -> the words it goes by."""

    names: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)

    def shown(self, resource: str, key: str) -> str:
        """The names that stand behind an id, two at most."""
        return ", ".join(self.names.get(resource, {}).get(key, ())[:2])


def unit_of_pull(heading: str, name: str, cells: Sequence[str]) -> tuple[str, str]:
    """The column of a pull in the unit its heading or its size says, and why."""
    base = name.rsplit("_", 1)[0]
    words = plain_heading(heading).split()
    if {"lb", "lbs", "pounds"} & set(words):
        return f"{base}_lb", "the heading says pounds"
    if "kg" in words:
        return f"{base}_kg", "the heading says kilograms"
    texts = [pair(cell)[0] for cell in cells]
    pulls = [float(text) for text in texts if re.fullmatch(r"\d+(\.\d+)?", text)]
    if any(cell.lower().rstrip(".").endswith(("lb", "lbs")) for cell in cells):
        return f"{base}_lb", "the cells say pounds"
    if pulls and sorted(pulls)[len(pulls) // 2] >= POUNDS_FROM:
        return f"{base}_lb", f"{pulls[0]:g} is a usual pull in pounds and too much in kilograms"
    return f"{base}_kg", "such pulls are usual in kilograms"


def way_of_reading(f: Field, cells: Sequence[str]) -> Guess:
    """The way of reading that fits a column's cells, why, and whether that is sure."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    ways = readings_for(f)
    if f.kind == "date" and filled and not all(ISO.match(cell) for cell in filled):
        said = is_day_first(filled)
        if said is True:
            return "day first", "a first number above 12 can only be a day", True
        if said is False:
            return "month first", "a second number above 12 can only be a day", True
        if all(re.search("[A-Za-z]", cell) for cell in filled if not ISO.match(cell)):
            return "day first", "the months are named", True
        return "day first", "the dates do not say whether day or month stands first: choose", False
    if "pair" in ways and any(PATTERN.match(cell) or PAIR.match(cell) for cell in filled):
        return "pair", "two numbers in one cell: mains / crosses", True
    if "gauge" in ways and any(re.fullmatch(r"\d{2}\s*l?\s*(g|ga|gauge)?", cell.lower()) for cell in filled):
        return "gauge", "gauge numbers: each is shown with its millimetres below", True
    if "hours and minutes" in ways and any(":" in cell or "h" in cell.lower() for cell in filled):
        return "hours and minutes", "hours and minutes", True
    if "number" in ways and any(number(cell) != cell for cell in filled):
        return "number", "decimal comma or unit in the cells", True
    return "as it is", "", True


def id_by_name(resource: str, given: str, directory: Directory) -> Guess:
    """The id that a text means, why, and whether that is sure; "" where nothing or too much fits."""
    known = directory.names.get(resource, {})
    text = plain_heading(given)
    same = [key for key in known if plain_heading(key) == text]
    if len(same) == 1:
        return same[0], "the same id, written otherwise", True
    whole = [key for key, names in known.items() if text in (plain_heading(name) for name in names)]
    if len(whole) == 1:
        return whole[0], "the only one of this name", True
    if len(whole) > 1:
        return "", f"{len(whole)} have this name: choose ({', '.join(whole[:5])})", False
    part = [key for key, names in known.items() if any(text in plain_heading(name).split() for name in names)]
    if len(part) == 1:
        return part[0], "the only one with this in the name", False
    if len(part) > 1:
        return "", f"{len(part)} have this in their name: choose ({', '.join(part[:5])})", False
    spelt = {plain_heading(name): key for key, names in known.items() for name in (key, *names)}
    near = difflib.get_close_matches(text, list(spelt), n=1, cutoff=0.7)
    return (spelt[near[0]], "spelt alike: check", False) if near else ("", "not known here: choose, or leave it", False)


def choice_of(f: Field, given: str) -> Guess:
    """Which of the field's choices a word means, why, and whether that is sure."""
    text = plain_heading(given)
    for choice in f.choices:
        if text in (plain_heading(word) for word in CHOICES.get(choice, ())):
            return choice, "another word for it", True
    near = difflib.get_close_matches(text, [plain_heading(choice) for choice in f.choices], n=1, cutoff=0.7)
    if near:
        return next(c for c in f.choices if plain_heading(c) == near[0]), "spelt alike: check", False
    return "", f"none of {', '.join(f.choices)}: choose", False


def yes_or_no(given: str) -> Guess:
    """Whether a word or mark means yes or no, why, and whether that is sure."""
    text = given.strip().lower()
    if text in YES:
        return "yes", "a mark for yes", True
    return ("no", "a mark for no", True) if text in NO else ("", "neither yes nor no: choose", False)
