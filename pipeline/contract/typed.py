"""The contract's fields in, SQL expressions out that turn a cell of text into the value of its clean column.

A cell that cannot be read gives NULL; `rules.py` tells a NULL from an empty cell and says what is wrong.
`{cell}` in the templates below is the trimmed cell, or NULL where it was empty.
"""

from __future__ import annotations

from pipeline.contract.resources import Field, Resource

COLUMN_TYPES = {
    "id": "VARCHAR",
    "label": "VARCHAR",
    "text": "VARCHAR",
    "choice": "VARCHAR",
    "list": "VARCHAR",
    "score": "VARCHAR",
    "number": "DOUBLE",
    "integer": "INTEGER",
    "money": "DECIMAL(12, 2)",
    "boolean": "BOOLEAN",
    "date": "DATE",
}

TRIMMED = "' ' || chr(9) || chr(10) || chr(13) || chr(160)"

DATE_PATTERN = r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?)?$"

# a number as people write it: no thousands mark, no hexadecimal, no "nan", no "inf"
NUMBER_PATTERN = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?$"
INTEGER_PATTERN = r"^[+-]?\d{1,9}(\.0*)?$"
MONEY_PATTERN = r"^[+-]?(\d{1,10}(\.\d{0,2}0*)?|\.\d{1,2}0*)$"

TRUE_WORDS = ("yes", "true", "1", "y")
FALSE_WORDS = ("no", "false", "0", "n")


def quoted(name: str) -> str:
    """An SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """An SQL string."""
    return "'" + text.replace("'", "''") + "'"


def clean_columns(resource: Resource) -> dict[str, str]:
    """Name and SQL type of every column of the clean table that holds what the file said, in order."""
    columns: dict[str, str] = {}
    for field in resource.fields:
        columns[field.name] = COLUMN_TYPES[field.kind]
        if field.kind == "date":
            columns[field.instant_name] = "TIMESTAMP"
    return columns


def cell(field: Field, source: str, is_tidy: bool = False) -> str:
    """The cell as text, NULL where empty; text for reading keeps its spaces, everything else is trimmed.

    is_tidy: no cell has white space about it, so that there is nothing to trim.
    """
    column = f"{source}.{quoted(field.name)}"
    trimmed = f"nullif({column}, '')" if is_tidy else f"nullif(trim({column}, {TRIMMED}), '')"
    if field.kind == "text":
        kept = f"nullif({column}, '')"
        return f"case when {trimmed} is not null then {column} end" if field.is_required else kept
    if field.kind in ("number", "integer", "money"):
        return f"case when {source}.is_decimal_comma then replace({trimmed}, ',', '.') else {trimmed} end"
    return trimmed


def values(field: Field, text: str) -> dict[str, str]:
    """Clean column name and SQL expression for one field, from the SQL of its cell (`cell`)."""
    if field.kind == "number":
        number = f"try_cast({text} as double) + 0.0"
        return {field.name: f"case when regexp_matches({text}, '{NUMBER_PATTERN}') then {number} end"}
    if field.kind == "integer":
        number = f"try_cast(try_cast({text} as double) as integer)"
        return {field.name: f"case when regexp_matches({text}, '{INTEGER_PATTERN}') then {number} end"}
    if field.kind == "money":
        number = f"try_cast({text} as decimal(12, 2))"
        return {field.name: f"case when regexp_matches({text}, '{MONEY_PATTERN}') then {number} end"}
    if field.kind == "boolean":
        yes, no = (", ".join(literal(word) for word in words) for words in (TRUE_WORDS, FALSE_WORDS))
        return {field.name: f"case when lower({text}) in ({yes}) then true when lower({text}) in ({no}) then false end"}
    if field.kind == "choice":
        known = ", ".join(literal(choice) for choice in field.choices)
        mended = f"lower(replace(replace({text}, ' ', '_'), '-', '_'))"
        return {field.name: f"case when {text} in ({known}) then {text} else {mended} end"}
    if field.kind == "date":
        is_date = f"regexp_matches({text}, '{DATE_PATTERN}')"
        # nearly every cell is a plain day: it is known by its length and its dashes, the pattern is for the rest
        is_day = f"length({text}) = 10 and {text} like '20__-__-__'"
        return {
            field.name: f"case when {is_day} then try_cast({text} as date) "
            f"when {is_date} then try_cast(left({text}, 10) as date) end",
            field.instant_name: f"case when length({text}) > 10 and {is_date} "
            f"then try_cast(replace({text}, 'T', ' ') as timestamp) end",
        }
    return {field.name: text}
