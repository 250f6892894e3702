"""Writes `sample_data/datapackage.json`: the contract's declaration, cut to the files and columns the sample has.

In: the contract and the headers of sample_data/*.csv. Out: a Data Package descriptor. Run after either has changed:
`python -m tests.sample_data.describe_sample`. A test holds the file against what this makes.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import sample_data
from pipeline.contract import datapackage

FOLDER = Path(sample_data.__file__).parent
DESCRIPTION = (
    "Fourteen months of an invented tennis academy, simulated hit by hit by make_academy.py. "
    "All people, clubs and makes are made up."
)


def header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as stream:
        return next(csv.reader(stream))


def describe(folder: Path) -> dict[str, Any]:
    """The descriptor for the CSV files of a folder, fields in the order of each header."""
    headers = {path.stem: header(path) for path in sorted(folder.glob("*.csv"))}
    package = datapackage("sample-academy", "Sample academy", DESCRIPTION, only=headers)
    for resource in package["resources"]:
        fields = {field["name"]: field for field in resource["schema"]["fields"]}
        resource["schema"]["fields"] = [fields[name] for name in headers[resource["name"]]]
    return package


def as_text(package: dict[str, Any]) -> str:
    return json.dumps(package, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (FOLDER / "datapackage.json").write_text(as_text(describe(FOLDER)), encoding="utf-8")
