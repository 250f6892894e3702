"""A club's own sheet in, a proposal how to read it out: data for a person to look at, change and confirm.

Nothing is written here and nothing is guessed in silence: every heading, every way of reading and every replaced value
stands in the proposal with its reason; what is not sure is marked, and what is open is listed.
"""

from __future__ import annotations

import difflib
import json
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace

from pipeline.contract.resources import Contract, Field, Resource
from pipeline.contract.typed import FALSE_WORDS, TRUE_WORDS
from pipeline.store.errors import StoreError
from pipeline.store.sheet_guesses import (
    Directory,
    choice_of,
    id_by_name,
    plain_heading,
    unit_of_pull,
    way_of_reading,
    yes_or_no,
)
from pipeline.store.sheet_values import gauge, number, readings_for
from pipeline.store.sheet_words import HEADINGS, IDS
from pipeline.store.sheets import Sheet

NEAR = 0.78  # likeness of two headings (difflib ratio) from which one is proposed for the other, unsure
MOST_VALUES = 500
OWN_ID = 0.1
PARTNER = {"mains_kg": "crosses_kg", "mains_lb": "crosses_lb", "mains": "crosses"}


@dataclass(frozen=True)
class SheetMap:
    """How a sheet is read, as a person confirmed it; kept in the store by its set of headings.

    `fields`: heading -> column of the contract ("" = left out). `readings`: heading -> a name of `READINGS`.
    `values`: column -> {cell as it stood -> cell of the contract}. `constants`: column -> what every row gets.
    """

    resource: str
    fields: Mapping[str, str]
    readings: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> str:
        """The map as text to be kept."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> SheetMap:
        """The map out of kept text."""
        return cls(**json.loads(text))


@dataclass(frozen=True)
class Column:
    """What is proposed for one heading; `field` "" = left out. `fills_too`: a second column, of `52/50` or `16x19`."""

    heading: str
    examples: tuple[str, ...]
    field: str
    reading: str
    why: str
    is_sure: bool
    readings: tuple[str, ...] = ("as it is",)
    fills_too: str = ""


@dataclass(frozen=True)
class Value:
    """What is proposed for one cell text of one column; `becomes` "" = nothing found, the cell stays as it stands."""

    field: str
    given: str
    count: int
    becomes: str
    shown: str  # what `becomes` stands for, such as a player's name
    why: str
    is_sure: bool


@dataclass(frozen=True)
class Proposal:
    """How a sheet might be read. `open` lists what a person has to decide before anything can be loaded well."""

    sheet_name: str
    resource: str
    resources: tuple[str, ...]  # every file it might be, the likeliest first
    columns: tuple[Column, ...]
    values: tuple[Value, ...]
    open: tuple[str, ...]
    makes_ids: str  # how ids are made where the sheet has none; "" where it has
    is_remembered: bool
    suggested: SheetMap
    notes: tuple[str, ...] = ()

    def confirmed(
        self,
        fields: Mapping[str, str] | None = None,
        readings: Mapping[str, str] | None = None,
        values: Mapping[str, Mapping[str, str]] | None = None,
        constants: Mapping[str, str] | None = None,
    ) -> SheetMap:
        """The proposal with what the person changed: each argument holds only the changes."""
        known = self.suggested
        merged = {column: dict(given) for column, given in known.values.items()}
        for column, given in (values or {}).items():
            merged.setdefault(column, {}).update(given)
        return SheetMap(
            self.resource,
            {**known.fields, **(fields or {})},
            {**known.readings, **(readings or {})},
            {column: {k: v for k, v in given.items() if v} for column, given in merged.items()},
            {k: v for k, v in {**known.constants, **(constants or {})}.items() if v},
        )


def headings_key(sheet: Sheet) -> str:
    """The set of headings, whatever their order: what a confirmed way of reading is remembered by."""
    return chr(31).join(sorted(plain_heading(heading) for heading in sheet.headings))


def _likeness(heading: str, field_name: str) -> float:
    words = plain_heading(heading)
    if words == plain_heading(field_name):
        return 1.0
    known = HEADINGS.get(field_name, ())
    if words in known:
        return 0.95 - 0.01 * known.index(words)
    bare = re.sub(r"\b(kg|lb|lbs|mm|m|min|minutes|eur|usd|gbp)\b", "", words).strip()
    if bare and bare in known:
        return 0.85
    near = max(difflib.SequenceMatcher(None, words, word).ratio() for word in (plain_heading(field_name), *known))
    return near * 0.8 if near >= NEAR else 0.0


def _assign(sheet: Sheet, resource: Resource) -> dict[str, tuple[Field, float]]:
    """Heading -> the column it is most like, each column once; a word such as `string` is a name before it is an id."""
    own_id = resource.key[0] if resource.name in IDS else ""
    scores = sorted(
        (
            (_likeness(heading, f.name) - (OWN_ID if f.name == own_id else 0.0), -place, heading, f)
            for place, f in enumerate(resource.fields)
            for heading in sheet.headings
        ),
        key=lambda score: score[:2],
        reverse=True,
    )
    taken: dict[str, tuple[Field, float]] = {}
    used: set[str] = set()
    for score, _, heading, f in scores:
        if score > 0 and heading not in taken and f.name not in used:
            taken[heading] = (f, score)
            used.add(f.name)
    return taken


def _rank(sheet: Sheet, contract: Contract) -> list[str]:
    """Every file's name, the likeliest first: by likeness of the headings, less what must be there and is not."""

    def score(resource: Resource) -> float:
        taken = _assign(sheet, resource)
        found = {f.name for f, _ in taken.values()}
        made = {resource.key[0]} if resource.name in IDS else set()
        missing = [name for name in resource.required_columns if name not in found | made]
        by_name = 1.0 if resource.name.rstrip("s") in plain_heading(sheet.name) else 0.0
        return sum(score for _, score in taken.values()) - 0.7 * len(missing) + by_name

    return sorted(contract.resources, key=lambda name: -score(contract.resources[name]))


def _column(
    sheet: Sheet, resource: Resource, heading: str, found: tuple[Field, float] | None, taken: set[str]
) -> Column:
    cells = sheet.column(heading)
    examples = tuple(dict.fromkeys(cell for cell in cells if cell.strip()))[:3]
    if found is None:
        return Column(heading, examples, "", "as it is", "no column of this file is like it: left out", True)
    f, score = found
    name, why = f.name, "" if score >= 0.99 else f"{heading} is a usual word for {f.name}"
    is_sure = score >= 0.84
    if not is_sure:
        why = f"{heading} is like {f.name}: check"
    if re.fullmatch(r"(mains|crosses)_(kg|lb)", name):
        other, unit_why = unit_of_pull(heading, name, [cell for cell in cells if cell.strip()])
        name = other if other == name or other not in taken else name
        why = unit_why
        is_sure = is_sure and "usual" not in unit_why
        f = resource.field(name)
    reading, reading_why, is_read_surely = way_of_reading(f, cells)
    fills_too = PARTNER.get(name, "") if reading == "pair" else ""
    why = "; ".join(part for part in (why, reading_why) if part)
    return Column(heading, examples, name, reading, why, is_sure and is_read_surely, readings_for(f), fills_too)


def _values(sheet: Sheet, resource: Resource, column: Column, directory: Directory) -> list[Value]:
    if not column.field:
        return []
    f = resource.field(column.field)
    refers = {key.field: key.resource for key in resource.foreign_keys}
    counts = Counter(cell.strip() for cell in sheet.column(column.heading) if cell.strip())
    found = []
    for given, count in counts.most_common(MOST_VALUES):
        shown = ""
        if f.name in refers:
            if given in directory.names.get(refers[f.name], {}):
                continue
            becomes, why, is_sure = id_by_name(refers[f.name], given, directory)
            shown = directory.shown(refers[f.name], becomes)
        elif f.kind == "choice":
            if re.sub("[ -]", "_", given.lower()) in f.choices:
                continue
            becomes, why, is_sure = choice_of(f, given)
        elif f.kind == "boolean":
            if given.lower() in (*TRUE_WORDS, *FALSE_WORDS):
                continue
            becomes, why, is_sure = yes_or_no(given)
        elif column.reading == "gauge":
            becomes = gauge(given)
            if becomes == given and not number(given).replace(".", "", 1).isdigit():
                becomes = ""
            why, is_sure = (
                ("midpoint of what the trade sells under this number" if becomes else "no gauge: choose"),
                True,
            )
            if becomes == given:
                continue
        else:
            continue
        found.append(Value(f.name, given, count, becomes, shown, why, is_sure and bool(becomes)))
    return found


def _open(
    sheet: Sheet, resource: Resource, columns: Sequence[Column], values: Sequence[Value], map_: SheetMap
) -> list[str]:
    filled = {name for column in columns for name in (column.field, column.fills_too) if name} | set(map_.constants)
    made = {resource.key[0]} if resource.name in IDS else set()
    points = [
        f"{name} is in no column: choose its column, or what every row gets "
        f"({resource.field(name).description.rstrip('.')})."
        for name in resource.required_columns
        if name not in filled | made
    ]
    points += [
        f"one of {', '.join(group.fields)} is needed: choose its column."
        for group in resource.one_of
        if group.otherwise == "refuse" and not filled & set(group.fields)
    ]
    points += [f"column {column.heading!r}: {column.why}." for column in columns if column.field and not column.is_sure]
    nothing = [value for value in values if not value.becomes]
    points += [f"{value.field} {value.given!r}: {value.why}." for value in nothing[:20]]
    if len(nothing) > 20:
        points.append(f"and {len(nothing) - 20} more cells that nothing was found for.")
    return points


def propose(
    sheet: Sheet,
    contract: Contract,
    directory: Directory,
    resource: str | None = None,
    remembered: SheetMap | None = None,
) -> Proposal:
    """How the sheet might be read, as rows of `resource` or of the likeliest file; a remembered way goes first."""
    if resource is not None and resource not in contract.resources:
        raise StoreError(f"there is no file {resource!r}: it is one of {', '.join(contract.resources)}.")
    ranked = _rank(sheet, contract)
    if remembered is not None and resource in (None, remembered.resource):
        chosen = contract.resources[remembered.resource]
        names = {plain_heading(heading): name for heading, name in remembered.fields.items()}
        ways = {plain_heading(heading): way for heading, way in remembered.readings.items()}
        columns = []
        for heading in sheet.headings:
            name = names.get(plain_heading(heading), "")
            found = (chosen.field(name), 1.0) if name else None
            column = _column(sheet, chosen, heading, found, set(names.values()))
            reading = ways.get(plain_heading(heading), column.reading)
            fills_too = PARTNER.get(name, "") if reading == "pair" else ""
            columns.append(
                replace(
                    column, field=name, reading=reading, fills_too=fills_too, why="as confirmed before", is_sure=True
                )
            )
    else:
        remembered = None
        chosen = contract.resources[resource or ranked[0]]
        taken = _assign(sheet, chosen)
        used = {f.name for f, _ in taken.values()}
        columns = [_column(sheet, chosen, heading, taken.get(heading), used) for heading in sheet.headings]
    values = [value for column in columns for value in _values(sheet, chosen, column, directory)]
    if remembered is not None:
        kept = remembered.values
        values = [
            replace(v, becomes=kept[v.field][v.given], why="as confirmed before", is_sure=True)
            if v.given in kept.get(v.field, {})
            else v
            for v in values
        ]
    suggested = SheetMap(
        chosen.name,
        {column.heading: column.field for column in columns},
        {column.heading: column.reading for column in columns if column.field},
        {},
        dict(remembered.constants) if remembered else {},
    )
    by_field: dict[str, dict[str, str]] = {
        name: dict(given) for name, given in (remembered.values if remembered else {}).items()
    }
    for value in values:
        if value.becomes:
            by_field.setdefault(value.field, {})[value.given] = value.becomes
    suggested = replace(suggested, values=by_field)
    makes_ids = ""
    if chosen.name in IDS and chosen.key[0] not in suggested.fields.values():
        parts = " and ".join(IDS[chosen.name][1])
        makes_ids = (
            f"the sheet has no {chosen.key[0]}: one is made from {parts}, the same each time the sheet is loaded. "
            f"A row whose {parts} changes counts as another row."
        )
    return Proposal(
        sheet.name, chosen.name, (chosen.name, *(name for name in ranked if name != chosen.name)), tuple(columns),
        tuple(values), tuple(_open(sheet, chosen, columns, values, suggested)), makes_ids, remembered is not None,
        suggested, sheet.notes,
    )  # fmt: skip
