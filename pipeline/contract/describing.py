"""The contract in, its description for people out: the Markdown table that the README shows."""

from __future__ import annotations

from pipeline.contract.resources import Contract, Field, Resource


def _column(field: Field, resource: Resource) -> str:
    name = field.name if field.is_required else f"{field.name}?"
    name = f"**{name}**" if field.name in resource.key else name
    return f"{name} ({', '.join(field.choices)})" if field.choices else name


def _needs(resource: Resource) -> str:
    """Columns that may be empty one by one, but not all of them."""
    return "".join(f" Needs {' or '.join(one.fields)}." for one in resource.one_of if one.otherwise == "refuse")


def contract_markdown(contract: Contract) -> str:
    """One row per file: its name, what a row is, its columns with the key in bold; `?` may be empty or missing."""
    lines = ["| file | one row is | columns |", "|---|---|---|"]
    for resource in contract.resources.values():
        file_name = f"`{resource.file_name}`" + (" (optional)" if resource.is_optional else "")
        columns = ", ".join(_column(field, resource) for field in resource.fields)
        lines.append(f"| {file_name} | {resource.description}{_needs(resource)} | {columns} |")
    return "\n".join(lines) + "\n"
