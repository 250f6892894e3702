"""Where everything stands on paper, measured with a ruler: what is cut, tied on or ticked must not shift.

Places are in mm from the upper left corner, texts on their base line, sizes in points. The sizes of paper are ISO 216
(A4, 210 x 297 mm) and the label roll's 62 x 29 mm; all other places are the house's own layout, checked by eye on
printed pages. Read by pdfium, another program than the one that writes.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from pipeline.fleet.prints import bench_sheet_pdf, hand_in_list_pdf, labels_pdf, small_tickets_pdf
from pipeline.fleet.prints.labels import A4, ROLL
from tests.fleet.prints.ruler import Drawn, drawings, texts
from tests.fleet.prints.test_paper import ADDRESS, LONG, ON, pages, some

TOLD = {"tell": ["Cut the whole bed out."], "notes": ["Grommets: worn"]}
HYBRID = {
    "racket_id": "R2", "crosses_string": "Corda", "crosses_string_id": "S2", "crosses_gauge_mm": 1.3, "marking": None,
}  # fmt: skip
RULER_MM = 0.02
GENERAL_ENDS = "printed on the"


def stands(pdf: bytes, *expected: str, page: int = 0) -> None:
    """Each line is 'x y size text', size with a g where the text is grey; every text of the page, in order."""
    found = texts(pdf, page)
    said = [line.split(" ", 3) for line in expected]
    assert [t.text.strip() for t in found] == [text for *_, text in said]
    for t, (x, y, size, text) in zip(found, said, strict=True):
        assert (t.x, t.y) == (pytest.approx(float(x), abs=RULER_MM), pytest.approx(float(y), abs=RULER_MM)), text
        assert t.size == pytest.approx(float(size.rstrip("g")), abs=0.02), text
        assert t.is_grey == size.endswith("g"), text


def edges(thing: Drawn) -> tuple[float, ...]:
    return tuple(round(v, 1) for v in (thing.left, thing.top, thing.right, thing.bottom))


def lines(pdf: bytes, page: int = 0) -> list[tuple[float, ...]]:
    """Stroked lines and boxes: edges, width and grey."""
    return [(*edges(d), round(d.stroke, 2), d.grey) for d in drawings(pdf, page) if d.stroke]


def same(found: list[tuple[float, ...]], expected: list[tuple[float, ...]]) -> bool:
    """To a tenth of a millimetre."""
    return len(found) == len(expected) and all(
        one == pytest.approx(other, abs=0.11) for one, other in zip(found, expected, strict=True)
    )


def test_the_bench_sheet_to_the_millimetre() -> None:
    pdf = bench_sheet_pdf(some(TOLD, HYBRID), ON, "Holm Ridge", who="Kim")
    stands(
        pdf,
        "14 18.35 20 At the bench, Mon 16 Nov 2026",
        "14 24.18 10g Holm Ridge · 2 tickets · Kim",
        "186.28 24.18 10g page 1",
        "24 37.98 22 R1",
        "24 43.36 9g marking 2",
        "66 36.08 16 24 / 23.5 kg",
        "116 35.81 12 Lyra 1.25 mm",
        "66 42.17 10 Ana Reed, Kestrel 98, 16 × 19",
        "66 46.66 9g cut 6.2 m mains, 5.6 m crosses · set-up: the player's · ready by Wed 18 Nov",
        "66 51.54 9 Cut the whole bed out. Grommets: worn",
        "24 64.95 22 R2",
        "66 63.05 16 24 / 23.5 kg",
        "116 60.46 11 Lyra 1.25 mm",
        "116 65.06 11 Corda 1.30 mm",
        "66 69.14 10 Ana Reed, Kestrel 98, 16 × 19",
        "66 73.63 9g cut 6.2 m mains, 5.6 m crosses · set-up: the player's · ready by Wed 18 Nov",
        "14 285.61 8g Local rules and the machine maker's instructions come first. Wear eye protection when you cut "
        f"strings, and stay inside the tension window {GENERAL_ENDS}",
        "14 289.14 8g frame.",
    )
    expected = [
        (14.0, 27.5, 196.0, 27.5, 0.4, 0),  # under the head
        (14.0, 32.5, 20.0, 38.5, 0.4, 0),  # a box to tick
        (14.0, 55.0, 196.0, 55.0, 0.2, 170),
        (14.0, 59.5, 20.0, 65.5, 0.4, 0),
        (14.0, 77.0, 196.0, 77.0, 0.2, 170),
    ]
    assert same(lines(pdf), expected)


def test_small_tickets_lie_between_their_cut_lines() -> None:
    pdf = small_tickets_pdf(some(TOLD, HYBRID, {"racket_id": "R3"}), "kg")
    card = (
        "13.25 26 {}", "19.31 12 Ana Reed", "23.86 9g Kestrel 98, 16 × 19{}", "34.35 20 24 / 23.5 kg",
        "40.49 11 mains Lyra 1.25 mm", "45.49 11 crosses {}", "50.36 9g cut 6.2 m mains, 5.6 m crosses",
        "55.49 11 ready by Wed 18 Nov",
    )  # fmt: skip

    def at(left: float, down: float, racket: str, marking: str, crosses: str) -> list[str]:
        given = iter((racket, marking, crosses))
        said = [line.format(next(given)) if "{}" in line else line for line in card]
        return [f"{left} {float(line.split(' ')[0]) + down:.2f} {line.split(' ', 1)[1]}" for line in said]

    stands(
        pdf,
        *at(6, 0, "R1", ", marking 2", "Lyra 1.25 mm"),
        "6 60.45 7.5 Cut the whole bed out. (and 1 more on the bench sheet)",
        *at(111, 0, "R2", "", "Corda 1.30 mm"),
        *at(6, 74.25, "R3", ", marking 2", "Lyra 1.25 mm"),
    )
    # eight of 105 x 74.25 mm fill an A4 page
    cuts = [
        (0.0, 74.25, 210.0, 74.25, 0.2, 170), (0.0, 148.5, 210.0, 148.5, 0.2, 170),
        (0.0, 222.75, 210.0, 222.75, 0.2, 170), (105.0, 0.0, 105.0, 297.0, 0.2, 170),
    ]  # fmt: skip
    rules = [
        (6.0, 26.5, 99.0, 26.5, 0.2, 170), (111.0, 26.5, 204.0, 26.5, 0.2, 170), (6.0, 100.75, 99.0, 100.75, 0.2, 170),
    ]  # fmt: skip
    assert same(lines(pdf), cuts + rules)


def test_the_ninth_small_ticket_is_the_first_of_a_new_page() -> None:
    pdf = small_tickets_pdf(some(*({"racket_id": f"R{k}"} for k in range(9))))
    last, new = [t for t in texts(pdf, 0) if t.text.strip() == "R7"], texts(pdf, 1)[0]
    assert (last[0].x, last[0].y) == (pytest.approx(111.0, abs=0.02), pytest.approx(13.25 + 3 * 74.25, abs=0.03))
    assert (new.text.strip(), round(new.x, 1), round(new.y, 2)) == ("R8", 6.0, 13.25)
    assert len(lines(pdf, 1)) == 4 + 1


def code_square(pdf: bytes, page: int = 0) -> tuple[float, float, float, float]:
    """The edges of all black modules together."""
    filled = [d for d in drawings(pdf, page) if not d.stroke]
    return (
        round(min(d.left for d in filled), 1), round(min(d.top for d in filled), 1),
        round(max(d.right for d in filled), 1), round(max(d.bottom for d in filled), 1),
    )  # fmt: skip


def test_the_code_of_a_small_ticket_stands_in_its_corner_and_long_names_keep_clear_of_it() -> None:
    left, top, right, bottom = code_square(small_tickets_pdf(some({}), "kg", ADDRESS))
    # a code of 19 mm at (80, 5) with its white rim of 4 of 37 modules (ISO/IEC 18004: version 3, 29 modules)
    module = 19.0 / (29 + 2 * 4)
    assert (left, top) == (pytest.approx(80 + 4 * module, abs=0.1), pytest.approx(5 + 4 * module, abs=0.1))
    assert (right, bottom) == (pytest.approx(99 - 4 * module, abs=0.1), pytest.approx(24 - 4 * module, abs=0.1))
    long_names = some({"player_name": LONG * 2, "racket_id": "R-" + "0" * 30, "frame": LONG * 2})
    for text in texts(small_tickets_pdf(long_names, "kg", ADDRESS))[:3]:
        assert 70.0 < text.right <= 78.1, text.text  # 93 wide, less the code and 2 mm
    assert all(88.0 < text.right <= 97.1 for text in texts(small_tickets_pdf(long_names, "kg"))[:3])


def test_a_label_of_the_roll_to_the_millimetre() -> None:
    pdf = labels_pdf(some({}), ADDRESS, ROLL)
    stands(pdf, "28.5 11.12 24 R1", "28.5 16.71 10 Ana Reed", "28.5 20.88 8 Kestrel 98", "28.5 24.72 8 marking 2")
    # 24 mm high in a label of 29, 2.5 from the left
    module = 24.0 / (29 + 2 * 4)
    expected = [2.5 + 4 * module, 2.5 + 4 * module, 26.5 - 4 * module, 26.5 - 4 * module]
    assert list(code_square(pdf)) == pytest.approx(expected, abs=0.06)


def test_labels_on_a4_stand_three_in_a_row_and_twenty_one_on_a_sheet() -> None:
    pdf = labels_pdf(some(*({"racket_id": f"R{k}"} for k in range(22))), ADDRESS, A4)
    said = [t for t in texts(pdf) if t.text.strip().startswith("R")]
    assert len(said) == 21 and texts(pdf, 1)[0].text.strip() == "R21"
    for place, text in enumerate(said):
        row, column = divmod(place, 3)
        assert text.text.strip() == f"R{place}"
        assert text.x == pytest.approx(34.5 + 70.0 * column, abs=RULER_MM)
        assert text.y == pytest.approx(14.83 + 297.0 / 7.0 * row, abs=0.03)
    one = labels_pdf(some({}), ADDRESS, A4)
    stands(one, "34.5 14.83 24 R1", "34.5 23.19 10 Ana Reed", "34.5 28.55 8 Kestrel 98", "34.5 33.36 8 marking 2")
    module, top = 30.0 / (29 + 2 * 4), (297.0 / 7.0 - 30.0) / 2.0
    expected = [2.5 + 4 * module, top + 4 * module, 32.5 - 4 * module, top + 30.0 - 4 * module]
    assert list(code_square(one)) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(("on", "right"), [(ROLL, 59.5), (A4, 67.5)])
def test_long_words_on_a_label_are_made_smaller_and_end_before_its_edge(on: str, right: float) -> None:
    change = {"player_name": LONG, "racket_id": "CLUB-LOAN-000012345", "frame": LONG, "marking": LONG}
    found = texts(labels_pdf(some(change), ADDRESS, on))
    assert all(t.right <= right + 0.1 for t in found)
    assert [t.right for t in found] == pytest.approx([right] * 4, abs=4.0)
    assert [t.size for t in found] == pytest.approx([9.0 if on == ROLL else 9.5, 7.0, 6.5, 5.6], abs=1.0)


ROWS = pd.DataFrame(
    {
        "player_id": ["P1", "P2", "P1"], "player_name": ["Ana Reed", "Bo Lind", "Ana Reed"], "squad": "Falcon",
        "racket_id": ["R1", "R2", "R3"], "marking": "1", "frame": "Kestrel", "by_on": ON,
        "why": ["broke", "likely to be dead by Friday " * 8, None],
    }
)  # fmt: skip


def test_the_hand_in_list_to_the_millimetre() -> None:
    pdf = hand_in_list_pdf(ROWS, "Club", ON)
    again = "likely to be dead by Friday"
    stands(
        pdf,
        "14 18.35 20 Rackets to hand in",
        "14 24.18 10g Club · Mon 16 Nov 2026 · 3 rackets · 2 players",
        "186.28 24.18 10g page 1",
        "14 34.13 13 Ana Reed",
        "186.13 33.98 10g Falcon",
        "24 43.22 18 R1",
        "64 41.18 10 Kestrel, marking 1",
        "172.63 41.33 10.5 by Mon 16 Nov",
        "64 45.94 9g Broke.",
        "24 54.89 18 R3",
        "64 52.84 10 Kestrel, marking 1",
        "172.63 53.00 10.5 by Mon 16 Nov",
        "14 66.96 13 Bo Lind",
        "186.13 66.81 10g Falcon",
        "24 76.05 18 R2",
        "64 74.01 10 Kestrel, marking 1",
        "172.63 74.17 10.5 by Mon 16 Nov",
        f"64 78.78 9g Likely to be dead by Friday {again} {again} likely to be dead by",
        f"64 82.74 9g Friday {again} {again} {again} likely to be",
        "64 86.71 9g dead by Friday.",
    )
    expected = [
        (14.0, 27.5, 196.0, 27.5, 0.4, 0),
        (15.0, 38.5, 20.5, 44.0, 0.4, 0),  # a box to tick beside each racket
        (15.0, 50.2, 20.5, 55.7, 0.4, 0),
        (14.0, 60.8, 196.0, 60.8, 0.2, 170),  # after each player
        (15.0, 71.3, 20.5, 76.8, 0.4, 0),
        (14.0, 89.9, 196.0, 89.9, 0.2, 170),
    ]
    assert same(lines(pdf), expected)


def test_long_words_keep_to_their_columns() -> None:
    wide = {"player_name": LONG, "racket_id": "CLUB-LOAN-000012345-" * 2, "mains_string": LONG, "squad": LONG,
            "frame": LONG * 2, "marking": LONG, "due_on": ON}  # fmt: skip
    sheet = texts(bench_sheet_pdf(some(wide), ON, LONG * 3, who=LONG))
    by_place = {(round(t.x), round(t.y)): t for t in sheet}
    for place, least, most in (
        ((14, 23), 155.0, 166.1),  # club and stringer, clear of the page's number
        ((24, 34), 60.0, 64.1),  # the racket's number
        ((24, 42), 55.0, 62.1),  # its marking
        ((116, 33), 185.0, 196.1),  # its string
        ((66, 41), 185.0, 196.1),  # player and frame
    ):
        near = [t for (x, y), t in by_place.items() if x == place[0] and abs(y - place[1]) <= 1]
        assert len(near) == 1, place
        assert least < near[0].right <= most, near[0].text
    rows = pd.DataFrame([{"player_id": "P1", "why": "x", "by_on": ON} | wide])
    found = texts(hand_in_list_pdf(rows, LONG * 3, ON))
    assert found[1].right <= 166.1  # the head
    name, squad, racket, frame = found[3], found[4], found[5], found[6]
    assert 140.0 < name.right <= 151.1 and squad.x >= 150.9 and squad.right <= 196.1
    assert 55.0 < racket.right <= 62.1 and 155.0 < frame.right <= 164.1


def blocks_of(pdf: bytes, count_pages: int) -> list[list[str]]:
    """The numbers of the rackets on each page."""
    return [
        [t.text.strip() for t in texts(pdf, page) if t.text.strip().startswith("R0")] for page in range(count_pages)
    ]


def test_pages_of_the_bench_sheet_turn_where_a_block_no_longer_fits() -> None:
    """From 29 mm down blocks of 22 mm: the eleventh ends at 271 mm, and a twelfth would pass 279 (18 are the foot)."""
    many: list[dict[str, Any]] = [{"racket_id": f"R{k:03d}"} for k in range(25)]
    pdf = bench_sheet_pdf(some(*many), ON, "Club")
    assert [len(page) for page in blocks_of(pdf, 3)] == [11, 11, 3]
    assert len(pages(pdf)) == 3
    for page in range(3):
        said = texts(pdf, page)
        assert said[2].text.strip() == f"page {page + 1}"
        assert round(said[-2].y, 2) == 285.61 and said[-1].text.strip() == "frame."
    # a caution makes the first block 5 mm taller: eleven still end at 276; three such blocks do not fit with eleven
    one_told = bench_sheet_pdf(some(many[0] | TOLD, *many[1:]), ON, "Club")
    assert [len(page) for page in blocks_of(one_told, 3)] == [11, 11, 3]
    told = bench_sheet_pdf(some(*(row | TOLD for row in many[:3]), *many[3:]), ON, "Club")
    assert [len(page) for page in blocks_of(told, 3)] == [10, 11, 4]


def test_pages_of_the_hand_in_list_turn_and_name_the_player_again() -> None:
    """One player: 30 mm down, a name of 7, lines of 11.67; twenty-one end at 282.1, and 283 is the foot."""
    rows = pd.DataFrame(
        {"player_id": "P1", "player_name": "Ana Reed", "racket_id": [f"R{k:03d}" for k in range(30)], "why": "broke"}
    )
    pdf = hand_in_list_pdf(rows, "Club", ON)
    assert [len(page) for page in blocks_of(pdf, 2)] == [21, 9]
    assert [t.text.strip() for t in texts(pdf, 1)][2:5] == ["page 2", "Ana Reed", "R021"]
    # of players with one racket each (7 + 11.67 + 2.5 mm): eleven end at 262.9, and a twelfth with 9 + 11.67 at 283.5
    each = rows.assign(player_id=[f"P{k}" for k in range(30)])
    assert [len(page) for page in blocks_of(hand_in_list_pdf(each, "Club", ON), 3)] == [11, 11, 8]


def test_words_on_a_label_that_never_fit_are_printed_at_their_least_size() -> None:
    """Number 6.5 points, name 7, frame 6.5, marking 0.7 of its 8: smaller cannot be read at arm's length."""
    without_end = "W" * 200
    change = dict.fromkeys(("player_name", "racket_id", "frame", "marking"), without_end)
    found = texts(labels_pdf(some(change), ADDRESS, ROLL))
    assert [t.size for t in found] == pytest.approx([6.5, 7.0, 6.5, 5.6], abs=0.02)
    assert all(t.text.strip().endswith("…") for t in found)
