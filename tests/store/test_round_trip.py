"""Export, load into an empty store, export again: the same bytes, whatever the cells hold."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.contract import load_contract
from pipeline.store import Store, StoreError
from tests.small_club import FILES, NOW, example_row, write_club

# texts that trip up readers and writers of CSV: separators, quotes, line ends, formulas, markup, scripts, white space
ODD_TEXTS = [
    'She said "hi"', "a,b;c\td", "line\nbreak", "line\r\nbreak", "cr\ralone", "=1+2", "@SUM(A1)", "-x",
    "'; drop table players; --",
    "<b>bold</b>", "**bold**", "Ünïcödé", "中文", "🎾👩🏽‍🎾", "\u202eright to left", "  spaces around  ", "\\N",
    "NULL", "null",
    "nan", "0x1F", "007", "1e5", "2026-03-14", "true", '""', '"', "%s %d {0} $now", "\ufeffbom",
    "\u00a0nbsp\u00a0", "\x1f\x07",
]  # fmt: skip


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def _goes_round(store: Store, tmp_path: Path) -> dict[str, bytes]:
    store.export(tmp_path / "first")
    other = Store(tmp_path / "other")
    report = other.load(tmp_path / "first", now=NOW)
    assert report.total("rejected") == 0 and not report.refused, other.rejects()
    other.export(tmp_path / "second")
    assert _files(tmp_path / "second") == _files(tmp_path / "first")
    return _files(tmp_path / "first")


def test_every_column_of_every_file_goes_round(store: Store, tmp_path: Path) -> None:
    """Each file's own example row, ids made to meet, so that no column of the contract is left out."""
    folder = tmp_path / "all"
    folder.mkdir()
    for resource in load_contract().resources.values():
        row = example_row(resource)
        with (folder / resource.file_name).open("w", newline="", encoding="utf-8") as text:
            writer = csv.writer(text)
            writer.writerow(row.keys())
            writer.writerow(row.values())
    report = store.load(folder, now=NOW)
    assert (report.total("read"), report.total("new")) == (14, 14), store.rejects().to_string()
    files = _goes_round(store, tmp_path)
    assert set(files) == {resource.file_name for resource in load_contract().resources.values()}


def test_odd_texts_go_round_exactly(store: Store, tmp_path: Path) -> None:
    folder = write_club(tmp_path / "club")
    with (folder / "inspections.csv").open("w", newline="", encoding="utf-8") as text:
        writer = csv.writer(text)
        writer.writerow(["inspection_id", "inspected_on", "racket_id", "note"])
        writer.writerows([f"I{place:02d}", "2026-05-01", "R1", odd] for place, odd in enumerate(ODD_TEXTS))
    store.load(folder, now=NOW)
    with store.facts() as con:
        kept = [note for (note,) in con.execute("select note from facts.inspections order by inspection_id").fetchall()]
    assert kept == ODD_TEXTS
    _goes_round(store, tmp_path)


def test_numbers_dates_and_money_keep_their_value(store: Store, tmp_path: Path) -> None:
    folder = write_club(
        tmp_path / "club",
        {
            "strings": "string_id,string_name,material,gauge_mm,profile,reel_m,reel_price\n"
            "S1,Poly,polyester,1.2345678901234567,round,200.0,95.5\nS2,Multi,multifilament,1.3,round,0.1e2,0012\n",
            "matches": "match_id,player_id,racket_id,played_on,format,minutes\nM1,P1,R1,2026-03-10T00:00,singles,90.5\n"
            "M2,P1,R1,2026-03-10 17:30:05,singles,+60\n",
        },
    )
    assert store.load(folder, now=NOW).total("rejected") == 0
    files = _goes_round(store, tmp_path)
    assert (
        b"S1,Poly,polyester,1.2345678901234567,round,200,95.50\r\nS2,Multi,multifilament,1.3,round,10,12.00\r\n"
        in files["strings.csv"]
    )
    assert b"2026-03-10T00:00,singles,,90.5\r\n" in files["matches.csv"]
    assert b"2026-03-10T17:30:05,singles,,60\r\n" in files["matches.csv"]


def test_export_does_not_write_over_a_clubs_files_unasked(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    with pytest.raises(StoreError, match=r"already holds players\.csv"):
        store.export(club)
    assert (club / "players.csv").read_text() == FILES["players"]
    store.export(club, is_replacing=True)
    assert (club / "players.csv").read_bytes().startswith(b"player_id,player_name,squad,level,spin\r\nP1,Ada Sample")
