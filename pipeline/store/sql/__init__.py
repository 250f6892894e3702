"""The store's `.sql` files: a name in, its statements out, one for each execute (parameters bind only the last)."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import duckdb


@cache
def statements(file_name: str) -> tuple[str, ...]:
    """The statements of one file, in order."""
    text = files("pipeline.store.sql").joinpath(file_name).read_text(encoding="utf-8")
    return tuple(statement.query for statement in duckdb.extract_statements(text))


def statement(file_name: str) -> str:
    """The one statement of a file that holds just one."""
    (only,) = statements(file_name)
    return only
