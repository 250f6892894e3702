"""How files may be written, and what is said of those that cannot be read: file in, sentence out."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.store import Store, StoreError
from tests.small_club import FILES, NOW, write_club, write_file

PLAYERS = FILES["players"]


def _clean(store: Store, query: str) -> list[tuple[object, ...]]:
    with store.facts() as con:
        return con.execute(query).fetchall()


def test_a_folder_loads_in_the_order_of_its_references(store: Store, club: Path) -> None:
    report = store.load(club, now=NOW)
    assert {file.file: (file.read, file.new, file.rejected) for file in report.files} == {
        "players.csv": (2, 2, 0), "rackets.csv": (3, 3, 0), "strings.csv": (2, 2, 0),
        "restrings.csv": (3, 3, 0), "matches.csv": (2, 2, 0),
    }  # fmt: skip
    assert report.refused == () and report.notes == ()


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + PLAYERS,
        PLAYERS.replace("\n", "\r\n"),
        PLAYERS.replace("\n", "\r"),
        PLAYERS.rstrip("\n"),
        PLAYERS.replace(",", ";"),
        PLAYERS.replace("P2,Bo Sample", '"P2","Bo Sample"'),
        "\n" + PLAYERS.replace("\n", "\n\n"),
        " Player_ID ,PLAYER_NAME,Squad,Level,Spin\nP1,Ada Sample,U16 , Regional,HEAVY\nP2,Bo Sample,U16,club,flat\n",
        "spin,level,squad,player_name,player_id\nheavy,regional,U16,Ada Sample,P1\nflat,club,U16,Bo Sample,P2\n",
    ],
    ids=[
        "bom",
        "crlf",
        "cr",
        "no last line end",
        "semicolon",
        "quoted",
        "empty lines",
        "spaces and case",
        "other order",
    ],
)
def test_the_same_table_written_in_other_ways_is_the_same(store: Store, club: Path, text: str) -> None:
    store.load(club, now=NOW)
    report = store.load(write_file(club, "players", text), now=NOW)
    assert (report.total("read"), report.total("unchanged"), report.refused) == (2, 2, ())


def test_a_semicolon_file_may_have_decimal_commas(store: Store, club: Path) -> None:
    text = FILES["restrings"].replace("23.5", "23,5").replace("J1,", "J1;")
    header, *rows = FILES["restrings"].replace(",", ";").replace("23.5", "23,5").splitlines()
    assert text != header
    report = store.load([club, write_file(club / "later", "restrings", "\n".join([header, *rows]))], now=NOW)
    assert report.total("rejected") == 0
    assert _clean(store, "select mains_kg from facts.restrings where restring_id = 'J2'") == [(23.5,)]


def test_a_comma_file_may_not_have_decimal_commas(store: Store, club: Path) -> None:
    write_file(club, "restrings", FILES["restrings"].replace("23.5", '"23,5"'))
    store.load(club, now=NOW)
    (message,) = store.rejects().message
    assert message == "mains_kg 23,5 is not a number: write a plain number such as 23.5."


def test_file_names_may_be_in_capitals_and_folders_may_have_odd_names(store: Store, tmp_path: Path) -> None:
    folder = write_club(tmp_path / "it's [a] club*")
    (folder / "players.csv").rename(folder / "PLAYERS.CSV")
    assert store.load(folder, now=NOW).total("new") == 12


def test_a_row_keeps_its_file_line_and_time(store: Store, club: Path) -> None:
    write_file(
        club,
        "inspections",
        'inspection_id,inspected_on,racket_id,note\nI1,2026-05-01,R1,"two\nlines"\n\nI2,2026-05-02,R1,\n',
    )
    store.load(club, now=NOW)
    rows = _clean(store, "select inspection_id, note, line_number, loaded_at from facts.inspections order by 1")
    loaded_at = NOW.replace(tzinfo=None)
    assert rows == [("I1", "two\nlines", 2, loaded_at), ("I2", None, 5, loaded_at)]
    raw = _clean(store, "select note, line_number from facts.raw.inspections order by line_number")
    assert raw == [("two\nlines", 2), (raw[1][0], 5)] and not raw[1][0]


def test_unknown_columns_are_kept_beside_the_raw_rows_and_reported(store: Store, club: Path) -> None:
    report = store.load(
        write_file(
            club,
            "players",
            PLAYERS.replace("spin\n", "spin,hand\n").replace("heavy", "heavy,left").replace("flat", "flat,"),
        ),
        now=NOW,
    )
    assert report.notes == (
        "players.csv: unknown column hand: kept beside the raw rows, not used; check the spelling.",
    )
    assert _clean(store, "select unknown_cells ->> 'hand' from facts.raw.players order by player_id") == [
        ("left",),
        (None,),
    ]


def test_missing_optional_columns_are_empty(store: Store, club: Path) -> None:
    store.load(club, now=NOW)
    assert _clean(store, "select count(hours_week), count(since), count(left_on) from facts.players") == [(0, 0, 0)]


REFUSED = {
    "empty": (b"", "players.csv is empty: it needs a header line with the column names."),
    "only white": (b"\xef\xbb\xbf \n\n", "players.csv is empty: it needs a header line with the column names."),
    "wrong header": (
        b"name,age\nAda,15\n",
        "players.csv lacks the columns player_id, player_name, squad, level, spin (its first line has: name, age); "
        "nothing of it was loaded: add the columns to the header line.",
    ),
    "one column missing": (
        PLAYERS.replace("spin", "spn").encode(),
        "players.csv lacks the column spin (its first line has: player_id, player_name, squad, level, spn); "
        "nothing of it was loaded: add the column to the header line.",
    ),
    "column twice": (
        PLAYERS.replace("spin", "spin,squad").encode(),
        "players.csv has the column squad twice in its header; nothing was loaded: leave one of them out.",
    ),
    "binary": (
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        "players.csv holds a NUL byte on line 3, so it is not a text file; nothing was loaded: save it as CSV UTF-8.",
    ),
    "nul within": (
        PLAYERS.replace("Bo", "B\0o").encode(),
        "players.csv holds a NUL byte on line 3, so it is not a text file; nothing was loaded: save it as CSV UTF-8.",
    ),
    "other encoding": (
        PLAYERS.replace("Bo", "Bö").encode("cp1252"),
        "players.csv is not UTF-8 text (line 3) and was not loaded: save it as CSV UTF-8.",
    ),
    "utf-16": (PLAYERS.encode("utf-16"), "players.csv is saved as UTF-16 and was not loaded: save it as CSV UTF-8."),
    "cut within a character": (
        PLAYERS.encode() + "ö".encode()[:1],
        "players.csv ends within a character, so it is cut short; nothing was loaded: copy it anew.",
    ),
    "unclosed quote": (
        PLAYERS.replace("Ada Sample", '"Ada Sample').encode(),
        "players.csv has a quote mark on line 2 that is never closed; nothing of it was loaded: mend that record "
        "(a quote mark within a quoted cell is written twice) and load the file again.",
    ),
    "stray quote": (
        PLAYERS.replace("Ada Sample", '"Ada" Sample').encode(),
        "players.csv has a stray quote mark in the record that begins on line 2 (reading stopped on line 2); "
        "nothing of it "
        "was loaded: mend that record (a quote mark within a quoted cell is written twice) and load the file again.",
    ),
    "huge cell": (
        PLAYERS.replace("Ada Sample", "A" * 1_100_000).encode(),
        "players.csv has a cell of more than 1,000,000 characters in the record that begins on line 2; "
        "nothing of it was "
        "loaded: mend that record (a quote mark within a quoted cell is written twice) and load the file again.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_file_that_cannot_be_read_is_refused_with_one_sentence(store: Store, club: Path, case: str) -> None:
    store.load(club, now=NOW)
    content, sentence = REFUSED[case]
    report = store.load(write_file(club, "players", content), now=NOW)
    assert report.refused == (sentence,)
    assert not report.is_usable
    assert _clean(store, "select count(*) from facts.players") == [(2,)]
    assert store.loads().refused.iloc[-1] == sentence


def test_a_refused_file_does_not_keep_the_others_out(store: Store, club: Path) -> None:
    write_file(club, "matches", b"\0")
    report = store.load(club, now=NOW)
    assert report.is_usable and len(report.refused) == 1 and report.total("new") == 10


def test_fifty_megabytes_without_a_line_end_are_refused(store: Store, tmp_path: Path) -> None:
    path = write_file(tmp_path, "matches", b"x7,;" * 13_000_000)
    (sentence,) = store.load(path, now=NOW).refused
    assert (
        sentence
        == "matches.csv has no line end in its first 64 KB, so its first line is no header; nothing was loaded."
    )


def test_garbage_under_a_good_header_is_rejected_line_by_line(store: Store, club: Path) -> None:
    header = FILES["matches"].splitlines()[0]
    write_file(club, "matches", header + "\n" + "x7;;q\n" * 20_000)
    report = store.load(club, now=NOW)
    matches = report.files[-1]
    assert (matches.read, matches.new, matches.rejected) == (20_000, 0, 20_000)
    assert len(store.rejects()) == 20_000


def test_a_header_without_rows_is_no_mistake(store: Store, club: Path) -> None:
    report = store.load(write_file(club, "orders", "order_id,string_id,ordered_on,metres,price\n"), now=NOW)
    assert report.notes == ("orders.csv: it has a header line and no rows.",)
    assert report.is_usable


def test_lines_of_another_shape_are_rejected_and_the_rest_loads(store: Store, club: Path) -> None:
    write_file(club, "players", PLAYERS + "P3,Cy\nP4,Di,U16,club,flat,5,6\nP5,Ed Sample,U16,club,flat\n")
    report = store.load(club, now=NOW)
    players = report.files[0]
    assert (players.read, players.new, players.rejected) == (5, 3, 2)
    assert list(store.rejects()[["line", "value", "message"]].itertuples(index=False, name=None)) == [
        (4, '["P3", "Cy"]',
         "this line has 2 fields where the header line has 5: look for a separator too many or too few, "
         "or text with a separator that needs quote marks."),
        (5, '["P4", "Di", "U16", "club", "flat", "5", "6"]',
         "this line has 7 fields where the header line has 5: look for a "
         "separator too many or too few, or text with a separator that needs quote marks."),
    ]  # fmt: skip


def test_nothing_to_load_is_said(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="does not exist: give the folder that holds the club's CSV files"):
        store.load(tmp_path / "nowhere", now=NOW)
    (tmp_path / "empty").mkdir()
    with pytest.raises(StoreError, match=r"holds no file of the contract: it needs CSV files named players\.csv"):
        store.load(tmp_path / "empty", now=NOW)
    assert not store.exists


def test_a_file_of_another_name_is_refused_by_name(store: Store, tmp_path: Path) -> None:
    (sentence,) = store.load(write_file(tmp_path, "plyers", PLAYERS), now=NOW).refused
    assert sentence.startswith(
        "plyers.csv is not a file name of the contract and was not loaded: name it one of players.csv,"
    )
