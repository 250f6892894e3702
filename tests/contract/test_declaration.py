"""The declaration keeps the open standard, and everything made from it agrees with it."""

from __future__ import annotations

import csv
import io
import json
from importlib.resources import files

import duckdb
import pytest
from frictionless import Package, Schema

from pipeline.contract import contract_markdown, datapackage, load_contract, template_csv
from pipeline.store.schema import create_tables

RESOURCES = load_contract().resources

# the files and keys of the contract, as the project's plan lists them
KEYS = {
    "players": "player_id since", "rackets": "racket_id", "holders": "racket_id from_on", "strings": "string_id",
    "setups": "racket_id player_id from_on", "restrings": "restring_id", "jobs": "job_id",
    "matches": "match_id player_id racket_id", "practices": "practice_id player_id squad",
    "inspections": "inspection_id",
    "calendar": "planned_on squad player_id activity event", "bench": "bench_on stringer",
    "stock": "counted_on string_id", "orders": "order_id",
}  # fmt: skip


def test_the_declaration_is_a_valid_data_package() -> None:
    """Source: Frictionless Data Package specification, through its reference library."""
    text = files("pipeline.contract").joinpath("club.datapackage.json").read_text(encoding="utf-8")
    report = Package.validate_descriptor(json.loads(text))
    assert report.valid, report.flatten(["message"])


@pytest.mark.parametrize("name", KEYS)
def test_each_schema_is_a_valid_table_schema(name: str) -> None:
    """Source: Frictionless Table Schema specification, through its reference library."""
    described = next(r for r in datapackage()["resources"] if r["name"] == name)
    schema = Schema.from_descriptor(described["schema"])
    assert schema.primary_key == KEYS[name].split()
    assert schema.field_names == [field.name for field in RESOURCES[name].fields]


def test_the_contract_has_these_files_and_four_are_required() -> None:
    assert set(RESOURCES) == set(KEYS)
    assert {r.name for r in RESOURCES.values() if not r.is_optional} == {"players", "rackets", "strings", "restrings"}


def test_every_file_comes_after_those_it_names() -> None:
    order = list(RESOURCES)
    for resource in RESOURCES.values():
        for key in resource.foreign_keys:
            assert order.index(key.resource) < order.index(resource.name)


def test_every_field_is_described_with_an_example_that_keeps_its_own_limits() -> None:
    for described in datapackage()["resources"]:
        schema = Schema.from_descriptor(described["schema"])
        for field, spec in zip(schema.fields, described["schema"]["fields"], strict=True):
            assert len(spec["description"]) > 5, field.name
            _, notes = field.read_cell(spec["example"])
            assert not notes, (described["name"], field.name, notes)


def test_a_template_is_the_header_line_of_its_file() -> None:
    for resource in RESOURCES.values():
        (header,) = csv.reader(io.StringIO(template_csv(resource)))
        assert header == [field.name for field in resource.fields]
        assert template_csv(resource).endswith("\r\n")
        assert len(list(csv.reader(io.StringIO(template_csv(resource, with_example=True))))) == 2


def test_the_table_for_readers_names_every_file_and_column() -> None:
    table = contract_markdown(load_contract())
    assert "Needs score or minutes." in table and "Needs player_id or squad." in table
    for resource in RESOURCES.values():
        (line,) = [line for line in table.splitlines() if line.startswith(f"| `{resource.file_name}`")]
        assert all(field.name in line for field in resource.fields)
        assert ("(optional)" in line) == resource.is_optional


def test_a_descriptor_for_some_files_leaves_out_keys_that_lead_nowhere() -> None:
    descriptor = datapackage("part", only=["players", "rackets", "matches"])
    assert [r["name"] for r in descriptor["resources"]] == ["players", "rackets", "matches"]
    named = {k["reference"]["resource"] for r in descriptor["resources"] for k in r["schema"].get("foreignKeys", [])}
    assert named == {"players", "rackets"}
    assert Package.validate_descriptor(descriptor).valid
    with pytest.raises(ValueError, match="not in the contract: socks"):
        datapackage(only=["socks"])


def test_clean_tables_hold_every_column_and_a_time_beside_every_date() -> None:
    con = duckdb.connect()
    create_tables(con, "facts")
    columns = con.execute(
        "select table_name, column_name, data_type from duckdb_columns() where schema_name = 'facts'"
    ).fetchall()
    types = {(table, column): kind for table, column, kind in columns}
    for resource in RESOURCES.values():
        for field in resource.fields:
            assert (resource.name, field.name) in types
            if field.name.endswith("_on") or field.name == "since":
                assert types[resource.name, field.name] == "DATE"
                assert types[resource.name, f"{field.name}_at"] == "TIMESTAMP"
        assert types[resource.name, "load_id"] == "INTEGER"
        assert types[resource.name, "line_number"] == "BIGINT"
    assert types["strings", "reel_price"] == "DECIMAL(12,2)"
    assert types["inspections", "fraying"] == "INTEGER"
    assert types["inspections", "broken"] == "BOOLEAN"
    assert types["restrings", "mains_kg"] == "DOUBLE"
