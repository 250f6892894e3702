"""What is printed: the words on the page, read back from the PDF; names of every kind; codes read back by a decoder."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pypdfium2
import pytest
import zxingcpp

from pipeline.fleet.prints import bench_sheet_pdf, hand_in_list_pdf, labels_pdf, small_tickets_pdf
from pipeline.fleet.prints.labels import A4, ROLL, inspect_address
from pipeline.fleet.prints.paper import Paper, can_print

ON = date(2026, 11, 16)
ADDRESS = "http://192.168.1.20:8501"
TICKET: dict[str, Any] = {
    "racket_id": "R1", "player_id": "P1", "player_name": "Ana Reed", "frame": "Kestrel 98", "marking": "2", "mains": 16,
    "crosses": 19, "mains_string": "Lyra", "crosses_string": "Lyra", "mains_string_id": "S1", "crosses_string_id": "S1",
    "mains_gauge_mm": 1.25, "crosses_gauge_mm": 1.25, "mains_kg": 24.0, "crosses_kg": 23.5, "mains_m": 6.2,
    "crosses_m": 5.6, "setup_from": "the player's", "due_on": date(2026, 11, 18), "stop": "", "ask": "", "tell": [],
    "notes": [],
}  # fmt: skip
LONG = "Wilhelmina-Alexandra von Hohenstaufen-Sondershausen de la Vega"
LETTERS = ["Łucja Gżegżółka", "Nguyễn Thị Ánh", "Ольга Щербакова", "Γεωργία Παπαδοπούλου", "İpek Çağlar", "Ðorđe Ćirić"]


def some(*changes: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame([TICKET | change for change in changes])


def pages(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    return [page.get_textpage().get_text_bounded() for page in document]


def size_mm(pdf: bytes) -> tuple[float, float]:
    width, height = pypdfium2.PdfDocument(pdf)[0].get_size()
    return round(width / 72 * 25.4, 1), round(height / 72 * 25.4, 1)


def marks_outside(pdf: bytes, margin_mm: float) -> int:
    """Dark pixels nearer to the left or right edge of the first page than the margin."""
    picture = pypdfium2.PdfDocument(pdf)[0].render(scale=2, grayscale=True).to_numpy().squeeze()
    edge = int(margin_mm / 25.4 * 72 * 2)
    return int((picture[:, :edge] < 128).sum() + (picture[:, -edge:] < 128).sum())


def test_the_bench_sheet_holds_all_that_the_stringer_needs() -> None:
    told = {"tell": ["Cut the whole bed out."], "notes": ["Grommets: worn"]}
    (text,) = pages(bench_sheet_pdf(some(told), ON, "Holm Ridge"))
    for word in ("At the bench, Mon 16 Nov 2026", "Holm Ridge", "1 ticket", "R1", "marking 2", "24 / 23.5 kg",
                 "Lyra 1.25 mm", "Ana Reed, Kestrel 98, 16 × 19", "cut 6.2 m mains, 5.6 m crosses",
                 "ready by Wed 18 Nov",
                 "Cut the whole bed out.", "Grommets: worn", "machine maker"):  # fmt: skip
        assert word in text, word


def test_a_hybrid_names_both_strings_and_pounds_are_pounds() -> None:
    hybrid = {"crosses_string": "Corda", "crosses_string_id": "S2", "crosses_gauge_mm": 1.3}
    (text,) = pages(bench_sheet_pdf(some(hybrid), ON, "Holm Ridge", unit="lb"))
    assert "Lyra 1.25 mm" in text and "Corda 1.30 mm" in text
    assert "52.9 / 51.8 lb" in text


def test_every_ticket_is_on_the_sheet_and_on_a_card() -> None:
    many = some(*({"racket_id": f"R{k:03d}"} for k in range(40)))
    for pdf in (bench_sheet_pdf(many, ON, "Club"), small_tickets_pdf(many)):
        text = "\n".join(pages(pdf))
        assert all(f"R{k:03d}" in text for k in range(40))
    assert len(pages(small_tickets_pdf(many))) == 5


@pytest.mark.parametrize("name", LETTERS)
def test_names_in_other_letters_are_printed_as_they_are(name: str) -> None:
    (text,) = pages(bench_sheet_pdf(some({"player_name": name}), ON, "Club"))
    assert name in text
    assert "given as numbers" not in text


def test_a_name_that_no_font_holds_is_printed_as_its_number_and_that_is_said() -> None:
    assert not can_print("王小明")
    (text,) = pages(bench_sheet_pdf(some({"player_name": "王小明"}), ON, "Club"))
    assert "P1, Kestrel 98" in text
    assert "Names in letters that the printed fonts have not are given as numbers." in text


def test_hebrew_and_georgian_are_held() -> None:
    assert can_print("שרה לוי") and can_print("გიორგი")


@pytest.mark.parametrize("make", [bench_sheet_pdf, hand_in_list_pdf])
def test_nothing_runs_off_the_paper(make: Any) -> None:
    rows = some(
        {"player_name": LONG, "racket_id": "CLUB-LOAN-000012345", "mains_string": LONG, "why": LONG * 6, "squad": LONG}
    )
    pdf = make(rows, ON, LONG) if make is bench_sheet_pdf else make(rows, LONG, ON)
    assert marks_outside(pdf, 10.0) == 0


def test_long_text_is_made_smaller_then_cut_off() -> None:
    paper = Paper()
    paper.add_page()
    paper.say(10, 10, LONG * 3, 12, 60)
    (text,) = pages(paper.to_bytes())
    assert text.strip().endswith("…")


def test_the_hand_in_list_goes_by_player() -> None:
    rows = pd.DataFrame(
        {
            "player_id": ["P1", "P2", "P1"], "player_name": ["Ana Reed", "Bo Lind", "Ana Reed"], "squad": "Falcon",
            "racket_id": ["R1", "R2", "R3"], "marking": "1", "frame": "Kestrel", "by_on": ON,
            "why": ["broke", "likely to be dead by Friday", None],
        }
    )  # fmt: skip
    (text,) = pages(hand_in_list_pdf(rows, "Club", ON))
    assert "3 rackets" in text and "2 players" in text
    assert text.count("Ana Reed") == 1
    assert text.index("R1") < text.index("R3") < text.index("Bo Lind") < text.index("R2")
    assert "by Mon 16 Nov" in text and "Broke." in text


def test_empty_prints_say_so() -> None:
    none = some(TICKET).iloc[:0]
    assert "No ticket is open" in pages(bench_sheet_pdf(none, ON, "Club"))[0]
    assert "No ticket is open" in pages(small_tickets_pdf(none))[0]
    assert "No racket has to be handed in" in pages(hand_in_list_pdf(none, "Club", ON))[0]
    assert "No racket was chosen" in pages(labels_pdf(none, ADDRESS))[0]


@pytest.mark.parametrize(("on", "size"), [(ROLL, (62.0, 29.0)), (A4, (210.0, 297.0))])
def test_the_code_of_a_label_opens_the_rackets_inspection(on: str, size: tuple[float, float]) -> None:
    rackets = some({"racket_id": "R 7/ä", "player_name": LONG})
    pdf = labels_pdf(rackets, ADDRESS + "/", on)
    assert size_mm(pdf) == size
    picture = (
        pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_pil().convert("L")
    )  # what a printer of 300 dpi draws
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == f"{ADDRESS}/inspect?racket=R%207%2F%C3%A4" == inspect_address(ADDRESS, "R 7/ä")


def test_every_code_on_a_sheet_is_read_back() -> None:
    rackets = some(*({"racket_id": f"R{k:03d}"} for k in range(21)))
    for pdf, count in ((labels_pdf(rackets, ADDRESS, A4), 21), (small_tickets_pdf(rackets, "kg", ADDRESS), 8)):
        picture = pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_pil().convert("L")
        read = {code.text for code in zxingcpp.read_barcodes(picture)}
        assert read == {inspect_address(ADDRESS, f"R{k:03d}") for k in range(count)}


def test_labels_are_printed_on_two_kinds_of_paper_only() -> None:
    with pytest.raises(ValueError, match="roll or on a4"):
        labels_pdf(some({}), ADDRESS, "letter")
