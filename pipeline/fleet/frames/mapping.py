"""A club's own sheet as the page shows it: headings and values with what is proposed for each, and back.

In: a `Proposal` of the store. Out: grids to change, and from changed grids the `SheetMap` to load by. What is not sure
stands first and says so.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from pipeline.contract import load_contract
from pipeline.store import Store
from pipeline.store.sheet_proposal import Proposal, SheetMap

LEFT_OUT = "(left out)"
ROWS_SHOWN = 8
SURE = {True: "sure", False: "please check"}
COLUMN_HEADS = ["Heading", "For example", "Stands for", "Read as", "Sure", "Why"]
VALUE_HEADS = ["Column", "In the sheet", "Times", "Stands for", "Sure", "Why"]


def resource_titles(resources: Sequence[str]) -> dict[str, str]:
    """Every file of the contract by what one row of it is."""
    known = load_contract().resources
    return {name: f"{known[name].file_name}: {known[name].description}" for name in resources}


def remarks(proposal: Proposal) -> list[str]:
    """What has to be settled, and what is worth knowing, before anything is loaded."""
    known = ["Read as the last sheet with these headings."] if proposal.is_remembered else []
    made = [proposal.makes_ids] if proposal.makes_ids else []
    return [*known, *proposal.open, *made, *proposal.notes]


def columns_grid(proposal: Proposal) -> pd.DataFrame:
    """One line a heading; those that are not sure first."""
    rows = [
        (c.heading, ", ".join(c.examples[:3]), c.field or LEFT_OUT, c.reading, SURE[c.is_sure], c.why)
        for c in sorted(proposal.columns, key=lambda c: c.is_sure)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMN_HEADS)


def values_grid(proposal: Proposal) -> pd.DataFrame:
    """One line a value that has to be understood; those that are not sure first."""
    rows = [
        (v.field, v.given, v.count, v.becomes, SURE[v.is_sure],
         " ".join(part for part in (v.shown, v.why) if part))
        for v in sorted(proposal.values, key=lambda v: (v.is_sure, -v.count))
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=VALUE_HEADS)


def column_options(store: Store, resource: str) -> list[str]:
    """What a heading may stand for."""
    return [LEFT_OUT, *(field.name for field in store.contract.resources[resource].fields)]


def reading_options(proposal: Proposal) -> list[str]:
    """Every way of reading that some column offers."""
    return list(dict.fromkeys(way for column in proposal.columns for way in column.readings))


def confirmed(proposal: Proposal, columns: pd.DataFrame, values: pd.DataFrame) -> SheetMap:
    """The way to read the sheet as the two grids now say."""
    fields = {row["Heading"]: "" if row["Stands for"] == LEFT_OUT else row["Stands for"] for row in _rows(columns)}
    readings = {row["Heading"]: row["Read as"] for row in _rows(columns)}
    becomes: dict[str, dict[str, str]] = {}
    for row in _rows(values):
        becomes.setdefault(row["Column"], {})[row["In the sheet"]] = str(row["Stands for"] or "").strip()
    return proposal.confirmed(fields=fields, readings=readings, values=becomes)


def _rows(grid: pd.DataFrame) -> list[dict[str, str]]:
    return [{str(name): value for name, value in row.items()} for row in grid.to_dict("records")]
