"""Staged rows in, typed rows and what is wrong with them out: temporary tables `typed` and `problems`.

`typed`: load_id, line_number, row_hash, the clean columns, value_hash (of the clean columns), is_suspect.
`problems`: load_id, line_number, row_hash, column_name, value, message, is_elsewhere, is_question.
All set-based: one pass over every row, a second one over the suspects alone.
"""

from __future__ import annotations

from datetime import date

import duckdb

from pipeline.contract.club_rules import club_rules
from pipeline.contract.resources import Contract, Resource
from pipeline.contract.rules import Rule, declared_rules, sentence, text_of
from pipeline.contract.typed import cell, clean_columns, literal, quoted, values

LINES_NAMED = 6  # a message names at most so many lines

PROBLEM_COLUMNS = (
    "load_id INTEGER, line_number BIGINT, row_hash UHUGEINT, column_name VARCHAR, value VARCHAR, message VARCHAR, "
    "is_elsewhere BOOLEAN, is_question BOOLEAN"
)


def rules_of(resource: Resource, contract: Contract, load_day: date) -> list[Rule]:
    """Every rule of one file."""
    files = {other.name: other.file_name for other in contract.resources.values()}
    return declared_rules(resource, files, load_day) + club_rules(resource.name)


def _typed_rows(resource: Resource, is_tidy: bool = False) -> str:
    """SQL of the staged rows with each cell as text (`x__text`) and as a value (`x`)."""
    texts = ", ".join(f"{cell(field, 's', is_tidy)} as {quoted(field.name + '__text')}" for field in resource.fields)
    typed = ", ".join(
        f"{expression} as {quoted(name)}"
        for field in resource.fields
        for name, expression in values(field, f"x.{quoted(field.name + '__text')}").items()
    )
    return f"(select x.*, {typed} from (select s.load_id, s.line_number, s.row_hash, {texts} from staged as s) as x)"


def type_rows(con: duckdb.DuckDBPyConnection, resource: Resource, rules: list[Rule], is_tidy: bool = False) -> None:
    """Make `typed` from `staged`. is_tidy: no cell needs trimming."""
    names = ", ".join(f"t.{quoted(name)}" for name in clean_columns(resource))
    suspect = " or ".join(f"coalesce({rule.broken_when}, false)" for rule in rules)
    con.execute(
        f"create or replace temp table typed as select t.load_id, t.line_number, t.row_hash, {names}, "
        f"hash({names}) as value_hash, ({suspect}) as is_suspect from {_typed_rows(resource, is_tidy)} as t"
    )


def _found(rule: Rule) -> str:
    return (
        f"case when {rule.broken_when} then {{'column_name': {literal(rule.column)}, 'value': {text_of(rule.column)}, "
        f"'message': {rule.message}, 'is_elsewhere': {str(rule.is_elsewhere).lower()}, "
        f"'is_question': {str(rule.is_question).lower()}}} end"
    )


def find_problems(con: duckdb.DuckDBPyConnection, resource: Resource, rules: list[Rule]) -> None:
    """Make `problems` from the suspects of `typed`, and add the rows of one key with other values."""
    con.execute(f"create or replace temp table problems ({PROBLEM_COLUMNS})")
    con.execute("create or replace temp table suspects as select load_id, line_number from typed where is_suspect")
    (count_suspects,) = con.execute("select count(*) from suspects").fetchall()[0]
    if count_suspects:
        found = ", ".join(_found(rule) for rule in rules)
        con.execute(
            "insert into problems select f.load_id, f.line_number, f.row_hash, f.found.column_name, f.found.value, "
            "f.found.message, f.found.is_elsewhere, f.found.is_question "
            f"from (select t.load_id, t.line_number, t.row_hash, unnest([{found}]) as found "
            f"from {_typed_rows(resource)} as t semi join suspects using (load_id, line_number)) as f "
            "where f.found is not null"
        )
    _find_conflicts(con, resource)


def _conflict_sentence(resource: Resource) -> str:
    if resource.name == "holders":
        return (
            sentence("racket ")
            + " || coalesce(c.racket_id, '') || "
            + sentence(" is held by two players on the same day (lines ")
            + " || c.lines || "
            + sentence("): keep the line that is right and delete the other.")
        )
    key = " and ".join(resource.key)
    return (
        sentence("lines ")
        + " || c.lines || "
        + sentence(
            f" have the same {key} and other values, so none of them was loaded: keep the one that is right, "
            "or give the others a key of their own."
        )
    )


def _find_conflicts(con: duckdb.DuckDBPyConnection, resource: Resource) -> None:
    """Make `shared_keys`, and refuse rows of one key with other values, each message naming all the lines."""
    keys = ", ".join(f"t.{quoted(name)}" for name in resource.key_columns)
    whole = " and ".join(f"t.{quoted(name)} is not null" for name in resource.key if resource.field(name).is_required)
    con.execute(
        f"create or replace temp table shared_keys as select {keys}, min(t.value_hash) <> max(t.value_hash) "
        "as is_conflict, "
        f"array_to_string(list_slice(list(t.line_number order by t.line_number), 1, {LINES_NAMED}), ', ') "
        f"|| case when count(*) > {LINES_NAMED} then ', ...' else '' end as lines "
        f"from typed as t where {whole or 'true'} group by {keys} having count(*) > 1"
    )
    value = " || ' ' || ".join(f"coalesce(cast(c.{quoted(name)} as varchar), '')" for name in resource.key)
    con.execute(
        f"insert into problems select t.load_id, t.line_number, t.row_hash, {literal(resource.key[0])}, trim({value}), "
        f"{_conflict_sentence(resource)}, false, false from typed as t join shared_keys as c "
        f"on c.is_conflict and {same_key(resource, 't', 'c')}"
    )


def same_key(resource: Resource, one: str, other: str) -> str:
    """SQL: two rows have the same key."""
    return " and ".join(
        f"{one}.{quoted(name)} is not distinct from {other}.{quoted(name)}" for name in resource.key_columns
    )


def key_text(resource: Resource, alias: str) -> str:
    """SQL: a row's key as one text, NULL where a part that must be there is missing."""
    parts = []
    for name in resource.key_columns:
        is_must = name in resource.key and resource.field(name).is_required
        text = f"cast({alias}.{quoted(name)} as varchar)"
        parts.append(text if is_must else f"coalesce({text}, '')")
    return " || chr(31) || ".join(parts)
