"""Hostile text in every text column comes back exactly: by file, by entry, through an export and in again."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.contract.resources import Resource
from pipeline.contract.typed import COLUMN_TYPES
from pipeline.store import Store
from pipeline.store.formulas import RUNS, neutralised, read_back
from tests.small_club import FILES, NOW, example_row, write_club, write_file
from tests.store.naughty import ONLY_IN_NOTES, STRINGS

TEXT_KINDS = {kind for kind, sql in COLUMN_TYPES.items() if sql == "VARCHAR"} - {"choice", "score"}  # take any text
NOTES = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=30)
BLANKS = " \t\n\r\xa0"


def _csv(columns: list[str], rows: list[list[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerows([columns, *rows])
    return text.getvalue()


def _exported(store: Store, folder: Path) -> dict[str, bytes]:
    store.export(folder)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def _is_for_any_column(text: str) -> bool:
    """Whether it may stand in an id or a label, which are trimmed and hold no control character."""
    return text.strip(BLANKS) == text and not re.search(r"[\x00-\x1f]", text)


def _rows(resource: Resource, texts: Sequence[str]) -> list[dict[str, str]]:
    """Good rows, one for each text, which stands in every column of the contract that takes texts, references too."""
    rows = []
    for place, text in enumerate(texts):
        row = example_row(resource)
        for field in resource.fields:
            if field.kind in TEXT_KINDS:
                row[field.name] = text if field.kind == "text" or _is_for_any_column(text) else f"N{place}"
        rows.append(row)
    return rows


def _differing(store: Store, given: dict[str, list[dict[str, str]]]) -> list[str]:
    """The columns of text whose recorded cells are not the given ones."""
    found = []
    for name, rows in given.items():
        there = store.records(name)
        for field in store.contract.resources[name].fields:
            if field.kind in TEXT_KINDS and sorted(there[field.name]) != sorted(row[field.name] for row in rows):
                found.append(f"{name}.{field.name}")
    return found


@pytest.mark.parametrize("way", ["a file", "an entry"])
def test_every_text_in_every_column_comes_back_exactly_and_an_export_loads_again(
    store: Store, tmp_path: Path, way: str
) -> None:
    """Driven by the contract: a file or a column that is new there is held against the texts as well."""
    texts = [*STRINGS, *ONLY_IN_NOTES, "x" * 100_000]
    given = {name: _rows(resource, texts) for name, resource in store.contract.resources.items()}
    if way == "a file":
        for name, rows in given.items():
            cells = [[neutralised(cell) for cell in row.values()] for row in rows]
            write_file(tmp_path / "in", name, _csv(list(rows[0]), cells))
        report = store.load(tmp_path / "in", now=NOW)
    else:
        report = store.enter(given, now=NOW)
    assert report.total("read") == report.total("new") == len(texts) * len(given), store.rejects().message.tolist()[:3]
    assert _differing(store, given) == []
    first = _exported(store, tmp_path / "out")
    again = Store(tmp_path / "again")
    assert again.load(tmp_path / "out", now=NOW).total("new") == report.total("new")
    assert _differing(again, given) == []
    assert _exported(again, tmp_path / "out2") == first
    assert again.load(tmp_path / "out", now=NOW).total("unchanged") == report.total("new")


def test_no_exported_cell_runs_as_a_formula(store: Store, tmp_path: Path) -> None:
    store.load(write_club(tmp_path / "club"), now=NOW)
    players = [{"player_id": f"={place}", "player_name": text, "squad": "@x", "level": "club", "spin": "flat"}
               for place, text in enumerate(["=1+1", "+1", "-1", "@a", "'=1", "\uff1d1"])]  # fmt: skip
    store.enter({"players": players}, now=NOW)
    store.export(tmp_path / "out")
    with (tmp_path / "out" / "players.csv").open(encoding="utf-8", newline="") as text:
        cells = [cell for row in csv.reader(text) for cell in row]
    assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r\uff1d")] and "'=1+1" in cells


@given(st.text(max_size=40))
def test_neutralising_is_undone_exactly_and_leaves_no_formula(text: str) -> None:
    assert read_back(neutralised(text)) == text
    assert neutralised(text).lstrip(" \xa0")[:1] not in ("=", "+", "-", "@")
    assert RUNS.match(text) or neutralised(text) == text


@settings(max_examples=25, deadline=None)
@given(notes=st.lists(NOTES, min_size=1, max_size=30))
def test_any_notes_round_trip(tmp_path_factory: pytest.TempPathFactory, notes: list[str]) -> None:
    folder = tmp_path_factory.mktemp("any")
    store = Store(folder / "store")
    store.load(write_club(folder / "club", {k: v for k, v in FILES.items() if k != "matches"}), now=NOW)
    rows = [[f"I{place}", "2026-05-01", "R1", "1", neutralised(note)] for place, note in enumerate(notes)]
    text = _csv(["inspection_id", "inspected_on", "racket_id", "notching", "note"], rows)
    report = store.load(write_file(folder / "in", "inspections", text), now=NOW)
    assert (report.total("read"), report.total("rejected")) == (len(notes), 0)
    there = store.records("inspections").sort_values("line_number").note
    assert [note if isinstance(note, str) else "" for note in there] == notes


# the usual sample files for CSV readers (a field with a comma, escaped quotes, line breaks, JSON, ...), from memory,
# as notes of inspections: the lines of the file, and the notes that must come out
SPECTRUM: dict[str, tuple[str, list[str | None]]] = {
    "simple": ("I1,2026-05-01,R1,3\n", ["3"]),
    "simple crlf": ("I1,2026-05-01,R1,3\r\n", ["3"]),
    "comma in quotes": ('I1,2026-05-01,R1,"120 any st.\n, apt 2"\n', ["120 any st.\n, apt 2"]),
    "empty": ('I1,2026-05-01,R1,""\nI2,2026-05-01,R1,\n', [None, None]),
    "empty crlf": ('I1,2026-05-01,R1,""\r\nI2,2026-05-01,R1,\r\n', [None, None]),
    "escaped quotes": ('I1,2026-05-01,R1,"ha ""ha"" ha"\n', ['ha "ha" ha']),
    "json": (
        'I1,2026-05-01,R1,"{""type"": ""Point"", ""coordinates"": [102.0, 0.5]}"\n',
        ['{"type": "Point", "coordinates": [102.0, 0.5]}'],
    ),
    "newlines": ('I1,2026-05-01,R1,"once upon \na time"\nI2,2026-05-01,R1,b\n', ["once upon \na time", "b"]),
    "newlines crlf": (
        'I1,2026-05-01,R1,"once upon \r\na time"\r\nI2,2026-05-01,R1,b\r\n',
        ["once upon \r\na time", "b"],
    ),
    "quotes and newlines": ('I1,2026-05-01,R1,"ha \n""ha"" \nha"\n', ['ha \n"ha" \nha']),
    "utf8": ("I1,2026-05-01,R1,ʤ\n", ["ʤ"]),
    "no line end at the end": ("I1,2026-05-01,R1,3", ["3"]),
    "quoted all": ('"I1","2026-05-01","R1","a"\n', ["a"]),
    "blank lines": ("\nI1,2026-05-01,R1,a\n\n\nI2,2026-05-01,R1,b\n\n", ["a", "b"]),
    "lone returns": ("I1,2026-05-01,R1,a\rI2,2026-05-01,R1,b\r", ["a", "b"]),
}  # fmt: skip


@pytest.mark.parametrize("case", SPECTRUM)
@pytest.mark.parametrize("mark", [",", ";"])
def test_the_usual_sample_files_read_as_they_should(store: Store, tmp_path: Path, case: str, mark: str) -> None:
    body, notes = SPECTRUM[case]
    if mark == ";":
        body = body.replace("I1,2026-05-01,R1,", "I1;2026-05-01;R1;").replace("I2,2026-05-01,R1,", "I2;2026-05-01;R1;")
        body = body.replace('"I1","2026-05-01","R1",', '"I1";"2026-05-01";"R1";')
    store.load(write_club(tmp_path / "club"), now=NOW)
    end = "\r" if case == "lone returns" else "\r\n" if "\r\n" in body else "\n"
    header = mark.join(["inspection_id", "inspected_on", "racket_id", "note"]) + end
    report = store.load(write_file(tmp_path / "in", "inspections", header + body), now=NOW)
    assert (report.total("read"), report.total("rejected")) == (len(notes), 0), store.rejects().to_dict()
    assert [
        n if isinstance(n, str) else None for n in store.records("inspections").sort_values("line_number").note
    ] == notes
