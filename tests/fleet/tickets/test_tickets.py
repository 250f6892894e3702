"""Tickets in a real store: the states, strung with its restring and metres, undo, refusals, cautions, set-ups."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from pipeline.fleet.tickets import ConfirmError, Strung, book, booked_words, move, strung, tickets
from pipeline.fleet.tickets.cautions import ASK, STOP, TELL, cautions
from pipeline.fleet.tickets.frame import _notes
from pipeline.fleet.tickets.setup import LAST, NONE, OWN, PLAYERS, setups_in_force
from pipeline.fleet.tickets.steps import STEP_COLUMNS, steps
from pipeline.store import Store, StoreError
from pipeline.store.people import NotAllowedError, Person
from tests.small_club import write_club

NINE = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
HALF_PAST = datetime(2026, 6, 1, 9, 31, tzinfo=UTC)
TODAY = date(2026, 6, 1)
KIM = Person("Kim", "stringer")
RACKETS = (
    "racket_id,player_id,frame,marking,mains,crosses,head_cm2,tension_min_kg,tension_max_kg,role,in_service_on\n"
    "R1,P1,Frame A,red,16,19,632,20,25,match,2026-01-01\nR2,P1,Frame A,blue,16,19,632,20,25,match,2026-01-01\n"
    "R3,,Frame B,,18,20,632,20,25,loan,2026-01-01\n"
)


@pytest.fixture
def make(tmp_path: Path) -> Callable[..., Store]:
    """A store of the small club, with files replaced or added."""

    def made(**files: str) -> Store:
        store = Store(tmp_path / "club")
        store.load(write_club(tmp_path / "given", {"rackets": RACKETS} | files), now=NINE)
        return store

    return made


def on_books(store: Store) -> pd.DataFrame:
    with store.facts() as con:
        return tickets(con, TODAY)


def rows_of(store: Store, resource: str) -> pd.DataFrame:
    return store.records(resource)


def test_the_whole_way_writes_the_restring_and_its_metres(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R1"], KIM, now=NINE).given_ids
    assert on_books(store)["state"].tolist() == ["booked"]
    move(store, job, "on_bench", KIM, now=NINE, stringer="Kim")
    report = strung(store, job, KIM, now=HALF_PAST)
    done = rows_of(store, "restrings").set_index("restring_id").loc[report.given_ids[0]]
    assert (done["racket_id"], done["stringer"], done["minutes"]) == ("R1", "Kim", 31)
    assert (done["mains_string_id"], done["mains_kg"], done["reason"]) == ("S1", 23.5, "scheduled")
    assert 9.9 <= done["mains_m"] + done["crosses_m"] <= 12.2  # the usual frames, as restated in the evidence
    job_row = rows_of(store, "jobs").iloc[0]
    assert (job_row["state"], job_row["restring_id"]) == ("strung", report.given_ids[0])
    move(store, job, "handed_back", KIM, now=HALF_PAST)
    assert on_books(store).empty


def test_every_step_keeps_who_and_when(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R1"], Person("Ana", "coach"), now=NINE).given_ids
    move(store, job, "on_bench", KIM, now=NINE)
    strung(store, job, KIM, now=HALF_PAST)
    found = steps(store, job)
    assert tuple(found.columns) == STEP_COLUMNS
    assert found["state"].tolist() == ["booked", "on_bench", "strung"]
    assert found["by"].tolist() == ["Ana", "Kim", "Kim"]
    assert found["written_at"].iloc[-1] == pd.Timestamp("2026-06-01 09:31")


def test_undo_takes_the_restring_back_and_the_ticket_with_it(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R1"], now=NINE).given_ids
    before = rows_of(store, "restrings")
    report = strung(store, job, now=HALF_PAST)
    assert report.entry_id is not None
    store.undo(report.entry_id, now=HALF_PAST)
    assert on_books(store)["state"].tolist() == ["booked"]
    pd.testing.assert_frame_equal(rows_of(store, "restrings"), before)


def test_a_second_booking_of_one_racket_is_refused_and_nothing_is_booked(make: Callable[..., Store]) -> None:
    store = make()
    assert booked_words(book(store, ["R1"], now=NINE)) == "1 racket is booked on the bench."
    with pytest.raises(StoreError, match=r"R1 \(ticket T0001\) is booked already, and nothing was booked: untick it"):
        book(store, ["R2", "R1"], now=NINE)
    assert on_books(store)["racket_id"].tolist() == ["R1"]


def test_unknown_rackets_and_empty_choices_are_refused(make: Callable[..., Store]) -> None:
    store = make()
    with pytest.raises(StoreError, match=r"R9 is not in rackets\.csv"):
        book(store, ["R9"], now=NINE)
    with pytest.raises(StoreError, match="tick at least one"):
        book(store, [], now=NINE)


def test_new_tickets_are_numbered_like_the_clubs_own(make: Callable[..., Store]) -> None:
    own = "job_id,racket_id,handed_in_on,state,state_on\nK007,R2,2026-05-01,handed_back,2026-05-02\n"
    assert book(make(jobs=own), ["R1"], now=NINE).given_ids == ("K008",)


def test_a_racket_seen_broken_is_handed_in_as_broken(make: Callable[..., Store]) -> None:
    store = make(inspections="inspection_id,inspected_on,racket_id,broken\nI1,2026-05-30,R1,yes\n")
    book(store, ["R1", "R2"], now=NINE)
    assert dict(on_books(store)[["racket_id", "reason"]].to_numpy()) == {"R1": "broke", "R2": "scheduled"}
    told = on_books(store).set_index("racket_id")["tell"]
    assert "cut the whole bed out at once, from the centre outwards" in told["R1"][0]


def test_a_step_that_makes_no_sense_is_refused(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R1"], now=NINE).given_ids
    strung(store, job, now=HALF_PAST)
    with pytest.raises(StoreError, match="is strung and cannot become booked"):
        move(store, job, "booked", now=HALF_PAST)
    with pytest.raises(StoreError, match="is strung already"):
        strung(store, job, now=HALF_PAST)
    with pytest.raises(StoreError, match="there is no ticket T9"):
        move(store, "T9", "booked", now=HALF_PAST)


def test_a_reader_moves_no_ticket(make: Callable[..., Store]) -> None:
    store = make()
    with pytest.raises(NotAllowedError):
        book(store, ["R1"], Person("Eve", "reader"), now=NINE)
    assert on_books(store).empty


def test_above_the_frames_window_is_refused_until_confirmed(make: Callable[..., Store]) -> None:
    store = make(setups="racket_id,from_on,mains_string_id,mains_kg\nR1,2026-05-01,S1,27\n")
    (job,) = book(store, ["R1"], now=NINE).given_ids
    with pytest.raises(ConfirmError, match=r"27 kg is above the window printed on the frame \(20 to 25 kg\)"):
        strung(store, job, now=HALF_PAST)
    assert len(rows_of(store, "restrings")) == 3
    strung(store, job, now=HALF_PAST, done=Strung(is_confirmed=True))
    assert len(rows_of(store, "restrings")) == 4


def test_a_frame_on_hold_is_not_strung_until_a_later_inspection(make: Callable[..., Store]) -> None:
    looks = "inspection_id,inspected_on,racket_id,frame\nI1,2026-05-30,R1,do_not_string\n"
    store = make(inspections=looks)
    (job,) = book(store, ["R1"], now=NINE).given_ids
    for step in (lambda: move(store, job, "on_bench", now=NINE), lambda: strung(store, job, now=NINE)):
        with pytest.raises(StoreError, match="Do not string R1: the inspection of Sat 30 May says so"):
            step()
    store.enter(
        {"inspections": [{"inspection_id": "I2", "inspected_on": TODAY, "racket_id": "R1", "frame": "ok"}]}, now=NINE
    )
    move(store, job, "on_bench", now=NINE)


def test_strung_otherwise_is_written_as_it_was(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R1"], now=NINE).given_ids
    other = Strung(mains_string_id="S2", crosses_string_id="S1", mains_kg=22.0, crosses_kg=21.5, minutes=40)
    report = strung(store, job, now=HALF_PAST, stringer="Kim", done=other)
    done = rows_of(store, "restrings").set_index("restring_id").loc[report.given_ids[0]]
    assert (done["mains_string_id"], done["crosses_string_id"]) == ("S2", "S1")
    assert (done["mains_kg"], done["crosses_kg"], done["minutes"]) == (22.0, 21.5, 40)


def test_a_racket_without_any_string_on_file_asks_for_one(make: Callable[..., Store]) -> None:
    store = make()
    (job,) = book(store, ["R3"], now=NINE).given_ids
    with pytest.raises(StoreError, match="no string is on file for R3"):
        strung(store, job, now=HALF_PAST)


def test_the_set_up_in_force_is_the_rackets_own_then_the_players_then_the_last(make: Callable[..., Store]) -> None:
    store = make(
        setups="racket_id,player_id,from_on,mains_string_id,crosses_string_id,mains_lb,crosses_kg\n"
        ",P1,2026-04-01,S2,,50,\nR1,,2026-05-01,S1,S2,52,21\nR1,,2026-07-01,S2,,60,\n"
    )
    with store.facts() as con:
        found = setups_in_force(con, TODAY).set_index("racket_id")
    assert found["setup_from"].to_dict() == {"R1": OWN, "R2": PLAYERS, "R3": NONE}
    assert found.loc["R1", "crosses_string_id"] == "S2"
    assert found.loc["R1", "mains_kg"] == pytest.approx(52 * 0.45359237)  # the exact pound
    assert found.loc["R1", "crosses_kg"] == 21
    assert found.loc["R2", ["mains_string_id", "crosses_string_id"]].tolist() == ["S2", "S2"]
    with store.facts() as con:
        assert setups_in_force(con, date(2026, 3, 15)).set_index("racket_id").loc["R1", "setup_from"] == LAST


TICKET = {"racket_id": "R1", "tension_min_kg": 20.0, "tension_max_kg": 25.0, "mains_kg": 23.0, "crosses_kg": 22.0}


@pytest.mark.parametrize(
    ("change", "weight", "said"),
    [
        ({"crosses_kg": 26.0}, ASK, "26 kg is above the window"),
        ({"mains_kg": 19.0}, TELL, "19 kg is below the window"),
        ({"frame_state": "watch", "frame_seen_on": TODAY}, TELL, "Watch the frame"),
        ({"frame_state": "do_not_string", "frame_seen_on": TODAY}, STOP, "Do not string R1"),
        ({"squad": "U12 red", "mains_material": "polyester", "crosses_material": "polyester"}, TELL, "young juniors"),
        ({"level": "beginner", "mains_material": "polyester", "crosses_material": "polyester"}, TELL, "young juniors"),
        ({"mains_kg": None, "crosses_kg": None}, TELL, "No tension is on file"),
    ],
)
def test_cautions(change: dict[str, object], weight: str, said: str) -> None:
    """Common practice, as restated in the project's evidence."""
    (found,) = cautions(TICKET | change)
    assert found.weight == weight
    assert said in found.text


def test_what_needs_no_word_gets_none() -> None:
    assert cautions(TICKET) == ()
    hybrid = {"squad": "U12", "mains_material": "polyester", "crosses_material": "multifilament"}
    assert cautions(TICKET | hybrid) == ()
    assert cautions(TICKET | {"squad": "U18", "mains_material": "polyester", "crosses_material": "polyester"}) == ()


def test_pounds_are_said_in_pounds() -> None:
    (found,) = cautions(TICKET | {"mains_kg": 26.0}, unit="lb")
    assert found.text.startswith("57.3 lb is above the window printed on the frame (44.1 to 55.1 lb)")


@pytest.mark.parametrize(
    ("grommets", "note", "told"),
    [("worn", "left side", ["Grommets: worn", "left side"]), (None, "left side", ["left side"]),
     ("worn", None, ["Grommets: worn"]), (None, None, [])],
)  # fmt: skip
def test_what_a_look_wrote_down_stands_on_the_ticket(grommets: str | None, note: str | None, told: list[str]) -> None:
    assert _notes({"grommets": grommets, "look_note": note}) == told
