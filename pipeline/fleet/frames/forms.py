"""The forms of the page Write down: which boxes each has, what they offer and what they propose.

In: what there is to choose from (`Known`), the club's unit of tension, today. Out: one `Form` of `Box`es for a kind of
entry, named by the contract's columns, so that the contract's messages find their box. Nothing is checked here: the
contract does that when the row is written down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from pipeline.contract import load_contract
from pipeline.fleet import words

PICK, CHOICE, DAY, NUMBER, WHOLE, TEXT, TICK = "pick", "choice", "day", "number", "whole", "text", "tick"
_KINDS = {"date": DAY, "number": NUMBER, "money": NUMBER, "integer": WHOLE, "boolean": TICK, "choice": CHOICE}
SIGN_LABELS = {"fraying": "Fraying", "notching": "Notching", "misalignment": "Out of line", "lost_feel": "Lost feel"}
LABELS = {
    "played_on": "Day", "inspected_on": "Day", "pitch_hz": "Pitch", "broken": "A string is broken",
    "misalignment": "Strings out of line", "strung_on": "Strung on", "planned_on": "First day", "until_on": "Last day",
    "counted_on": "Day of the count", "bench_on": "Day", "from_on": "From", "since": "From",
    "in_service_on": "In the fleet since", "retired_on": "Last day in the fleet", "left_on": "Last day in the club",
    "player_id": "Player", "racket_id": "Racket", "string_id": "String", "player_name": "Name",
    "string_name": "Name", "mains_string_id": "String, mains", "crosses_string_id": "String, crosses",
    "mains_kg": "Mains", "mains_lb": "Mains", "crosses_kg": "Crosses", "crosses_lb": "Crosses",
    "reason": "Why the old strings came out", "ended_on": "Broke on, if earlier", "broke_where": "Broke where",
    "strung_at": "Strung", "mains_m": "Metres, mains", "crosses_m": "Metres, crosses",
    "pre_stretch_pct": "Pre-stretch", "string_from": "Whose string", "charge_to": "Charged to", "paid_on": "Paid on",
    "hours_week": "Hours on court a week", "head_cm2": "Head", "mains": "Mains in the pattern",
    "crosses": "Crosses in the pattern", "tension_min_kg": "Tension window from", "tension_max_kg": "to",
    "gauge_mm": "Diameter", "reel_m": "Length on the reel", "reel_price": "Price of a reel",
    "lead_days": "Delivery takes", "fresh_rackets": "Fresh rackets a player", "jobs_left": "Jobs left on the open reel",
    "reels": "Whole reels", "ordered_on": "Ordered on", "expected_on": "Expected on", "received_on": "Arrived on",
    "balls_hit": "Balls hit", "players_on_court": "Players on the court", "intensity": "How hard", "activity": "What",
    "marking": "Marking", "cancelled": "Cancelled", "place": "Where", "minutes": "Minutes", "metres": "Metres",
}  # fmt: skip
GRADES = {str(grade): word for grade, word in enumerate(words.GRADE_WORDS)}
CHOICE_WORDS = words.REASON_WORDS | {"home": "at home", "away": "away", "closed": "closed, no play"}
EXPLAINED = ("reason", "score", "gauge_mm", "reel_m", "jobs_left", "fresh_rackets")  # others speak for themselves
SAID_IN_LABEL = ("minutes", "hours a week", "grade", "reels", "jobs", "rackets", "balls", "the club's currency")


@dataclass(frozen=True)
class Known:
    """What there is to choose from: value -> words."""

    players: Mapping[str, str]
    rackets: Mapping[str, str]
    strings: Mapping[str, str]
    squads: tuple[str, ...]
    stringers: tuple[str, ...]
    events: tuple[str, ...]
    usual_racket: Mapping[str, str] = field(default_factory=dict)
    holds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    next_set_up: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    squad_players: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Box:
    """One box of a form, named as the contract names its column."""

    name: str
    label: str
    kind: str
    options: Mapping[str, str] = field(default_factory=dict)
    proposed: Any = None
    help: str = ""
    is_needed: bool = False
    takes_new: bool = False


@dataclass(frozen=True)
class Form:
    """One kind of entry: the boxes shown at once, and those under the fold."""

    name: str
    title: str
    resource: str
    id_column: str
    id_prefix: str
    boxes: tuple[Box, ...]
    further: tuple[Box, ...]
    note: str = ""


@dataclass(frozen=True)
class _Shape:
    title: str
    resource: str
    shown: str
    further: str = ""
    id_column: str = ""
    id_prefix: str = ""
    note: str = ""
    needed: str = ""  # beside what the contract needs of every row


SHAPES: dict[str, _Shape] = {
    "session": _Shape("Session of one player", "practices", "player_id played_on activity minutes racket_id intensity",
                      "surface balls_hit players_on_court", "practice_id", "W",
                      "A racket left empty: the play is shared out over the player's rackets.",
                      "player_id"),
    "match": _Shape("Match", "matches", "player_id racket_id played_on format score minutes", "surface event",
                    "match_id", "W", "The score or the minutes, one of the two. A second racket is a second entry."),
    "restring": _Shape("Restring", "restrings",
                       "racket_id strung_on reason mains_string_id crosses_string_id mains_kg crosses_kg stringer",
                       "minutes ended_on broke_where strung_at mains_m crosses_m pieces pre_stretch_pct string_from "
                       "charge_to charge paid_on", "restring_id", "W"),
    "player": _Shape("Player", "players", "player_name squad level spin", "hours_week since left_on", "player_id",
                     "P"),
    "racket": _Shape("Racket", "rackets", "racket_id player_id frame mains crosses role in_service_on",
                     "marking head_cm2 tension_min_kg tension_max_kg retired_on", "racket_id", "R",
                     "Write down its last restring next: without one it cannot be ranked."),
    "string": _Shape("String", "strings", "string_name material gauge_mm profile reel_m reel_price", "lead_days",
                     "string_id", "S"),
    "event": _Shape("Event or plan", "calendar", "planned_on until_on squad activity event minutes fresh_rackets",
                    "player_id place cancelled"),
    "bench": _Shape("Bench hours", "bench", "bench_on stringer minutes"),
    "set-up": _Shape("Set-up", "setups",
                     "racket_id from_on mains_string_id crosses_string_id mains_kg crosses_kg", "player_id", "", "",
                     "What to string next, instead of the same as last time."),
    "holder": _Shape("Who has a racket", "holders", "racket_id player_id from_on"),
    "count": _Shape("Stock count", "stock", "counted_on string_id metres reels jobs_left"),
    "look": _Shape("Inspection", "inspections",
                   "racket_id inspected_on fraying notching misalignment lost_feel pitch_hz broken",
                   "grommets frame note", "inspection_id", "I"),
    "order": _Shape("Order", "orders", "string_id ordered_on metres price expected_on", "received_on", "order_id",
                    "W"),
}  # fmt: skip


def titles() -> dict[str, str]:
    """Every form's name and its words on the screen."""
    return {name: shape.title for name, shape in SHAPES.items()}


def offered(squad: str, sheet: str, right: str) -> dict[str, str]:
    """What the page offers, what is written down most often first; the names of the three kinds that are no form."""
    listed = titles()
    del listed["look"]
    often = {name: listed.pop(name) for name in ("session", "match", "restring")}
    first = {"session": often["session"], squad: "Squad practice", "match": often["match"]}
    return first | {"restring": often["restring"], sheet: "Inspection sheet"} | listed | {right: "Put right, take back"}


def form(name: str, known: Known, unit: str, today: date, chosen: Mapping[str, Any], new_id: str = "") -> Form:
    """One form; `chosen` is what its boxes hold so far, for what follows from it (a player's usual racket)."""
    shape = SHAPES[name]

    def boxes(columns: str) -> tuple[Box, ...]:
        return tuple(_box(shape, column, known, unit, today, chosen, new_id) for column in columns.split())

    return Form(
        name, shape.title, shape.resource, shape.id_column, shape.id_prefix,
        boxes(shape.shown), boxes(shape.further), shape.note,
    )  # fmt: skip


def _box(
    shape: _Shape, column: str, known: Known, unit: str, today: date, chosen: Mapping[str, Any], new_id: str
) -> Box:
    if column in ("mains_kg", "crosses_kg") and unit == "lb":
        column = column.replace("_kg", "_lb")
    declared = load_contract().resources[shape.resource].field(column)
    label = LABELS.get(column, column.replace("_", " ").capitalize())
    if declared.unit and declared.unit not in SAID_IN_LABEL:
        label += f", {declared.unit.replace('square centimetres', 'cm²').replace('percent', '%')}"
    options, takes_new = _options(column, shape.resource, declared.choices, declared.unit, known, chosen)
    kind = PICK if options and declared.kind != "choice" else _KINDS.get(declared.kind, TEXT)
    return Box(
        name=column,
        label=label,
        kind=kind,
        options=options,
        proposed=_proposed(shape.resource, column, known, today, chosen, new_id),
        help=declared.description if column in EXPLAINED or column in shape.further.split() else "",
        is_needed=column in shape.needed.split() or (declared.is_required and column != shape.id_column),
        takes_new=takes_new,
    )


def _options(
    column: str,
    resource: str,
    choices: tuple[str, ...],
    unit: str | None,
    known: Known,
    chosen: Mapping[str, Any],
) -> tuple[Mapping[str, str], bool]:
    """What a box offers, and whether something new may be written."""
    if choices:
        return {value: CHOICE_WORDS.get(value, words.from_code(value)) for value in choices}, False
    if unit == "grade":
        return GRADES, False
    if column == "player_id":
        return known.players, False
    if column == "racket_id" and resource != "rackets":
        return _own_first(known, chosen.get("player_id")), False
    if column.endswith("string_id") and resource != "strings":
        return known.strings, False
    listed = {"squad": known.squads, "stringer": known.stringers, "event": known.events}.get(column)
    return ({value: value for value in listed}, True) if listed else ({}, False)


def _own_first(known: Known, player: Any) -> Mapping[str, str]:
    """Every racket, the player's own on top."""
    own = known.holds.get(str(player), ())
    return {name: known.rackets[name] for name in own if name in known.rackets} | dict(known.rackets)


def _proposed(resource: str, column: str, known: Known, today: date, chosen: Mapping[str, Any], new_id: str) -> Any:
    if column in ("played_on", "strung_on", "counted_on", "bench_on", "ordered_on", "from_on", "in_service_on",
                  "inspected_on"):  # fmt: skip
        return today
    if resource == "rackets":
        return {"racket_id": new_id, "mains": 16, "crosses": 19, "role": "match"}.get(column)
    if column == "racket_id" and chosen.get("player_id"):
        return known.usual_racket.get(str(chosen["player_id"]))
    if resource in ("restrings", "setups") and chosen.get("racket_id"):
        return known.next_set_up.get(str(chosen["racket_id"]), {}).get(column)
    return {"format": "singles", "activity": "rally" if resource == "practices" else None}.get(column)


def corrections() -> dict[str, str]:
    """The files whose rows a form can put right: resource -> the form's name."""
    return {shape.resource: name for name, shape in SHAPES.items()}


def changes(form: Form, recorded: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """What a correction gives the store: the key, and the columns that now hold something else; {} if none does."""
    key = load_contract().resources[form.resource].key
    boxes = {box.name: box for box in (*form.boxes, *form.further)}
    changed = {
        name: value
        for name, value in values.items()
        if _plain(boxes[name], value) != _plain(boxes[name], recorded.get(name))
    }
    return {name: recorded.get(name) for name in key} | changed if changed else {}


def _plain(box: Box, value: Any) -> str:
    """A value in a form in which the box's and the recorded one can be compared."""
    if value is None or value == "" or (box.kind == TICK and str(value).lower() in ("false", "no")):
        return ""
    if box.kind == DAY:
        return str(value)[:10]
    if box.kind in (NUMBER, WHOLE):
        return f"{float(value):g}"
    return "yes" if box.kind == TICK else str(value)


def named(form: Form, name: str, recorded: Mapping[str, Any]) -> Form:
    """The form of a recorded row: boxes of its own, those of its key left out, a tension as it was written down."""
    key = load_contract().resources[form.resource].key

    def own(boxes: tuple[Box, ...]) -> tuple[Box, ...]:
        return tuple(_as_written(box, recorded) for box in boxes if box.name not in key)

    return replace(form, name=name, boxes=own(form.boxes), further=own(form.further))


def _as_written(box: Box, recorded: Mapping[str, Any]) -> Box:
    """A tension recorded in the other unit is put right in that unit."""
    for unit, other in (("_kg", "_lb"), ("_lb", "_kg")):
        twin = box.name.removesuffix(unit) + other
        if box.name.endswith(unit) and recorded.get(box.name) is None and recorded.get(twin) is not None:
            return replace(box, name=twin, label=box.label.replace(unit[1:], other[1:]))
    return box


def saved_words(form: Form, row: Mapping[str, Any], known: Known) -> str:
    """What was saved, in words: 'Match saved: Ana Reed, A-1, Sun 15 Nov.'"""
    names = [known.players.get(str(row.get("player_id")), "").split(",")[0], str(row.get("racket_id") or "")]
    names += [str(row[name]) for name in ("squad", "player_name", "string_name", "event", "stringer") if row.get(name)]
    day = next((row[box.name] for box in form.boxes if box.kind == DAY and row.get(box.name)), None)
    parts = [part for part in (*names, "" if day is None else words.day(day)) if part]
    return f"{form.title} saved: {', '.join(parts)}." if parts else f"{form.title} saved."


def squad_practice(known: Known, today: date, chosen: Mapping[str, Any]) -> Form:
    """A practice of a whole squad: the register stands beside it."""
    shape = _Shape("Squad practice", "practices", "", needed="squad")
    shown, further = (
        tuple(_box(shape, column, known, "kg", today, chosen, "") for column in columns.split())
        for columns in ("squad played_on activity minutes intensity", "surface players_on_court")
    )
    return Form("squad-practice", shape.title, shape.resource, "practice_id", "W", shown, further)


def squad_row(values: Mapping[str, Any], players: Sequence[str], there: Sequence[str]) -> dict[str, Any]:
    """The one row that stands for the squad, with those named who were not there."""
    absent = " ".join(player for player in players if player not in there)
    given = {column: value for column, value in values.items() if value is not None}
    return given | ({"absent": absent} if absent else {})


def register_words(players: Sequence[str], there: Sequence[str]) -> str:
    """'9 of 11 were there.'"""
    return f"{len(there)} of {len(players)} were there."
