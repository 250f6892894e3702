"""A club's own sheet: what is proposed, what is asked, what a confirmed way records, and that it is remembered."""

from __future__ import annotations

import io
import shutil
import zipfile
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from pipeline.store import FileRefusedError, Store, StoreError
from pipeline.store.people import NotAllowedError, Person
from pipeline.store.sheet_loading import contract_rows, load_sheet, propose
from pipeline.store.sheet_proposal import Proposal, SheetMap
from pipeline.store.sheet_values import READINGS, gauge, is_day_first, pair
from pipeline.store.sheets import Sheet, read_sheets
from tests.small_club import NOW, write_club

LOG = (
    "Stringing log 2026;;;;;;\r\nDate;Racket;String;Tension;Why;Strung by;Colour\r\n"
    "14.03.2026;R1;Poly;52/50;broken;Sam;red\r\n15.3.26;r2;Multi;52;dead;Sam;\r\n16.3.26;Ada;Poli;54;whatever;Sam;\r\n"
)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small club loaded, once; copied for each test."""
    folder = tmp_path_factory.mktemp("loaded")
    store = Store(folder / "store")
    store.load(write_club(folder / "club"), now=NOW)
    return store.folder


@pytest.fixture
def filled(loaded: Path, store: Store) -> Store:
    shutil.copytree(loaded, store.folder)
    return store


def _sheet(text: str, name: str = "log.csv") -> Sheet:
    (sheet,) = read_sheets(name, text.encode())
    return sheet


def _column(proposal: Proposal, heading: str) -> tuple[str, str, bool]:
    column = next(column for column in proposal.columns if column.heading == heading)
    return column.field, column.reading, column.is_sure


def _becomes(proposal: Proposal) -> dict[tuple[str, str], str]:
    return {(value.field, value.given): value.becomes for value in proposal.values}


def test_a_stringing_log_is_proposed_with_reasons_and_what_is_open_is_asked(filled: Store) -> None:
    sheet = _sheet(LOG)
    assert sheet.lines == (3, 4, 5) and "what stands above line 2 was left out" in sheet.notes[0]
    proposal = propose(filled, sheet)
    assert proposal.resource == "restrings" and not proposal.is_remembered
    assert _column(proposal, "Date") == ("strung_on", "day first", True)
    assert _column(proposal, "Tension") == ("mains_lb", "pair", False)
    assert _column(proposal, "Colour") == ("", "as it is", True)
    assert _becomes(proposal) == {
        ("racket_id", "r2"): "R2", ("racket_id", "Ada"): "", ("mains_string_id", "Poly"): "S1",
        ("mains_string_id", "Multi"): "S2", ("mains_string_id", "Poli"): "S1", ("reason", "broken"): "broke",
        ("reason", "dead"): "lost_feel", ("reason", "whatever"): "",
    }  # fmt: skip
    said = " ".join(proposal.open)
    assert "52 is a usual pull in pounds and too much in kilograms" in said
    assert "racket_id 'Ada': 2 have this in their name: choose (R1, R2)." in said and "reason 'whatever'" in said
    assert "restring_id: one is made from racket_id and strung_on" in proposal.makes_ids
    assert filled.loads().file.tolist()[-1] != "log.csv"  # a proposal writes nothing


def test_a_confirmed_sheet_is_recorded_remembered_and_loads_again_without_change(filled: Store) -> None:
    sheet = _sheet(LOG)
    confirmed = propose(filled, sheet).confirmed(values={"racket_id": {"Ada": "R2"}, "reason": {"whatever": "unknown"}})
    report = load_sheet(filled, sheet, confirmed, by=Person("Sam", "stringer"), now=NOW)
    assert (report.total("read"), report.total("new"), report.total("rejected")) == (3, 3, 0)
    rows = filled.records("restrings").set_index("strung_on").sort_index().loc["2026-03-14":]
    assert list(rows.racket_id) == ["R1", "R2", "R2"] and list(rows.mains_lb) == [52, 52, 54]
    assert rows.crosses_lb.iloc[0] == 50 and list(rows.line_number) == [3, 4, 5]
    assert set(rows.recorded_by) == {"Sam"} and list(rows.reason) == ["broke", "lost_feel", "unknown"]
    later = _sheet(LOG.replace("Date;Racket;", "Racket;Date;").replace("14.03.2026;R1", "R1;14.03.2026")
                   .replace("15.3.26;r2", "r2;15.3.26").replace("16.3.26;Ada", "Ada;16.3.26"))  # fmt: skip
    again = propose(filled, later)
    assert again.is_remembered and again.open == ()
    assert load_sheet(filled, later, again.confirmed(), now=NOW).total("unchanged") == 3


def test_what_cannot_be_read_is_rejected_with_the_line_of_the_sheet(filled: Store) -> None:
    sheet = _sheet(LOG)
    report = load_sheet(filled, sheet, propose(filled, sheet).confirmed(), now=NOW)
    assert (report.total("new"), report.total("rejected")) == (2, 1)
    assert set(filled.rejects().line) == {5} and set(filled.rejects()["column"]) == {"racket_id", "reason"}


def test_gauges_prices_and_types_of_a_workbook(store: Store) -> None:
    book = Workbook()
    for row in (
        ["String", "Type", "Gauge", "Reel", "Price", "Shape"],
        ["Poly X", "poly", "17 g", 200, 95.5, "hexagonal"],
        ["Gut", "natural gut", 1.3, 12, 30, "round"],
        ["Mu", "multi", "16L", "12 m", "12,50", "smooth"],
    ):
        book.active.append(row)
    book.create_sheet("Notes")
    data = io.BytesIO()
    book.save(data)
    (sheet,) = read_sheets("strings.xlsx", data.getvalue())
    proposal = propose(store, sheet)
    assert proposal.resource == "strings" and proposal.open == () and not store.exists
    assert load_sheet(store, sheet, proposal.confirmed(), now=NOW).total("new") == 3
    rows = store.records("strings").set_index("string_name")
    assert dict(rows.gauge_mm) == {"Poly X": 1.24, "Gut": 1.30, "Mu": 1.27}
    assert dict(rows.material) == {"Poly X": "polyester", "Gut": "natural_gut", "Mu": "multifilament"}
    assert float(rows.reel_price["Mu"]) == 12.5 and rows.reel_m["Mu"] == 12


def test_a_workbooks_dates_are_dates_and_a_pattern_fills_two_columns(filled: Store) -> None:
    book = Workbook()
    book.active.append(["Racket", "Pattern", "In use since", "Use", "Player"])
    book.active.append(["Frame C", "16x19", datetime(2026, 3, 14), "match", "Bo"])
    data = io.BytesIO()
    book.save(data)
    (sheet,) = read_sheets("my rackets.xlsx", data.getvalue())
    proposal = propose(filled, sheet)
    assert proposal.resource == "rackets" and _becomes(proposal)["player_id", "Bo"] == "P2"
    (row,) = contract_rows(sheet, proposal.confirmed(), filled.contract)
    assert (row["mains"], row["crosses"], row["in_service_on"], row["player_id"]) == ("16", "19", "2026-03-14", "P2")
    assert load_sheet(filled, sheet, proposal.confirmed(), now=NOW).total("new") == 1


def test_two_alike_rows_get_two_ids_and_keep_them(filled: Store) -> None:
    text = (
        "Player,Date,Racket,Minutes,Format\nAda Sample,2026-05-01,R1,60,singles\nAda Sample,2026-05-01,R1,45,singles\n"
    )
    sheet = _sheet(text, "matches played.csv")
    proposal = propose(filled, sheet, "matches")
    assert load_sheet(filled, sheet, proposal.confirmed(), now=NOW).total("new") == 2
    longer = _sheet(text + "Ada Sample,2026-05-08,R1,50,singles\n", "matches played.csv")
    report = load_sheet(filled, longer, propose(filled, longer).confirmed(), now=NOW)
    assert (report.total("unchanged"), report.total("new")) == (2, 1)


@pytest.mark.parametrize(
    ("way", "given", "becomes"),
    [
        ("day first", "14.3.2026", "2026-03-14"), ("day first", "14/03/26 17:30", "2026-03-14T17:30"),
        ("day first", "Sat, 14 March 2026", "2026-03-14"), ("month first", "3/14/2026", "2026-03-14"),
        ("day first", "2026-03-14", "2026-03-14"), ("day first", "14.3", "14.3"),
        ("day first", "3.14.2026", "3.14.2026"),
        ("number", "1,25", "1.25"), ("number", "24 kg", "24"), ("number", "about 24", "about 24"),
        ("hours and minutes", "1:30", "90"), ("hours and minutes", "1h30", "90"), ("hours and minutes", "90 min", "90"),
        ("gauge", "17", "1.24"), ("gauge", "16L g", "1.27"), ("gauge", "1,25 mm", "1.25"), ("gauge", "99", "99"),
    ],
)  # fmt: skip
def test_ways_of_reading(way: str, given: str, becomes: str) -> None:
    assert READINGS[way](given) == becomes


def test_pairs_gauges_and_the_order_of_day_and_month() -> None:
    assert pair("16 x 19") == ("16", "19") and pair("52/50 lbs") == ("52", "50") and pair("52 lbs") == ("52", "")
    assert (
        float(gauge("15")) > float(gauge("16")) > float(gauge("17")) > float(gauge("18"))
    )  # a higher number is thinner
    assert is_day_first(["14.3.26"]) is True and is_day_first(["3/14/26"]) is False and is_day_first(["3/4/26"]) is None


def test_dates_that_do_not_say_are_asked(filled: Store) -> None:
    proposal = propose(filled, _sheet("Date,Racket,String,Tension kg\n03/04/2026,R1,S1,23\n"))
    assert (
        "column 'Date': Date is a usual word for strung_on; the dates do not say whether day or month"
        in proposal.open[0]
    )


def test_nothing_is_loaded_for_one_who_may_not(filled: Store) -> None:
    sheet = _sheet(LOG)
    with pytest.raises(NotAllowedError):
        load_sheet(filled, sheet, propose(filled, sheet).confirmed(), by=Person("Cy", "manager"), now=NOW)
    assert len(filled.records("restrings")) == 3


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (SheetMap("restring", {"Date": "strung_on"}), "there is no file 'restring'"),
        (SheetMap("restrings", {"Date": "day"}), "restrings.csv has no column 'day'"),
        (
            SheetMap("restrings", {"Date": "strung_on", "Why": "strung_on"}),
            "two columns of log.csv were to fill strung_on",
        ),
        (SheetMap("restrings", {"Date": ""}), "no column of log.csv is used"),
        (SheetMap("restrings", {"Date": "strung_on"}, {"Date": "backwards"}), "no way of reading 'backwards'"),
    ],
)
def test_a_way_that_makes_no_sense_is_refused(filled: Store, wrong: SheetMap, said: str) -> None:
    with pytest.raises(StoreError) as error:
        load_sheet(filled, _sheet(LOG), wrong, now=NOW)
    assert said in str(error.value)


def _bomb() -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as packed:
        for part in range(3):
            packed.writestr(f"xl/{part}.xml", b"0" * 100_000_000)
    return data.getvalue()


def _of_a_later_kind() -> bytes:
    """A ZIP whose list of files says that version 24.5 of the format is needed to unpack it."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as packed:
        packed.writestr("xl/workbook.xml", b"<x/>")
    changed = bytearray(data.getvalue())
    changed[changed.index(b"PK\x01\x02") + 6] = 245
    return bytes(changed)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.xlsx", _of_a_later_kind(), "cannot be read as a workbook"),
        ("a.csv", b"", "a.csv is empty"), ("a.csv", b"one\ntwo\n", "has no row with two filled cells"),
        ("a.csv", b"a,b\x00\n", "holds NUL bytes"), ("a.csv", b'a,b\n"x,1\n', "cannot be read from line 2 on"),
        ("a.xls", b"old", "is in the old XLS format"), ("a.xlsx", b"no zip", "cannot be read as a workbook"),
        ("../../a.xlsx", b"PK\x03\x04broken", "a.xlsx cannot be read as a workbook"),
        ("a.csv", b"\xff\xfea", "is damaged UTF-16"), ("a.csv", b"a,b\n" * 5_000_001, "is larger than 20 MB"),
        ("a.csv", b",".join([b"a"] * 300) + b"\n", "has 300 columns"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_sheet_is_refused_with_a_sentence(name: str, data: bytes, said: str) -> None:
    with pytest.raises(FileRefusedError) as error:
        read_sheets(name, data)
    assert said in str(error.value) and str(error.value).endswith(".")


def test_a_workbook_that_would_unpack_to_very_much_is_refused() -> None:
    with pytest.raises(FileRefusedError, match=r"bomb.xlsx would unpack to 300 MB, more than any club's sheet"):
        read_sheets("bomb.xlsx", _bomb())


def test_other_encodings_are_read_and_said() -> None:
    (utf16,) = read_sheets("a.csv", "Näme,Squad\nÅsa,U16\n".encode("utf-16"))
    assert utf16.headings == ("Näme", "Squad") and "saved as UTF-16" in utf16.notes[0]
    (western,) = read_sheets("a.csv", "Näme;Squad\nÅsa;U16\n".encode("cp1252"))
    assert western.rows == (("Åsa", "U16"),) and "not UTF-8 and was read as Windows Western" in western.notes[0]
