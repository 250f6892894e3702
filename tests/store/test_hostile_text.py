"""Hostile text in every text column comes back exactly: by file, by entry, through an export and in again."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.contract.resources import Resource
from pipeline.store import Store
from pipeline.store.formulas import RUNS, neutralised, read_back
from tests.small_club import FILES, NOW, write_club, write_file
from tests.store.naughty import ONLY_IN_NOTES, STRINGS

TEXTS = ("id", "label", "text")
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


def _free_texts(resource: Resource) -> list[str]:
    """Columns that take any text and refer to nothing."""
    refers = {key.field for key in resource.foreign_keys}
    return [f.name for f in resource.fields if f.kind in TEXTS and f.name not in refers]


def _rows(resource: Resource, columns: list[str], text: str, place: int, key: str) -> list[str]:
    """A good row with the text in every free column; the key made single by its place."""
    row = []
    for name in columns:
        field = resource.field(name)
        if name in _free_texts(resource):
            row.append(f"{text}{place}" if name == resource.key[0] and key == "own" else text)
        else:
            row.append({"racket_id": "R1", "player_id": "P1"}.get(name, field.example))
    return row


# the free text columns of each file, beside what it needs; keyed so that every text makes a row of its own
WHERE = {
    "players": "player_id,player_name,squad,level,spin",
    "strings": "string_id,string_name,material,gauge_mm,profile,reel_m,reel_price",
    "inspections": "inspection_id,inspected_on,racket_id,notching,note,grommets",
    "calendar": "planned_on,squad,activity,event,minutes",
}


@pytest.mark.parametrize("name", WHERE)
def test_every_text_comes_back_exactly_and_an_export_loads_again(store: Store, tmp_path: Path, name: str) -> None:
    store.load(write_club(tmp_path / "club"), now=NOW)
    resource = store.contract.resources[name]
    columns = [column for column in WHERE[name].split(",") if column in [f.name for f in resource.fields]]
    texts = [text for text in STRINGS if text.strip(BLANKS) == text and "\x85" not in text]
    texts += list(ONLY_IN_NOTES) if name == "inspections" else []
    rows = []
    for place, text in enumerate(texts):
        row = _rows(resource, columns, text, place, "own")
        if text in ONLY_IN_NOTES:
            row = [
                f"N{place}" if c == "inspection_id" else "" if c == "grommets" else v
                for c, v in zip(columns, row, strict=True)
            ]
        rows.append([neutralised(cell) for cell in row])
    report = store.load(write_file(tmp_path / "in", name, _csv(columns, rows)), now=NOW)
    assert (report.total("read"), report.total("rejected")) == (len(texts), 0), store.rejects().message.tolist()[:3]
    field = {"players": "player_name", "strings": "string_name", "inspections": "note", "calendar": "event"}[name]
    there = store.records(name)
    there = there[there.load_id == report.files[0].load_id].sort_values("line_number")
    assert there[field].tolist() == texts
    first = _exported(store, tmp_path / "out")
    again = Store(tmp_path / "again")
    assert again.load(tmp_path / "out", now=NOW).total("rejected") == 0
    assert _exported(again, tmp_path / "out2") == first


def test_every_text_typed_in_comes_back_exactly(store: Store, tmp_path: Path) -> None:
    store.load(write_club(tmp_path / "club"), now=NOW)
    texts = [*STRINGS, *ONLY_IN_NOTES]
    looks = [
        {"inspection_id": f"I{place}", "inspected_on": "2026-05-01", "racket_id": "R1", "notching": 1, "note": text}
        for place, text in enumerate(texts)
    ]
    assert store.enter({"inspections": looks}, now=NOW).total("new") == len(texts)
    assert dict(zip(store.records("inspections").inspection_id, store.records("inspections").note, strict=True)) == {
        f"I{place}": text for place, text in enumerate(texts)
    }


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
