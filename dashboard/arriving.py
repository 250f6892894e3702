"""Files as they arrive in the upload box: single ones, or several in a zip, each under its own name.

In: what the reader dropped in. Out: `Arrived` files, a look at each before it is loaded, and a sentence for whatever
cannot be taken. A zip is read with a limit on what it may unpack to, and folders within it are left aside.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePath, PurePosixPath
from typing import Any

import pandas as pd

from pipeline.contract import load_contract
from pipeline.fleet import words
from pipeline.store import FileRefusedError, StoreError
from pipeline.store.sheets import read_sheets
from pipeline.store.zips import unpack

MOST_BYTES = 200_000_000  # unpacked, over all files of a zip
ROWS_SHOWN = 5


@dataclass(frozen=True)
class Arrived:
    """One file: its name, its bytes, and the words for where it came from."""

    name: str
    data: bytes
    origin: str


@dataclass(frozen=True)
class Glance:
    """One file before it is loaded: what it is, in a sentence, and its first rows."""

    sentence: str
    rows: pd.DataFrame


def arrived(files: Iterable[Any]) -> tuple[list[Arrived], list[str]]:
    """Every file, those of a zip one by one; and sentences on what was left aside."""
    taken: dict[str, Arrived] = {}
    told: list[str] = []
    for file in files:
        if file.name.lower().endswith(".zip"):
            found, why = _unpacked(file.name, file.getvalue())
            told += why
        else:
            own_name = PurePosixPath(file.name.replace("\\", "/")).name
            found = [Arrived(own_name, file.getvalue(), own_name)]
        for one in found:
            if one.name.lower() in taken:
                told.append(f"{one.name} came twice: the first one is taken. Rename the other, or load it by itself.")
            taken.setdefault(one.name.lower(), one)
    return list(taken.values()), told


def _unpacked(name: str, data: bytes) -> tuple[list[Arrived], list[str]]:
    try:
        with tempfile.TemporaryDirectory() as folder:
            unpacked = unpack(io.BytesIO(data), PurePath(name), Path(folder), MOST_BYTES)
            found = [Arrived(path.name, path.read_bytes(), origin) for path, origin in unpacked.files.items()]
    except StoreError as error:
        return [], [str(error)]
    aside = ", ".join(unpacked.aside[:6])
    return found, [f"Left aside in {name}, since they are not CSV files: {aside}."] if aside else []


def glance(file: Arrived) -> Glance:
    """What one file is, before anything of it is loaded."""
    resource = load_contract().resource_of_file(file.name)
    try:
        sheet = read_sheets(file.name, file.data)[0]
    except FileRefusedError as error:
        return Glance(words.sentence(str(error)), pd.DataFrame())
    rows = pd.DataFrame(sheet.rows[:ROWS_SHOWN], columns=list(sheet.headings))
    size = words.count(len(sheet.rows), "row")
    if resource is None:
        advice = "no file of the contract has this name. Load it as a sheet of your own."
        return Glance(f"{file.name}, {size}: {advice}", rows)
    known = {field.name for field in resource.fields}
    unknown = [heading for heading in sheet.headings if heading.strip().lower() not in known]
    missing = [name for name in resource.required_columns if name not in {h.strip().lower() for h in sheet.headings}]
    parts = [f"{file.name}, {size}"]
    if missing:
        parts.append(f"column {', '.join(missing)} is missing: load it as a sheet of your own")
    elif unknown:
        parts.append(f"left out: {', '.join(unknown)}")
    return Glance("; ".join(parts) + ".", rows)
