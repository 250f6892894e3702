"""The same key again: unchanged, corrected with history, taken back, and rejects that mend later."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from pipeline.store import Store, StoreError
from tests.small_club import FILES, NOW, write_club, write_file

MATCHES = FILES["matches"]
LATER = NOW + timedelta(days=1)


def _minutes(store: Store) -> dict[str, float | None]:
    with store.facts() as con:
        return dict(con.execute("select match_id, minutes from facts.matches").fetchall())


def test_loading_again_changes_nothing(store: Store, club: Path, tmp_path: Path) -> None:
    store.load(club, now=NOW)
    store.export(tmp_path / "before")
    report = store.load(club, now=LATER)
    assert {file.file: (file.new, file.corrected, file.unchanged == file.read) for file in report.files} == {
        file.file: (0, 0, True) for file in report.files
    }
    store.export(tmp_path / "after")
    for path in (tmp_path / "before").iterdir():
        assert (tmp_path / "after" / path.name).read_bytes() == path.read_bytes()
    with store.facts() as con:
        assert con.execute("select count(*) from facts.raw.matches").fetchall() == [(2,)]
        assert con.execute("select distinct loaded_at from facts.matches").fetchall() == [(NOW.replace(tzinfo=None),)]


def test_a_correction_replaces_the_row_and_keeps_the_old(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    report = store.load(write_file(club, "matches", MATCHES.replace(",90,", ",75,")), now=LATER)
    assert (report.total("corrected"), report.total("unchanged")) == (1, 1)
    assert _minutes(store) == {"M1": 75, "M2": None}
    (old,) = store.history("matches").itertuples()
    assert (old.match_id, old.minutes, old.replaced_how, old.replaced_at) == (
        "M1",
        90,
        "corrected",
        LATER.replace(tzinfo=None),
    )


def test_the_latest_load_wins_and_an_old_file_is_noticed(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    store.load(write_file(club / "new", "matches", MATCHES.replace(",90,", ",75,")), now=NOW)
    report = store.load(club / "matches.csv", now=LATER)
    assert report.notes == (
        "matches.csv: 1 row took a value again that a later load had replaced: is this an old file?",
    )
    assert _minutes(store)["M1"] == 90
    assert list(store.history("matches").minutes) == [90, 75]


def test_two_files_of_one_name_in_one_call_are_taken_in_turn(store: Store, club: Path) -> None:
    report = store.load([club, write_file(club / "b", "matches", MATCHES.replace(",90,", ",75,"))], now=NOW)
    assert [(f.new, f.corrected) for f in report.files if f.resource == "matches"] == [(2, 0), (0, 1)]
    assert _minutes(store) == {"M1": 75, "M2": None}
    assert list(store.history("matches").minutes) == [90]


def test_a_struck_row_goes_to_the_history_and_stays_out(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    assert store.strike("matches", ["M1", "P1", "R1"], now=LATER) == "matches.csv M1 P1 R1"
    assert set(_minutes(store)) == {"M2"}
    assert list(store.history("matches").replaced_how) == ["struck"]
    report = store.load(club, now=LATER)
    assert report.total("new") == 0
    assert report.notes == ("matches.csv: 1 row was taken back earlier (strike) and stayed out.",)
    assert set(_minutes(store)) == {"M2"}
    assert store.load(write_file(club, "matches", MATCHES.replace(",90,", ",80,")), now=LATER).total("new") == 1
    assert _minutes(store)["M1"] == 80


@pytest.mark.parametrize(
    ("file", "key", "sentence"),
    [
        ("socks", ["M1"], "there is no file 'socks': it is one of players,"),
        ("matches", ["M7"], "matches.csv has no current row M7: check the key"),
        ("matches", ["M1", "P1", "R1", "x"], "a row of matches.csv is named by <match_id> <player_id> <racket_id>"),
        ("rackets", ["R1"], "2 rows of restrings.csv name it under racket_id, so it was kept: strike those first"),
        ("players.csv", ["P1"], "2 rows of rackets.csv name it under player_id, so it was kept"),
    ],
)
def test_what_cannot_be_struck_is_said(store: Store, club: Path, file: str, key: list[str], sentence: str) -> None:
    store.load(club, now=NOW)
    with pytest.raises(StoreError) as error:
        store.strike(file, key, now=LATER)
    assert str(error.value).startswith(sentence)


def test_a_reject_is_tried_again_when_what_it_needed_is_there(store: Store, club: Path) -> None:
    row = "M3,P3,R1,2026-04-01,doubles,60,\n"
    write_file(club, "matches", MATCHES + row)
    assert store.load(club, now=NOW).total("rejected") == 1
    players = write_file(club / "more", "players", FILES["players"] + "P3,Cy Sample,U16,club,flat\n")
    report = store.load(players, now=LATER)
    assert report.count_mended == 1
    assert _minutes(store)["M3"] == 60
    assert store.rejects().empty
    (kept,) = store.rejects(with_mended=True).itertuples()
    assert kept.mended_how == "what it needed was loaded later"
    assert store.load(club / "matches.csv", now=LATER).total("unchanged") == 3


def test_a_row_that_waits_for_two_things_waits_for_both(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES + "M3,P3,R9,2026-04-01,doubles,60,\n")
    store.load(club, now=NOW)
    store.load(write_file(club / "a", "players", FILES["players"] + "P3,Cy Sample,U16,club,flat\n"), now=LATER)
    assert list(store.rejects().column) == ["player_id", "racket_id"]
    store.load(
        write_file(
            club / "b", "rackets", "racket_id,frame,mains,crosses,role,in_service_on\nR9,F,16,19,spare,2026-01-01\n"
        ),
        now=LATER,
    )
    assert store.rejects().empty and "M3" in _minutes(store)


def test_a_date_ahead_does_not_come_in_by_waiting(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES + "M3,P1,R1,2026-07-01,singles,60,\n")
    store.load(club, now=NOW)
    store.load(club / "players.csv", now=NOW + timedelta(days=60))
    assert "M3" not in _minutes(store) and len(store.rejects()) == 1


def test_a_good_row_of_its_key_mends_a_reject(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES.replace(",90,", ",-90,"))
    store.load(club, now=NOW)
    report = store.load(write_file(club / "b", "matches", MATCHES), now=LATER)
    assert (report.count_mended, report.total("rejected")) == (1, 0)
    assert store.rejects().empty
    assert list(store.rejects(with_mended=True).mended_how) == ["a later load held a good row of the same key"]


def test_a_bad_id_put_right_in_the_file_mends_the_reject(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES + "M3,P1,R99,2026-04-01,singles,60,\n")
    store.load(club, now=NOW)
    report = store.load(write_file(club, "matches", MATCHES + "M3,P1,R2,2026-04-01,singles,60,\n"), now=LATER)
    assert report.count_mended == 1
    assert list(store.rejects(with_mended=True).mended_how) == ["the file was loaded again without it"]


def test_next_weeks_file_of_the_same_name_leaves_this_weeks_rejects_open(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES + "M3,P1,R99,2026-04-01,singles,60,\n")
    store.load(club, now=NOW)
    header = MATCHES.splitlines()[0]
    store.load(write_file(club, "matches", header + "\nM4,P1,R1,2026-04-08,singles,60,\n"), now=LATER)
    assert list(store.rejects().value) == ["R99"]


def test_a_bad_row_loaded_again_keeps_its_one_entry(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES.replace(",90,", ",-90,") + "\n")
    store.load(club, now=NOW)
    header, *rows = MATCHES.replace(",90,", ",-90,").splitlines()
    write_file(club, "matches", "\n".join([header, *reversed(rows)]))
    assert store.load(club, now=LATER).total("rejected") == 1
    (entry,) = store.rejects().itertuples()
    assert (entry.line, entry.loaded_at) == (3, LATER.replace(tzinfo=None))


def test_a_mended_reject_that_comes_back_is_open_again(store: Store, club: Path) -> None:
    bad = write_file(club / "bad", "matches", MATCHES.replace(",90,", ",-90,"))
    store.load(club, now=NOW)
    store.load(bad, now=NOW)
    store.load(club, now=LATER)
    assert store.rejects().empty
    store.load(bad, now=LATER)
    assert len(store.rejects()) == 1 and _minutes(store)["M1"] == 90


def test_the_same_bad_row_twice_has_two_entries(store: Store, club: Path) -> None:
    write_file(club, "matches", MATCHES + 2 * "M3,P1,R1,2026-04-01,singles,-60,\n")
    assert store.load(club, now=NOW).total("rejected") == 2
    assert list(store.rejects().line) == [4, 5]
    store.load(club, now=LATER)
    assert list(store.rejects().line) == [4, 5]


def test_a_racket_may_come_with_the_same_load_as_its_restring(store: Store, tmp_path: Path) -> None:
    paths = sorted(write_club(tmp_path / "club").glob("*.csv"), reverse=True)
    assert store.load(paths, now=NOW).total("rejected") == 0
