"""The contract in, the tables of the store out: clean, history and raw tables of every file, and the store's own books.

Clean tables hold the contract's columns (every date with a companion `<column>_at` for the time of day, NULL where none
was given) and where each row came from: load_id, line_number (of the file), loaded_at (instant, UTC).
"""

from __future__ import annotations

import duckdb

from pipeline.contract.resources import Contract, Resource, load_contract
from pipeline.contract.typed import clean_columns, quoted
from pipeline.store.sql import statements

PROVENANCE = {"load_id": "INTEGER", "line_number": "BIGINT", "loaded_at": "TIMESTAMP"}
HISTORY = {"replaced_at": "TIMESTAMP", "replaced_by_load": "INTEGER", "replaced_how": "VARCHAR"}


def _columns(columns: dict[str, str]) -> str:
    return ", ".join(f"{quoted(name)} {sql_type}" for name, sql_type in columns.items())


def create_tables(con: duckdb.DuckDBPyConnection, schema: str = "main", contract: Contract | None = None) -> None:
    """Make an empty clean table for every file of the contract in `schema`, which is made if it is not there."""
    con.execute(f"create schema if not exists {quoted(schema)}")
    for resource in (contract or load_contract()).resources.values():
        columns = clean_columns(resource) | PROVENANCE
        con.execute(f"create table if not exists {quoted(schema)}.{quoted(resource.name)} ({_columns(columns)})")


def raw_columns(resource: Resource) -> dict[str, str]:
    """Columns of a raw table: every cell as text, and what the file had besides."""
    cells = {field.name: "VARCHAR" for field in resource.fields}
    around = {"unknown_cells": "VARCHAR", "is_decimal_comma": "BOOLEAN", "row_hash": "UHUGEINT"}
    return cells | around | PROVENANCE


def create_store(con: duckdb.DuckDBPyConnection) -> None:
    """Make every table of an empty facts file: schema version 1."""
    contract = load_contract()
    create_tables(con, "main", contract)
    con.execute("create schema if not exists history")
    con.execute("create schema if not exists raw")
    for resource in contract.resources.values():
        name = quoted(resource.name)
        con.execute(f"create table history.{name} ({_columns(clean_columns(resource) | PROVENANCE | HISTORY)})")
        con.execute(f"create table raw.{name} ({_columns(raw_columns(resource))})")
    for statement in statements("books.sql"):
        con.execute(statement)
