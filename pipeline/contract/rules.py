"""The contract in, the checks of one file out: each an SQL condition over a row, and the SQL of the sentence to say.

A row is seen as `t`: the clean columns under their own names, and every cell as text under `<column>__text`.
Rules of one column come from the declaration; rules across columns and files stand in `club_rules.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.contract.limits import EARLIEST_DAY, latest_day
from pipeline.contract.resources import Field, ForeignKey, OneOf, Resource
from pipeline.contract.typed import literal, quoted

SHOWN_CHARACTERS = 60


@dataclass(frozen=True)
class Rule:
    """A check: the row breaks it where `broken_when` is true.

    `is_elsewhere`: what is wrong may be mended in another file, so the row is tried again at the next load.
    `is_question`: the row is kept and the finding is shown, nothing more.
    """

    column: str
    broken_when: str
    message: str
    is_elsewhere: bool = False
    is_question: bool = False


def text_of(column: str) -> str:
    """SQL: the cell as it stood in the file."""
    return f"t.{quoted(column + '__text')}"


def shown(column: str) -> str:
    """SQL: the cell as a message shows it."""
    text = text_of(column)
    short = f"left({text}, {SHOWN_CHARACTERS}) || '...'"
    return f"case when length({text}) > {SHOWN_CHARACTERS} then {short} else {text} end"


def sentence(*parts: str) -> str:
    """SQL: parts joined; a part in braces is a column whose cell is shown, any other is said as it stands."""
    pieces = [shown(part[1:-1]) if part[:1] == "{" and part[-1:] == "}" else literal(part) for part in parts]
    return " || ".join(f"coalesce({piece}, '')" for piece in pieces)


def _wanted(field: Field) -> str:
    """What a cell of this column has to be, in words."""
    if field.kind == "number":
        return "write a plain number such as " + field.example
    if field.kind == "integer":
        return "write a whole number such as " + field.example
    if field.kind == "money":
        return "write an amount with at most two decimals, such as " + field.example
    if field.kind == "boolean":
        return "write yes or no"
    if field.kind == "date":
        return "write an ISO date that exists, such as 2026-03-14 or 2026-03-14T17:30"
    return "write " + ", ".join(field.choices[:-1]) + " or " + field.choices[-1]


def _unreadable(field: Field) -> Rule | None:
    text, value = text_of(field.name), f"t.{quoted(field.name)}"
    because = {
        "number": "is not a number",
        "integer": "is not a whole number",
        "money": "is not an amount of money",
        "boolean": "is neither yes nor no",
        "date": "is not a date",
    }
    if field.kind in ("number", "integer", "money", "boolean"):
        return Rule(
            field.name,
            f"{text} is not null and {value} is null",
            sentence(f"{field.name} ", "{" + field.name + "}", f" {because[field.kind]}: {_wanted(field)}."),
        )
    if field.kind == "date":
        instant = f"t.{quoted(field.instant_name)}"
        return Rule(
            field.name,
            f"{text} is not null and ({value} is null or (length({text}) > 10 and {instant} is null))",
            sentence(f"{field.name} ", "{" + field.name + "}", f" {because['date']}: {_wanted(field)}."),
        )
    if field.kind == "choice":
        allowed = ", ".join(literal(choice) for choice in field.choices)
        return Rule(
            field.name,
            f"{value} not in ({allowed})",
            sentence(f"{field.name} ", "{" + field.name + "}", f" is not one of its values: {_wanted(field)}."),
        )
    if field.kind == "score":
        return Rule(
            field.name,
            f"not regexp_matches({text}, {literal(field.pattern or '')})",
            sentence(
                f"{field.name} ",
                "{" + field.name + "}",
                f" cannot be read: write games by set, such as {field.example}.",
            ),
        )
    if field.kind in ("id", "label"):
        return Rule(
            field.name,
            f"regexp_matches({text}, '[\\x00-\\x1f]')",
            sentence(
                f"{field.name} holds a line break or a control character: probably a quote mark is missing; mend it."
            ),
        )
    return None


def _number_text(number: float) -> str:
    return f"{number:g}" if number < 1e6 else f"{number:.0f}"


def _out_of_range(field: Field) -> list[Rule]:
    if field.minimum is None or field.maximum is None:
        return []
    value, cell = f"t.{quoted(field.name)}", "{" + field.name + "}"
    unit = f" {field.unit}" if field.unit else ""
    low, high = _number_text(field.minimum), _number_text(field.maximum)
    general = sentence(
        f"{field.name} ", cell, f" is outside {low} to {high}{unit}: correct it, or leave the row out if it was a slip."
    )
    if field.minimum >= 1 and field.name.endswith("minutes"):
        general = sentence(f"{field.name} ", cell, f" must be at least {low} and at most {high}: correct the minutes.")
    message = general
    if field.unit == "kg":
        pounds = sentence(
            f"{field.name} ",
            cell,
            f" is more than {high} kg and looks like pounds: put it in {field.name[:-3]}_lb, or convert it to kg.",
        )
        message = f"case when {value} between {high} and 99 then {pounds} else {general} end"
    if field.unit == "mm":
        gauge = sentence(
            f"{field.name} ",
            cell,
            f" looks like a gauge number: write the diameter in millimetres, such as {field.example}.",
        )
        message = f"case when {value} between 15 and 22 then {gauge} else {general} end"
    if field.unit == "grade":
        message = sentence(f"{field.name} ", cell, " is not a grade: write 0 none, 1 slight, 2 clear or 3 severe.")
    return [Rule(field.name, f"not ({value} between {field.minimum!r} and {field.maximum!r})", message)]


def _out_of_time(field: Field, load_day: date) -> list[Rule]:
    if field.dates is None:
        return []
    value, cell = f"t.{quoted(field.name)}", "{" + field.name + "}"
    last = latest_day(field.dates, load_day)
    why = "lies after the day of loading" if field.dates == "recorded" else "lies too far ahead"
    return [
        Rule(
            field.name,
            f"{value} < date '{EARLIEST_DAY}'",
            sentence(f"{field.name} ", cell, f" lies before {EARLIEST_DAY}: correct the year."),
        ),
        Rule(
            field.name,
            f"{value} > date '{last}'",
            sentence(f"{field.name} ", cell, f" {why} (the latest that can be is {last}): correct the date."),
        ),
    ]


def _unknown_elsewhere(key: ForeignKey, files: dict[str, str]) -> Rule:
    known = f"(select k.{quoted(key.target)} from {quoted(key.resource)} as k)"
    value, file_name = f"t.{quoted(key.field)}", files[key.resource]
    return Rule(
        key.field,
        f"{value} is not null and {value} not in {known}",
        sentence(
            f"{key.field} ",
            "{" + key.field + "}",
            f" is not in {file_name}, or was rejected there: mend it there and load both, or correct it here.",
        ),
        is_elsewhere=True,
    )


def _none_given(group: OneOf) -> Rule:
    empty = " and ".join(f"{text_of(name)} is null" for name in group.fields)
    if len(group.fields) == 2:
        said = f"neither {group.fields[0]} nor {group.fields[1]} is given"
    else:
        said = f"none of {', '.join(group.fields[:-1])} and {group.fields[-1]} is given"
    if group.otherwise == "question":
        return Rule(
            group.fields[0], empty, sentence(f"{said}: the row is kept; fill in one if you know it."), is_question=True
        )
    return Rule(group.fields[0], empty, sentence(f"{said}: fill in one of them."))


def declared_rules(resource: Resource, files: dict[str, str], load_day: date) -> list[Rule]:
    """The rules that the declaration itself holds; `files` is resource name to file name."""
    rules: list[Rule] = []
    for field in resource.fields:
        if field.is_required:
            rules.append(
                Rule(
                    field.name,
                    f"{text_of(field.name)} is null",
                    sentence(f"{field.name} is empty: fill it in ({field.description.rstrip('.')})."),
                )
            )
        unreadable = _unreadable(field)
        rules += [unreadable] if unreadable else []
        rules += _out_of_range(field) + _out_of_time(field, load_day)
    rules += [_none_given(group) for group in resource.one_of]
    rules += [_unknown_elsewhere(key, files) for key in resource.foreign_keys]
    return rules
