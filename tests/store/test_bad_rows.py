"""Rows that break the contract: one row in, its sentence out, and everything else loaded."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.store import Store
from tests.small_club import FILES, NOW, write_club

RESTRING = "restring_id,racket_id,strung_on,mains_string_id,mains_kg,mains_lb,reason,ended_on\n"
MATCH = "match_id,player_id,racket_id,played_on,format,minutes,score\n"
INSPECTION = "inspection_id,inspected_on,racket_id,fraying,notching,lost_feel,broken\n"
CALENDAR = "planned_on,squad,player_id,activity,event,until_on,minutes,cancelled\n"

# file, header and row, column, sentence
REFUSED: dict[str, tuple[str, str, str, str]] = {
    "far future": (
        "restrings", RESTRING + "J9,R1,2099-02-01,S1,24,,broke,", "strung_on",
        "strung_on 2099-02-01 lies after the day of loading (the latest that can be is 2026-06-03): correct the date.",
    ),
    "long past": (
        "restrings", RESTRING + "J9,R1,1899-12-30,S1,24,,broke,", "strung_on",
        "strung_on 1899-12-30 lies before 1970-01-01: correct the year.",
    ),
    "plan too far ahead": (
        "calendar", CALENDAR + "2099-01-01,U16,,singles,Cup,,90,", "planned_on",
        "planned_on 2099-01-01 lies too far ahead (the latest that can be is 2029-06-03): correct the date.",
    ),
    "no such day": (
        "restrings", RESTRING + "J9,R1,2026-02-30,S1,24,,broke,", "strung_on",
        "strung_on 2026-02-30 is not a date: write an ISO date that exists, such as 2026-03-14 or 2026-03-14T17:30.",
    ),
    "no such time": (
        "matches", MATCH + "M9,P1,R1,2026-03-10T25:00,singles,90,", "played_on",
        "played_on 2026-03-10T25:00 is not a date: write an ISO date that exists, such as 2026-03-14 or "
        "2026-03-14T17:30.",
    ),
    "negative minutes": (
        "matches", MATCH + "M9,P1,R1,2026-03-10,singles,-90,", "minutes",
        "minutes -90 must be at least 1 and at most 720: correct the minutes.",
    ),
    "no minutes": (
        "matches", MATCH + "M9,P1,R1,2026-03-10,singles,0,", "minutes",
        "minutes 0 must be at least 1 and at most 720: correct the minutes.",
    ),
    "neither minutes nor score": (
        "matches", MATCH + "M9,P1,R1,2026-03-10,singles,,", "score",
        "neither score nor minutes is given: fill in one of them.",
    ),
    "score in words": (
        "matches", MATCH + "M9,P1,R1,2026-03-10,singles,,won", "score",
        "score won cannot be read: write games by set, such as 6-4 3-6 7-6(4).",
    ),
    "unknown racket": (
        "matches", MATCH + "M9,P1,R99,2026-03-10,singles,90,", "racket_id",
        "racket_id R99 is not in rackets.csv, or was rejected there: mend it there and load both, or correct it here.",
    ),
    "unknown player": (
        "matches", MATCH + "M9,P99,R1,2026-03-10,singles,90,", "player_id",
        "player_id P99 is not in players.csv, or was rejected there: mend it there and load both, or correct it here.",
    ),
    "restrung before it existed": (
        "restrings", RESTRING + "J9,R1,2025-12-24,S1,24,,broke,", "strung_on",
        "strung_on 2025-12-24 lies before the racket existed: R1 came into service on 2026-01-01 and cannot "
        "have been strung "
        "earlier; correct strung_on here or in_service_on in rackets.csv.",
    ),
    "old bed ends after the new": (
        "restrings", RESTRING + "J9,R1,2026-03-24,S1,24,,broke,2026-03-25", "ended_on",
        "ended_on 2026-03-25 lies after strung_on 2026-03-24: it is the day the OLD strings broke; correct "
        "one of the two.",
    ),
    "pounds as kilograms": (
        "restrings", RESTRING + "J9,R1,2026-03-24,S1,52,,broke,", "mains_kg",
        "mains_kg 52 is more than 45 kg and looks like pounds: put it in mains_lb, or convert it to kg.",
    ),
    "no pull at all": (
        "restrings", RESTRING + "J9,R1,2026-03-24,S1,2.4,,broke,", "mains_kg",
        "mains_kg 2.4 is outside 5 to 45 kg: correct it, or leave the row out if it was a slip.",
    ),
    "two pulls": (
        "restrings", RESTRING + "J9,R1,2026-03-24,S1,24,60,broke,", "mains_lb",
        "mains_kg 24 and mains_lb 60 are not the same pull: leave one of them out.",
    ),
    "no such reason": (
        "restrings", RESTRING + "J9,R1,2026-03-24,S1,24,,tired,", "reason",
        "reason tired is not one of its values: write broke, lost_feel, inspection, scheduled, string_change, "
        "frame_fault, "
        "broke_on_machine, first or unknown.",
    ),
    "grade of four": (
        "inspections", INSPECTION + "I1,2026-03-24,R1,0,4,0,no", "notching",
        "notching 4 is not a grade: write 0 none, 1 slight, 2 clear or 3 severe.",
    ),
    "neither yes nor no": (
        "inspections", INSPECTION + "I1,2026-03-24,R1,0,1,0,perhaps", "broken",
        "broken perhaps is neither yes nor no: write yes or no.",
    ),
    "gauge number": (
        "strings", FILES["strings"] + "S3,Thin,polyester,17,round,200,90", "gauge_mm",
        "gauge_mm 17 looks like a gauge number: write the diameter in millimetres, such as 1.25.",
    ),
    "gauge too thick": (
        "strings", FILES["strings"] + "S3,Rope,polyester,2.4,round,200,90", "gauge_mm",
        "gauge_mm 2.4 is outside 0.5 to 2 mm: correct it, or leave the row out if it was a slip.",
    ),
    "a third of a cent": (
        "strings", FILES["strings"] + "S3,Thin,polyester,1.2,round,200,90.333", "reel_price",
        "reel_price 90.333 is not an amount of money: write an amount with at most two decimals, such as 95.00.",
    ),
    "half a main": (
        "rackets", FILES["rackets"] + "R9,P1,Frame,16.5,19,match,2026-01-01", "mains",
        "mains 16.5 is not a whole number: write a whole number such as 16.",
    ),
    "not a number": (
        "strings", FILES["strings"] + "S3,Thin,polyester,nan,round,200,90", "gauge_mm",
        "gauge_mm nan is not a number: write a plain number such as 1.25.",
    ),
    "empty name": (
        "players", FILES["players"] + "P9,  ,U16,club,flat", "player_name",
        "player_name is empty: fill it in (Name to show).",
    ),
    "line break in an id": (
        "players", FILES["players"] + '"P\n9",Cy,U16,club,flat', "player_id",
        "player_id holds a line break or a control character: probably a quote mark is missing; mend it.",
    ),
    "plan for nobody": (
        "calendar", CALENDAR + "2026-07-01,,,drills,Camp,,90,", "squad",
        "neither squad nor player_id is given: say for whom it is planned.",
    ),
    "plan that ends before it begins": (
        "calendar", CALENDAR + "2026-07-05,U16,,drills,Camp,2026-07-04,90,", "until_on",
        "until_on 2026-07-04 lies before planned_on 2026-07-05: a plan ends on or after its first day; "
        "correct one of the two.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_bad_row_is_rejected_with_its_sentence_and_the_rest_loads(store: Store, tmp_path: Path, case: str) -> None:
    name, text, column, sentence = REFUSED[case]
    folder = write_club(tmp_path / "club", {name: text})
    report = store.load(folder, now=NOW)
    file = next(file for file in report.files if file.resource == name)
    assert (file.rejected, file.read) == (1, file.new + 1)
    (reject,) = store.rejects().query("file == @name + '.csv'").itertuples()
    assert (reject.file, reject.column, reject.message) == (f"{name}.csv", column, sentence)
    assert reject.line == text.split("\n").index(text.rstrip("\n").split("\n")[-1]) + (0 if '"' in text else 1)


QUESTIONED: dict[str, tuple[str, str, str]] = {
    "fraying of monofilaments": (
        "inspections", INSPECTION + "I1,2026-03-24,R1,2,0,0,no",
        "fraying 2 on a bed of monofilaments of racket R1, which notch and do not fray: the row is kept; "
        "check the grade and the racket.",
    ),
    "no tension": (
        "restrings", FILES["restrings"] + "J9,R1,2026-04-01,S1,,broke",
        "neither mains_kg nor mains_lb is given: the row is kept; fill in one if you know it.",
    ),
    "high for kilograms": (
        "restrings", FILES["restrings"] + "J9,R1,2026-04-01,S1,42,broke",
        "mains_kg 42 is unusually high for kilograms: check that it is not in pounds.",
    ),
    "low for pounds": (
        "restrings", RESTRING + "J9,R1,2026-04-01,S1,,24,broke,",
        "mains_lb 24 is unusually low for pounds: check that it is not in kilograms.",
    ),
    "unknown squad": (
        "practices", "practice_id,squad,played_on,activity,minutes\nT1,U61,2026-03-01,drills,60",
        "no player of players.csv is in squad U61: the row is kept; check the spelling.",
    ),
    "unknown absentee": (
        "practices", "practice_id,squad,played_on,activity,minutes,absent\nT1,U16,2026-03-01,drills,60,P1;P7",
        "absent P1;P7 names a player who is not in players.csv: the row is kept; check the ids.",
    ),
    "played before it existed": (
        "matches", MATCH + "M9,P1,R1,2025-12-10,singles,90,",
        "played_on 2025-12-10 lies before the racket existed: R1 came into service on 2026-01-01 and cannot "
        "have been played "
        "earlier; the row is kept; correct played_on here or in_service_on in rackets.csv.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", QUESTIONED)
def test_an_odd_row_is_kept_and_questioned(store: Store, tmp_path: Path, case: str) -> None:
    name, text, sentence = QUESTIONED[case]
    report = store.load(write_club(tmp_path / "club", {name: text}), now=NOW)
    assert report.total("rejected") == 0
    assert report.count_questions == 1
    assert list(store.questions().message) == [sentence]
    again = store.load(tmp_path / "club", now=NOW)
    assert again.count_questions == 0 and len(store.questions()) == 1


def test_fraying_of_a_soft_bed_is_no_question(store: Store, tmp_path: Path) -> None:
    """Soft strings fray (common practice)."""
    folder = write_club(tmp_path / "club", {"inspections": INSPECTION + "I1,2026-03-24,R2,2,0,0,no"})
    assert store.load(folder, now=NOW).count_questions == 0


def test_rows_of_one_key_with_other_values_are_all_rejected_with_their_lines(store: Store, tmp_path: Path) -> None:
    text = FILES["matches"] + "M1,P1,R1,2026-02-10,singles,60,\nM3,P1,R1,2026-02-11,singles,60,\n"
    report = store.load(write_club(tmp_path / "club", {"matches": text}), now=NOW)
    assert (report.total("rejected"), report.files[-1].new) == (2, 2)
    rejects = store.rejects()
    assert list(rejects.line) == [2, 4]
    assert set(rejects.message) == {
        "lines 2, 4 have the same match_id and player_id and racket_id and other values, so none of them was loaded: "
        "keep the one that is right, or give the others a key of their own."
    }


def test_the_same_row_twice_counts_once(store: Store, tmp_path: Path) -> None:
    text = FILES["matches"] + "M1,P1,R1,2026-02-10,Singles,90.0,\n"
    matches = store.load(write_club(tmp_path / "club", {"matches": text}), now=NOW).files[-1]
    assert (matches.read, matches.new, matches.unchanged, matches.rejected) == (3, 2, 1, 0)


def test_one_racket_held_by_two_players_is_said_so(store: Store, tmp_path: Path) -> None:
    text = "racket_id,from_on,player_id\nR3,2026-03-01,P1\nR3,2026-03-01T12:00,P2\nR3,2026-04-01,\n"
    store.load(write_club(tmp_path / "club", {"holders": text}), now=NOW)
    assert set(store.rejects().message) == {
        "racket R3 is held by two players on the same day (lines 2, 3): keep the line that is right and "
        "delete the other."
    }


def test_every_fault_of_a_row_is_named_but_it_counts_once(store: Store, tmp_path: Path) -> None:
    text = MATCH + "M9,P9,R9,2026-13-01,triples,ten,\n"
    matches = store.load(write_club(tmp_path / "club", {"matches": text}), now=NOW).files[-1]
    assert (matches.read, matches.rejected) == (1, 1)
    assert set(store.rejects().column) == {"player_id", "racket_id", "played_on", "format", "minutes"}


def test_units_time_and_case_are_taken_as_meant(store: Store, tmp_path: Path) -> None:
    folder = write_club(
        tmp_path / "club",
        {
            "restrings": RESTRING + "J1,R1,2026-02-01,S1,,52,Broke,2026-01-31\n",
            "practices": "practice_id,squad,played_on,activity,minutes,absent\n"
            "T1,U16,2026-03-01T16:00:30,Ball machine,60,P1;P2\n",
        },
    )
    assert store.load(folder, now=NOW).total("rejected") == 0
    with store.facts() as con:
        assert con.execute("select mains_kg, mains_lb, reason from facts.restrings").fetchall() == [
            (None, 52.0, "broke")
        ]
        ((activity, absent, day, instant),) = con.execute(
            "select activity, absent, cast(played_on as varchar), cast(played_on_at as varchar) from facts.practices"
        ).fetchall()
    assert (activity, absent, day, instant) == ("ball_machine", "P1;P2", "2026-03-01", "2026-03-01 16:00:30")
