"""Forgetting a player.

No file of the store and no text of any table holds the name, and the wear history is as it was.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.access.forgetting import FRESH_NAME, WORK_NAME, forget
from pipeline.access.scrubbing import NEW_NAME, Scrubber
from pipeline.refresh import refresh
from pipeline.store import Store, StoreError
from pipeline.store.people import NotAllowedError, Person
from pipeline.store.sheet_loading import load_sheet, propose
from pipeline.store.sheets import read_sheets
from tests.small_club import FILES, NOW, write_club

ROOT = Path(__file__).parents[2]
NAME, NUMBER = "Zelmira Quarnstrøm", "P77"
WORDS = ("Zelmira", "Quarnstr")
CLUB = {
    "players": "player_id,player_name,squad,level,spin,born\n"
    f"{NUMBER},{NAME},U16,regional,heavy,{NAME} 2012-03-01\nP2,Bo Sample,U16,club,flat,\n",
    "rackets": "racket_id,player_id,frame,mains,crosses,role,in_service_on,marking\n"
    f"R1,{NUMBER},Frame A,16,19,match,2026-01-01,Zelmira's red dot\n"
    f"R2,{NUMBER},Frame A,16,19,match,2026-01-01,\nR3,,Frame B,18,20,loan,2026-01-01,\n",
    "restrings": "restring_id,racket_id,strung_on,mains_string_id,mains_kg,reason,charge_to\n"
    f"J1,R1,2026-02-01,S1,24,first,{NUMBER}\nJ2,R1,2026-03-01,S1,23.5,broke,Mr Quarnstrøm\n"
    f"J3,R2,2026-02-01,S2,25,first,{NAME}\n",
    "matches": FILES["matches"].replace("P1", NUMBER),
    "holders": f"racket_id,from_on,player_id\nR3,2026-03-01,{NUMBER}\n",
    "practices": "practice_id,player_id,squad,played_on,activity,minutes,absent\n"
    f"W1,,U16,2026-03-02,rally,60,{NUMBER} P2\nW2,{NUMBER},,2026-03-03,serve,45,\n",
    "inspections": "inspection_id,inspected_on,racket_id,notching,note\n"
    "I1,2026-03-04,R1,2,she was in tears again\nI2,2026-03-05,R3,1,dampener lost\n",
    "calendar": "planned_on,squad,player_id,activity,event,minutes\n"
    f"2026-06-10,,{NUMBER},singles,Zelmira's trial,90\n2026-06-12,U16,,singles,{NAME.upper()} Cup,90\n",
}  # fmt: skip
BAD = (
    "match_id,player_id,racket_id,played_on,format,minutes\n"
    f"B1,{NUMBER},NONE,2026-03-01,singles,60\nB2,{NAME},R1,2026-03-01,singles,60\nB3,{NUMBER},R1,2026-03-01,singles,60,7\n"
)


@pytest.fixture
def named(named_folder: Path, tmp_path: Path) -> Store:
    """A copy of that store, free to be written to."""
    return Store(shutil.copytree(named_folder, tmp_path / "named"))


@pytest.fixture(scope="module")
def named_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store in which the name has been everywhere a name can get.

    Rejects, history, entries, misshapen lines, views.
    """
    tmp_path = tmp_path_factory.mktemp("made")
    store = Store(tmp_path / "named")
    files = write_club(tmp_path / "files", CLUB)
    report = store.load(files, now=NOW)
    assert report.total("rejected") == 0, store.rejects()
    (tmp_path / "bad").mkdir()
    bad = tmp_path / "bad" / "matches.csv"
    bad.write_text(BAD, encoding="utf-8")
    store.load(bad, now=NOW)
    assert len(store.rejects()) >= 3
    store.enter({"players": [{"player_id": NUMBER, "player_name": f"{NAME} Jr", "squad": "U18"}]}, now=NOW)
    store.enter({"inspections": [{"inspection_id": "I3", "inspected_on": "2026-05-01", "racket_id": "R2",
                                  "notching": 3, "note": f"ask {NAME}"}]}, now=NOW)  # fmt: skip
    store.strike("matches", ["M1", NUMBER, "R1"], now=NOW)
    (sheet,) = read_sheets("log.csv", f"Date,Player,Racket,Minutes,Kind\n2026-03-12,{NAME},R1,60,singles\n".encode())
    as_read = propose(store, sheet, "matches").confirmed(fields={"Kind": "format"})
    assert load_sheet(store, sheet, as_read, now=NOW).total("new") == 1  # and how it was read is remembered
    refresh(store, now=NOW)
    refresh(store, now=NOW)
    return store.folder


def _texts(folder: Path) -> list[str]:
    """Every text of every table of every database of the store, whatever way it is packed in the file."""
    texts: list[str] = []
    for path in folder.glob("*.duckdb"):
        with duckdb.connect(str(path), read_only=True) as con:
            columns = con.execute(
                "select schema_name, table_name, column_name from duckdb_columns() where not internal "
                "and database_name = current_database() and (data_type like 'VARCHAR%' or data_type = 'JSON')"
            ).fetchall()
            for schema, table, column in columns:
                found = con.execute(f'select distinct "{column}"::varchar from "{schema}"."{table}"').fetchall()
                texts += [text for (text,) in found if text is not None]
    return texts


def _holding(folder: Path, *words: str) -> list[str]:
    """Files with one of the words as bytes in the usual encodings, and texts of tables with one, in any case."""
    wanted = [word.encode(code) for word in words for code in ("utf-8", "utf-16-le", "latin-1")]
    in_files = [
        path.name for path in folder.rglob("*") if path.is_file() and any(w in path.read_bytes() for w in wanted)
    ]
    return in_files + [text for text in _texts(folder) if any(word.casefold() in text.casefold() for word in words)]


def _wear(store: Store) -> list[tuple[object, ...]]:
    """What a view knows of the beds, without anybody's number."""
    with closing(store.view()) as view:
        return view.execute(
            "select racket_id, bed_id, strung_on, cause, hours_played, break_used, dead_used from beds order by bed_id"
        ).fetchall()


def test_nothing_in_the_store_holds_the_name_and_the_wear_is_as_it_was(named: Store, tmp_path: Path) -> None:
    assert _holding(named.folder, *WORDS) and NUMBER in _texts(named.folder)
    before, counts = _wear(named), named.loads()[["read", "new", "rejected"]]
    rejects = len(named.rejects())

    forgotten = forget(named, NUMBER, now=NOW)
    refresh(named, now=NOW)

    assert _holding(named.folder, *WORDS, "in tears") == []
    assert [text for text in _texts(named.folder) if NUMBER in text] == []
    assert forgotten.still_named_in == ()
    assert _wear(named) == before
    assert named.loads()[["read", "new", "rejected"]].equals(counts) and len(named.rejects()) == rejects
    players = named.records("players").set_index("player_id")
    assert players.loc[forgotten.new_id, "player_name"] == NEW_NAME
    assert players.loc["P2", "player_name"] == "Bo Sample"
    looks = named.records("inspections").set_index("inspection_id")
    assert looks.loc["I1", "notching"] == 2 and looks["note"].isna().all()
    assert set(named.records("practices")["absent"].dropna()) == {f"{forgotten.new_id} P2"}
    out = tmp_path / "out"
    named.export(out)
    assert _holding(out, *WORDS, NUMBER) == []
    again = Store(tmp_path / "again")
    assert again.load(out, now=NOW).total("rejected") == 0


def test_everything_still_works_on_it(named: Store) -> None:
    forgotten = forget(named, NUMBER, now=NOW)
    assert refresh(named, now=NOW) is not None
    last = named.entries()
    assert named.undo(int(last[last["kind"] == "entry"]["entry_id"].iloc[0]), now=NOW)
    named.enter({"players": [{"player_id": forgotten.new_id, "squad": "U14"}]}, now=NOW)
    assert named.new_id("players", "P").startswith("P")


def test_an_own_file_in_the_folder_is_named_and_left_alone(named: Store) -> None:
    (named.folder / "my notes.txt").write_text(f"call {NAME}", encoding="utf-8")
    assert forget(named, NUMBER, now=NOW).still_named_in == ("my notes.txt",)
    assert (named.folder / "my notes.txt").exists()


def test_only_who_may_forgets_and_only_somebody_who_is_there(named: Store) -> None:
    for role in ("coach", "stringer", "reader", ""):
        with pytest.raises(NotAllowedError):
            forget(named, NUMBER, by=Person("x", role), now=NOW)
    for number in ("P99", "", "  ", "Nobody"):
        with pytest.raises(StoreError, match=r"is on file: give the number as players\.csv has it"):
            forget(named, number, now=NOW)
    forget(named, NUMBER, by=Person("x", "manager"), now=NOW)
    with pytest.raises(StoreError, match="is on file"):
        forget(named, NUMBER, now=NOW)


@pytest.mark.parametrize("step", ["_draw_new_hashes", "_rewritten", "_remove"])
def test_killed_at_any_step_the_store_is_whole(named: Store, tmp_path: Path, step: str) -> None:
    """The process ends at once, without any clearing up, where the step begins; the facts are then as they were."""
    before = named.facts_path.read_bytes()
    program = (
        "import os, sys\nfrom pipeline.access import forgetting\nfrom pipeline.store import Store\n"
        f"step, calls = {step!r}, 0\nreal = forgetting._remove\n"
        "def end(*given):\n    global calls\n    calls += 1\n"
        "    if step == '_remove' and calls < 2: return real(*given)\n    os._exit(9)\n"
        "setattr(forgetting, step, end)\n"
        f"forgetting.forget(Store(sys.argv[1]), {NUMBER!r})\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(named.folder)], cwd=ROOT, capture_output=True, check=False
    )
    assert done.returncode == 9, done.stderr
    assert named.facts_path.read_bytes() == before
    forgotten = forget(named, NUMBER, now=NOW)
    refresh(named, now=NOW)
    assert _holding(named.folder, *WORDS, NUMBER) == []
    assert not (named.folder / WORK_NAME).exists() and not (named.folder / FRESH_NAME).exists()
    assert forgotten.new_id in set(named.records("players")["player_id"])


def test_the_log_holds_no_names(named: Store) -> None:
    forget(named, NUMBER, now=NOW)
    log = (named.folder / "racket-fleet.log").read_text(encoding="utf-8")
    assert log.count("\n") >= 5 and "forgot one player" in log
    assert not [word for word in (*WORDS, "Sample", "Bo ", NUMBER, "P2") if word in log]


def test_another_player_of_the_same_name_keeps_it(tmp_path: Path) -> None:
    store = Store(tmp_path / "twins")
    files = write_club(tmp_path / "files", {"players": FILES["players"].replace("Bo Sample", "Ada Sample")})
    store.load(files, now=NOW)
    forget(store, "P1", now=NOW)
    assert set(store.records("players")["player_name"]) == {NEW_NAME, "Ada Sample"}


WHO = Scrubber("P7", ("Ana María de la Cruz",), "former-1")


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Ana María de la Cruz", NEW_NAME),
        ("ask ANA  MARÍA DE LA CRUZ!", f"ask {NEW_NAME}!"),
        ("Cruz, Ana María de la", NEW_NAME),
        ("Ana Mari\u0301a de la Cruz", NEW_NAME),  # the accent as a sign of its own
        ("Joana María de la Cruzada", "Joana María de la Cruzada"),
        ("P7 P70 XP7 P7-1 P7;P8", "former-1 P70 XP7 P7-1 former-1;P8"),
        ("cross 7 nearly through", "cross 7 nearly through"),
    ],
)
def test_names_and_numbers_are_found_as_people_write_them(text: str, left: str) -> None:
    assert WHO.clean(text) == left


def test_a_number_of_digits_alone_is_told_from_a_figure() -> None:
    who = Scrubber("7", ("Ada",), "former-1")
    assert who.clean("line 7: player '7' is not in players.csv") == "line 7: player 'former-1' is not in players.csv"
    assert who.clean("7 17 8", is_list=True) == "former-1 17 8"
    assert who.clean("7", is_list=True) == "former-1" and who.clean("7") == "7"


@settings(max_examples=200, deadline=None)
@given(name=st.text(min_size=1, max_size=20), before=st.text(max_size=10), after=st.text(max_size=10))
def test_a_name_that_stands_alone_is_always_taken_out(name: str, before: str, after: str) -> None:
    if not name.strip() or name.strip().casefold() in NEW_NAME.casefold():
        return
    who = Scrubber("P7", (name.strip(),), "former-1")
    cleaned = who.clean(f"{before} {name.strip()} {after}")
    assert NEW_NAME in cleaned
    json.dumps(cleaned)
