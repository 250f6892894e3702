"""Backup, restore and check: what goes out comes back whole, and what is damaged or doctored is found and said."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import textwrap
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.store import Store, StoreBusyError, StoreError
from pipeline.store.backup import backup, restore, verify_backup
from pipeline.store.checkup import check_facts
from pipeline.store.people import NotAllowedError, Person
from pipeline.wear.decision import Decision, decide_trade, decided
from tests.small_club import FILES, NOW, write_club, write_file
from tests.store.kills import facts_of
from tests.store.writers import run as run_writers

ROOT = Path(__file__).parents[2]
MATCH = {"match_id": "M9", "player_id": "P1", "racket_id": "R1", "played_on": "2026-05-01", "format": "singles"}


@pytest.fixture(scope="module")
def eventful(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with a reject, a correction, a strike, an entry and an entry undone; made once, copied for each test."""
    folder = tmp_path_factory.mktemp("eventful")
    store, club = Store(folder / "store"), write_club(folder / "club")
    write_file(club, "matches", FILES["matches"] + "M4,PX,R1,2026-04-01,singles,60,\n")
    store.load(club, now=NOW)
    write_file(club, "matches", FILES["matches"].replace(",90,", ",95,"))
    store.load(club, now=NOW + timedelta(days=1))
    store.strike("matches", ["M1", "P1", "R1"], now=NOW)
    undone = store.enter({"matches": [{**MATCH, "minutes": 60}]}, now=NOW)
    store.undo(undone.entry_id or 0, now=NOW)
    store.enter({"matches": [{**MATCH, "minutes": 61}]}, now=NOW)
    return store.folder


@pytest.fixture
def filled(eventful: Path, store: Store) -> Store:
    shutil.copytree(eventful, store.folder)
    return store


def test_a_backup_restored_is_the_same_store(filled: Store, tmp_path: Path) -> None:
    (filled.folder / "club.toml").write_text('name = "Court Club"\n')
    done = backup(filled, tmp_path / "club.zip", now=NOW)
    assert done.counts["matches"] == 2 and verify_backup(tmp_path / "club.zip").counts == done.counts
    restore(tmp_path / "club.zip", tmp_path / "other")
    other = Store(tmp_path / "other")
    assert facts_of(other.folder) == facts_of(filled.folder) and other.settings.name == "Court Club"
    assert other.entries().equals(filled.entries()) and len(other.history("matches")) == 3
    assert check_facts(other).findings == ()


def test_a_backup_takes_along_what_was_decided_but_nobody_s_way_in(filled: Store, tmp_path: Path) -> None:
    """Trade values by hand and who may log in come back; passcodes, sign-ins and the log-in's secret stay at home."""
    (filled.folder / "club.toml").write_text('[roles]\n"kim@example.org" = "stringer"\n')
    decide_trade(filled.folder, date(2026, 5, 1), Person("Mo", "manager"))
    for name in ("door.json", "secrets.toml"):
        (filled.folder / name).write_text("{}")
    backup(filled, tmp_path / "club.zip", now=NOW)
    with zipfile.ZipFile(tmp_path / "club.zip") as packed:
        assert set(packed.namelist()) == {"manifest.json", "facts.duckdb", "club.toml", "learned.json"}
    restore(tmp_path / "club.zip", tmp_path / "other")
    assert decided(tmp_path / "other") == decided(filled.folder) == Decision(date(2026, 5, 1), "Mo")
    assert Store(tmp_path / "other").settings.roles == filled.settings.roles != {}


def test_a_restore_leaves_a_decision_that_is_there(filled: Store, tmp_path: Path) -> None:
    backup(filled, tmp_path / "club.zip", now=NOW)
    (tmp_path / "other").mkdir()
    decide_trade(tmp_path / "other", date(2026, 5, 1))
    with pytest.raises(StoreError, match="holds a store already, and it stays"):
        restore(tmp_path / "club.zip", tmp_path / "other")


def test_a_backup_takes_in_what_a_killed_process_had_committed(filled: Store, tmp_path: Path) -> None:
    """The write-ahead log is read and moved into the file first."""
    writer = "import duckdb, os, sys, signal; con = duckdb.connect(sys.argv[1]); "
    writer += "con.execute(\"update store_info set value = 'seen' where key = 'written_by'\"); "
    writer += "os.kill(os.getpid(), signal.SIGKILL)"
    subprocess.run([sys.executable, "-c", writer, str(filled.facts_path)], check=False)
    assert list(filled.folder.glob("*.wal"))
    backup(filled, tmp_path / "club.zip", now=NOW)
    assert not list(filled.folder.glob("*.wal"))
    restore(tmp_path / "club.zip", tmp_path / "other")
    assert facts_of(tmp_path / "other") == facts_of(filled.folder)


def test_a_backup_leaves_what_is_there_and_says_where_it_cannot_write(filled: Store, tmp_path: Path) -> None:
    target = tmp_path / "club.zip"
    target.write_text("mine")
    with pytest.raises(StoreError, match="is there already: choose another name, or add --replace"):
        backup(filled, target)
    assert target.read_text() == "mine"
    with pytest.raises(StoreError, match=r"could not be written .* so there is no backup"):
        backup(filled, target / "below.zip")
    with pytest.raises(StoreError, match="holds no store yet"):
        backup(Store(tmp_path / "empty"), tmp_path / "b.zip")
    with pytest.raises(NotAllowedError):
        backup(filled, tmp_path / "b.zip", by=Person("Ann", "coach"))
    with pytest.raises(NotAllowedError):
        restore(target, tmp_path / "other", by=Person("Mo", "manager"))


def _rewrite(archive: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    with zipfile.ZipFile(archive) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    change(files)
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)


def _newer(files: dict[str, bytes]) -> None:
    files["manifest.json"] = json.dumps(json.loads(files["manifest.json"]) | {"format": 99}).encode()


def _other_counts(files: dict[str, bytes]) -> None:
    manifest = json.loads(files["manifest.json"])
    manifest["counts"]["matches"] += 1
    files["manifest.json"] = json.dumps(manifest).encode()


DOCTORED: dict[str, tuple[Callable[[dict[str, bytes]], object], str]] = {
    "a path out of the folder": (lambda f: f.update({"../evil.txt": b"x"}), "is not a backup of racket-fleet"),
    "an absolute path": (lambda f: f.update({"/tmp/evil.txt": b"x"}), "is not a backup of racket-fleet"),
    "no facts": (lambda f: f.pop("facts.duckdb"), "is not a backup of racket-fleet"),
    "no manifest": (lambda f: f.pop("manifest.json"), "is not a backup of racket-fleet"),
    "a damaged manifest": (lambda f: f.update({"manifest.json": b"{"}), "has a damaged manifest"),
    "a manifest that is a list": (lambda f: f.update({"manifest.json": b"[]"}), "has a damaged manifest"),
    "a newer program's": (_newer, "was made by a newer program"),
    "other facts": (lambda f: f.update({"facts.duckdb": f["facts.duckdb"] + b"0"}), "is damaged: facts.duckdb in it"),
    "other counts": (_other_counts, "holds other counts of rows than its manifest tells"),
    "no settings": (lambda f: f.pop("club.toml"), "names other files than it holds"),
}


@pytest.mark.parametrize("case", DOCTORED)
def test_a_doctored_archive_is_refused_and_leaves_nothing(filled: Store, tmp_path: Path, case: str) -> None:
    backup(filled, tmp_path / "club.zip", now=NOW)
    change, said = DOCTORED[case]
    _rewrite(tmp_path / "club.zip", change)  # type: ignore[arg-type]
    with pytest.raises(StoreError) as error:
        restore(tmp_path / "club.zip", tmp_path / "other")
    assert said in str(error.value) and "nothing was restored" in str(error.value)
    assert [path.name for path in (tmp_path / "other").iterdir() if path.suffix != ".lock"] == []
    assert not (tmp_path / "evil.txt").exists()


def test_an_archive_cut_short_or_altered_by_a_byte_is_refused(filled: Store, tmp_path: Path) -> None:
    backup(filled, tmp_path / "club.zip", now=NOW)
    whole = (tmp_path / "club.zip").read_bytes()
    altered = bytearray(whole)
    altered[len(whole) // 2] ^= 255
    for place, data in enumerate((b"", b"no zip", whole[:-200], whole[: len(whole) // 2], bytes(altered))):
        (tmp_path / "bad.zip").write_bytes(data)
        with pytest.raises(StoreError, match="nothing was restored"):
            restore(tmp_path / "bad.zip", tmp_path / f"other{place}")
        assert not Store(tmp_path / f"other{place}").exists


def test_an_archive_with_a_few_bytes_changed_is_whole_or_refused(filled: Store, tmp_path: Path) -> None:
    """The table at its end above all, which says where and how its files are packed; packed in other ways, too."""
    backup(filled, tmp_path / "club.zip", now=NOW)
    packed_as_usual = (tmp_path / "club.zip").read_bytes()
    with (
        zipfile.ZipFile(tmp_path / "club.zip") as packed,
        zipfile.ZipFile(tmp_path / "other.zip", "w", zipfile.ZIP_LZMA) as other,
    ):
        for name in packed.namelist():
            other.writestr(name, packed.read(name)[:20_000])
    rng, refused = random.Random(5), 0
    for whole in (packed_as_usual, (tmp_path / "other.zip").read_bytes()):
        for _ in range(150):
            changed = bytearray(whole)
            for _ in range(rng.choice((1, 2, 5))):
                place = rng.choice(
                    (rng.randrange(len(whole)), rng.randrange(1000), len(whole) - 1 - rng.randrange(400))
                )
                changed[place] = rng.randrange(256)
            (tmp_path / "bad.zip").write_bytes(changed)
            try:
                verify_backup(tmp_path / "bad.zip")
            except StoreError as error:
                refused += 1
                assert "bad.zip" in str(error)
    assert refused > 200


def test_a_store_is_never_restored_over(filled: Store, tmp_path: Path) -> None:
    backup(filled, tmp_path / "club.zip", now=NOW)
    with pytest.raises(StoreError, match="holds a store already, and it stays"):
        restore(tmp_path / "club.zip", filled.folder)


TAMPERED = {
    "a row lost": ("delete from matches where match_id = 'M2'", "wrote 2 rows, and 1 are there"),
    "a former row lost": (
        "delete from history.matches where replaced_how = 'corrected'",
        "wrote 2 rows, and 1 are there",
    ),
    "a key twice": ("insert into players from players limit 1", "players.csv has 1 keys twice (P"),
    "an id in no file": (
        "update matches set racket_id = 'R99' where match_id = 'M2'",
        "matches.csv names 1 values of racket_id",
    ),
    "a load off the books": ("delete from loads where resource = 'strings'", "rows of strings.csv lead to no load"),
    "counts that do not add up": (
        "update loads set read = read + 1 where load_id = 2",
        "rows but accounts for",
    ),
    "an act off the books": (
        "delete from acts where kind = 'undo'",
        "1 rows of matches.csv lead to no load and no act",
    ),
}


@pytest.mark.parametrize("case", TAMPERED)
def test_check_finds_what_was_tampered_with(filled: Store, case: str) -> None:
    assert check_facts(filled).findings == ()
    statement, said = TAMPERED[case]
    with duckdb.connect(str(filled.facts_path)) as con:
        con.execute(statement)
    findings = check_facts(filled).findings
    assert any(said in finding for finding in findings) if said else findings == ()


def test_check_finds_a_damaged_block(filled: Store) -> None:
    with filled.facts_path.open("r+b") as file:
        file.seek(0, os.SEEK_END)
        size = file.tell()
        for place in range(12_288, size, 4096):
            file.seek(place + 100)
            file.write(b"\xff" * 64)
    try:
        findings = check_facts(filled).findings
    except StoreError as error:
        findings = (str(error),)
    assert findings and "facts" in " ".join(findings) + " facts" * ("cannot be read" in " ".join(findings))


def test_the_commands_back_up_check_and_restore(filled: Store, tmp_path: Path) -> None:
    from pipeline.refresh import refresh

    refresh(filled, now=NOW)
    run = CliRunner()
    made = run.invoke(app, ["backup", str(tmp_path / "club.zip"), "--store", str(filled.folder)])
    assert made.exit_code == 0 and "rows and their history" in made.output and made.output.rstrip().endswith("checked.")
    well = run.invoke(app, ["check", "--store", str(filled.folder)])
    assert well.exit_code == 0, well.output
    assert "nothing wrong" in well.output and "View: equal to one worked out anew." in well.output
    back = run.invoke(app, ["restore", str(tmp_path / "club.zip"), str(tmp_path / "other")])
    assert back.exit_code == 0 and Store(tmp_path / "other").view_version is not None
    filled.enter({"matches": [{**MATCH, "minutes": 70}]}, now=NOW)
    behind = run.invoke(app, ["check", "--store", str(filled.folder)])
    assert (
        behind.exit_code == 1
        and "the view does not hold the newest records: run `racket-fleet refresh`" in behind.output
    )
    refresh(filled, now=NOW)
    filled.view().close()
    path = filled.folder / f"view-{int(filled.view_version or 0):06d}.duckdb"
    copy = Store(tmp_path / "copy")
    shutil.copytree(filled.folder, copy.folder)  # a store that was copied is a store
    with duckdb.connect(str(copy.folder / path.name)) as con:
        con.execute("update ranking set p_end = p_end / 2")
    wrong = run.invoke(app, ["check", "--store", str(copy.folder)])
    assert wrong.exit_code == 1 and "table ranking of the view has other values of p_end" in wrong.output
    older = Store(tmp_path / "older")
    shutil.copytree(filled.folder, older.folder)
    with duckdb.connect(str(older.folder / path.name)) as con:
        con.execute("drop table meta")
    told = run.invoke(app, ["check", "--store", str(older.folder)])
    assert told.exit_code == 1 and "published by another version of the program: run `racket-fleet" in told.output


def test_a_clock_set_back_keeps_the_order_of_what_was_done(filled: Store, club: Path) -> None:
    back = NOW - timedelta(days=300)
    for minutes, now in ((62, NOW), (63, back), (64, NOW - timedelta(days=10))):
        filled.enter({"matches": [{**MATCH, "minutes": minutes}]}, now=now, load_day=NOW.date())
    assert filled.records("matches").set_index("match_id")["minutes"]["M9"] == 64
    last = int(filled.entries().entry_id[0])
    filled.undo(last, now=back)
    assert filled.records("matches").set_index("match_id")["minutes"]["M9"] == 63
    filled.strike("matches", ["M9", "P1", "R1"], now=NOW + timedelta(days=5))
    filled.enter({"matches": [{**MATCH, "minutes": 63}]}, now=back, load_day=NOW.date())
    filled.undo(int(filled.entries().entry_id[0]), now=back)  # undone after the strike, though the clock says before
    header = FILES["matches"].splitlines()[0]
    path = write_file(club.parent / "again", "matches", f"{header}\nM9,P1,R1,2026-05-01,singles,63,\n")
    assert filled.load(path, now=back, load_day=NOW.date()).total("new") == 1
    assert check_facts(filled).findings == ()


def test_entries_of_several_writers_at_once_are_all_there_once(tmp_path: Path) -> None:
    assert run_writers(tmp_path, writers=3, entries=9) == (9, 9, 9, [])


def test_an_entry_while_another_writes_waits_or_says_who(filled: Store) -> None:
    import threading

    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with filled.writing():
            held.set()
            done.wait(30)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(30)
    with pytest.raises(StoreBusyError, match=r"is in use by .*: wait until it has finished, then try again"):
        Store(filled.folder, wait_seconds=0.1).enter({"matches": [{**MATCH, "minutes": 70}]}, now=NOW)
    done.set()
    thread.join()


# the system refuses to let any file grow beyond a size, as a full disk would
FULL = textwrap.dedent("""
    import resource, signal, sys
    from pathlib import Path
    from pipeline.store import Store, StoreError
    from pipeline.store.backup import backup
    from tests.small_club import NOW
    store, what, limit = Store(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    rows = [{"inspection_id": f"I{n}", "inspected_on": "2026-05-01", "racket_id": "R1", "notching": 1,
             "note": f"{n} " + "".join(chr(97 + (n * k) % 26) for k in range(200))} for n in range(4000)]
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    try:
        if what == "enter":
            store.enter({"inspections": rows}, now=NOW)
        elif what == "publish":
            store.publish(lambda con: con.execute("create table t as select range as n, md5(range::varchar) as m "
                                                  "from range(200000)"), now=NOW)
        elif what == "export":
            store.export(Path(sys.argv[1]).parent / "out")
        else:
            backup(store, Path(sys.argv[1]).parent / "club.zip", now=NOW)
    except StoreError as error:
        print("SAID", error)
    else:
        print("DONE")
""")


@pytest.mark.skipif(os.name == "nt", reason="needs a limit on the size of files")
@pytest.mark.parametrize(
    ("what", "limit", "said"),
    [
        ("enter", 300_000, "so nothing of this was kept: make room"),
        ("publish", 1_000_000, "so the view stays as it was"),
        ("backup", 10_000, "so there is no backup"),
        ("export", 100, "cannot be written to"),
    ],
)
def test_a_full_disk_loses_nothing_and_is_said(filled: Store, tmp_path: Path, what: str, limit: int, said: str) -> None:
    filled.publish(lambda con: con.execute("create table t as select 1 as n"), now=NOW)
    before = facts_of(filled.folder)
    command = [sys.executable, "-c", FULL, str(filled.folder), what, str(limit)]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.stdout.startswith("SAID") and said in ended.stdout, ended.stdout + ended.stderr[-2000:]
    assert facts_of(filled.folder) == before and check_facts(filled).findings == ()
    with filled.view() as view:
        assert view.execute("select n from t").fetchall() == [(1,)]
    assert not (tmp_path / "club.zip").exists() and not list((tmp_path / "out").glob("*.csv"))
    assert filled.enter({"matches": [{**MATCH, "minutes": 70}]}, now=NOW).total("corrected") == 1


@pytest.mark.skipif(os.name == "nt", reason="needs a limit on the size of files")
def test_an_entry_that_was_committed_counts_even_where_tidying_up_after_it_finds_no_room(filled: Store) -> None:
    """The limit lets the write-ahead log grow and the main file not: whatever is said must be so."""
    limit = filled.facts_path.stat().st_size
    command = [sys.executable, "-c", FULL, str(filled.folder), "enter", str(limit)]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.stdout.startswith(("SAID", "DONE")), ended.stdout + ended.stderr[-2000:]
    assert len(filled.records("inspections")) == (4000 if ended.stdout.startswith("DONE") else 0)
    assert check_facts(filled).findings == ()


def test_a_reject_that_a_later_file_let_in_is_no_fault_of_the_store(store: Store, club: Path, tmp_path: Path) -> None:
    store.load(club, now=NOW)
    look, racket = tmp_path / "inspections.csv", tmp_path / "rackets.csv"
    look.write_text("inspection_id,inspected_on,racket_id,notching\nIZ,2026-05-01,RZ,1\n")
    racket.write_text("racket_id,player_id,frame,mains,crosses,role,in_service_on\nRZ,,Frame,16,19,match,2026-01-01\n")
    assert store.load(look, now=NOW).total("rejected") == 1
    assert store.load(racket, now=NOW).count_mended == 1
    assert check_facts(store).findings == ()
    with duckdb.connect(str(store.facts_path)) as con:
        con.execute("update rejects set mended_how = 'by hand'")
    assert check_facts(store).findings == ("load 6 (inspections.csv) wrote 0 rows, and 1 are there.",)
