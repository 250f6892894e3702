"""Files as they arrive in the upload box: single ones, or several in a zip, each under its own name.

In: what the reader dropped in. Out: `Arrived` files, a look at each before it is loaded, and a sentence for whatever
cannot be taken. A zip is read with a limit on what it may unpack to, and folders within it are left aside.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import pandas as pd

from pipeline.contract import load_contract
from pipeline.fleet import words
from pipeline.store import FileRefusedError
from pipeline.store.sheets import read_sheets

MOST_BYTES = 200 * 1024 * 1024  # unpacked, over all files of a zip
MOST_FILES = 200
ROWS_SHOWN = 5


@dataclass(frozen=True)
class Arrived:
    """One file: its name and its bytes."""

    name: str
    data: bytes


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
            found = [Arrived(PurePosixPath(file.name.replace("\\", "/")).name, file.getvalue())]
        for one in found:
            if one.name.lower() in taken:
                told.append(f"{one.name} came twice: the first one is taken. Rename the other, or load it by itself.")
            taken.setdefault(one.name.lower(), one)
    return list(taken.values()), told


def _unpacked(name: str, data: bytes) -> tuple[list[Arrived], list[str]]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            if len(members) > MOST_FILES or sum(member.file_size for member in members) > MOST_BYTES:
                return [], [f"{name} unpacks to too much: send at most {MOST_FILES} files of 200 MB together."]
            wanted = [member for member in members if member.filename.lower().endswith(".csv")]
            aside = [PurePosixPath(member.filename).name for member in members if member not in wanted]
            found = [Arrived(PurePosixPath(member.filename).name, archive.read(member)) for member in wanted]
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError) as error:
        return [], [f"{name} cannot be unpacked ({error}): pack it anew, without a password, or send the CSV files."]
    told = [f"Left aside in {name}, since they are not CSV files: {', '.join(aside[:6])}."] if aside else []
    return found, told if found else [*told, f"{name} holds no CSV file."]


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
