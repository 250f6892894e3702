"""The table of who may do what: every write and every page, by every role and by nobody."""

from __future__ import annotations

import ast
import hashlib
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import door
from pipeline.access import listening, log_in
from pipeline.access.forgetting import forget
from pipeline.access.passcodes import make_passcode, revoke_passcodes, sign_in
from pipeline.contract import load_contract
from pipeline.store import Store, StoreError
from pipeline.store.backup import backup, restore
from pipeline.store.people import LOCAL, MAY, ROLES, TRUSTED, NotAllowedError, Person, may, require
from pipeline.wear.decision import decide_nothing, decide_trade
from tests.access.test_log_in import HOME, ISSUER
from tests.small_club import FILES, NOW, write_file

ROOT = Path(__file__).parents[2]
APP = ROOT / "dashboard" / "app.py"

# what each may write: c coach, s stringer, m manager, r reader; the trusted user of the machine may do all of it
TABLE = """
record:players      c - m -
record:rackets      c s m -
record:holders      c - m -
record:strings      - s m -
record:setups       c s - -
record:restrings    c s - -
record:jobs         c s m -
record:matches      c - - -
record:practices    c - - -
record:inspections  c s - -
record:calendar     c - m -
record:bench        - s m -
record:stock        - s m -
record:orders       - - m -
load                c s m -
strike              c s m -
learn               c - m -
settings            - - m -
backup              - - m -
restore             - - - -
forget              - - m -
people              - - m -
"""
ROWS = {line.split()[0]: line.split()[1:] for line in TABLE.strip().splitlines()}
NOBODY = Person("nobody", "")
PEOPLE = {role: Person(f"the {role}", role) for role in ROLES} | {"": NOBODY, "boss": Person("boss", "boss")}
EVERYBODY = [*ROLES, "", "boss"]


def expected(action: str, role: str) -> bool:
    """What the table says."""
    return role in ROLES and ROWS[action][ROLES.index(role)] == role[0]


def test_the_table_is_the_pipeline_s() -> None:
    assert set(ROWS) == set(MAY)
    assert {name for name in ROWS if name.startswith("record:")} == {f"record:{r}" for r in load_contract().resources}
    for action in ROWS:
        assert may(LOCAL, action)
        require(LOCAL, action)
        for role, person in PEOPLE.items():
            assert may(person, action) is expected(action, role), (action, role)
            if not expected(action, role):
                with pytest.raises(NotAllowedError, match="and may not"):
                    require(person, action)
    with pytest.raises(KeyError):
        may(PEOPLE["coach"], "record:everything")


def test_the_readme_tells_the_same() -> None:
    told = dict(
        re.findall(r"^\| (coach|stringer|manager|reader) \| (.*) \|$", (ROOT / "README.md").read_text(), re.MULTILINE)
    )
    assert set(told) == set(ROLES)
    for role in ROLES:
        recorded = {
            name.removeprefix("record:") for name in ROWS if name.startswith("record:") and expected(name, role)
        }
        named = set(re.findall(r"\w+", told[role])) & set(load_contract().resources)
        assert named == recorded, role


def _prints(folder: Path) -> dict[str, str]:
    """A fingerprint of every file of the store, the log and the locks apart."""
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.suffix not in (".log", ".lock")
    }


@pytest.mark.parametrize("role", EVERYBODY)
def test_direct_writes_fail_without_the_role_and_change_nothing(small: Store, tmp_path: Path, role: str) -> None:
    person, before = PEOPLE[role], _prints(small.folder)
    for resource in small.contract.resources:
        if not expected(f"record:{resource}", role):
            with pytest.raises(NotAllowedError, match=f"may not record in {resource}.csv"):
                small.enter({resource: [{}]}, by=person, now=NOW)
    if not expected("load", role):
        with pytest.raises(NotAllowedError, match="may not load"):
            small.load(write_file(tmp_path / "given", "matches", FILES["matches"]), by=person, now=NOW)
    if not expected("strike", role):
        with pytest.raises(NotAllowedError, match="may not strike"):
            small.strike("matches", ["M1", "P1", "R1"], by=person, now=NOW)
        with pytest.raises(NotAllowedError, match="may not strike"):
            small.undo(1, by=person, now=NOW)
    assert _prints(small.folder) == before


WHO_ELSE_WRITES: dict[str, list[Callable[[Store, Path, Person], object]]] = {
    "people": [
        lambda store, out, by: make_passcode(store.folder, "manager", by=by),
        lambda store, out, by: revoke_passcodes(store.folder, "reader", by=by),
        lambda store, out, by: log_in.set_up(store.folder, ISSUER, "club-1", "not-a-secret", HOME, by=by),
        lambda store, out, by: log_in.take_down(store.folder, by=by),
    ],
    "learn": [
        lambda store, out, by: decide_trade(store.folder, NOW.date(), by),
        lambda store, out, by: decide_nothing(store.folder, by),
    ],
    "forget": [lambda store, out, by: forget(store, "P1", by=by, now=NOW)],
    "backup": [lambda store, out, by: backup(store, out / "club.zip", by=by, now=NOW)],
    "restore": [lambda store, out, by: restore(out / "given.zip", out / "other", by=by)],
}


@pytest.mark.parametrize("role", EVERYBODY)
@pytest.mark.parametrize("action", WHO_ELSE_WRITES)
def test_what_is_not_a_record_is_written_by_those_who_may_alone(
    small: Store, tmp_path: Path, action: str, role: str
) -> None:
    backup(small, tmp_path / "given.zip", now=NOW)
    make_passcode(small.folder, "reader", now=NOW)
    for write in WHO_ELSE_WRITES[action]:
        before = _prints(small.folder)
        if expected(action, role):
            write(small, tmp_path, PEOPLE[role])
        else:
            with pytest.raises(NotAllowedError, match="and may not"):
                write(small, tmp_path, PEOPLE[role])
            assert _prints(small.folder) == before
            assert [path.name for path in tmp_path.iterdir() if path != small.folder] == ["given.zip"]


@pytest.mark.parametrize("role", ROLES)
def test_what_a_role_may_write_is_written_in_its_name(small: Store, role: str) -> None:
    person = PEOPLE[role]
    rows = {
        "players": {"player_id": "P9", "player_name": "Cy New", "squad": "U16", "level": "club", "spin": "flat"},
        "strings": {
            "string_id": "S9", "string_name": "New", "material": "polyester", "gauge_mm": 1.2, "profile": "round",
            "reel_m": 200, "reel_price": 80,
        },
        "inspections": {"inspection_id": "I9", "inspected_on": "2026-05-30", "racket_id": "R1", "notching": 1},
        "orders": {"order_id": "O9", "string_id": "S1", "ordered_on": "2026-05-30", "metres": 200, "price": 90},
    }  # fmt: skip
    for resource, row in rows.items():
        if expected(f"record:{resource}", role):
            small.enter({resource: [row]}, by=person, now=NOW)
            written = small.records(resource)
            assert person.name in set(written["recorded_by"]), resource


def test_a_file_or_a_strike_is_no_way_round_what_a_role_may_write(small: Store, tmp_path: Path) -> None:
    orders = "order_id,string_id,ordered_on,metres,price\nO9,S1,2026-05-30,200,90\n"
    for role in ROLES:
        path = write_file(tmp_path / role, "orders", orders)
        if expected("record:orders", role):
            assert small.load(path, by=PEOPLE[role], now=NOW).total("rejected") == 0
        else:
            with pytest.raises(NotAllowedError):
                small.load(path, by=PEOPLE[role], now=NOW)
    for role in ROLES:
        if not expected("record:restrings", role):
            with pytest.raises(NotAllowedError):
                small.strike("Restrings.csv", ["J2"], by=PEOPLE[role], now=NOW)


def test_no_write_of_the_store_goes_without_asking_who() -> None:
    """Whatever opens the facts to write asks `require` first; `changing` says that its callers must, and they do."""
    free = {"_writing_facts", "changing", "_bring_up_to_date"}  # the last changes the tables' form, no record
    checked = set()
    for path in (ROOT / "pipeline").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            source = ast.unparse(node) if isinstance(node, ast.FunctionDef) and node.name not in free else ""
            opened = re.search(r"\.(changing|_writing_facts)\(", source)
            if opened:
                checked.add(node.name)  # type: ignore[attr-defined]
                asked = source.find("require(by")
                assert 0 <= asked < opened.start(), f"{path.relative_to(ROOT)}: {node.name}"  # type: ignore[attr-defined]
    assert {"load", "enter", "strike", "undo"} <= checked


# what changes files: each function of the pipeline that does so by itself, and why it may
WRITES_BY_ITSELF = {
    "asks first": """
        access.log_in.set_up access.log_in.take_down access.forgetting.forget wear.decision.decide_trade
        wear.decision.decide_nothing store.backup.backup store.backup.restore
    """,
    "is called by what asked, or by a device for its own sign-in": """
        access.passcodes._write access.forgetting._close_cleanly access.forgetting._remove store.backup._unpack
        store.facts_file._open store.whole_files.write_whole
    """,
    "writes what is worked out from the records, or the store's own locks, marks and empty settings": """
        store.publishing._point_to store.publishing._remove_old store.publishing.publish store.publishing._build
        store.publishing._opened store.publishing.sync_file store.publishing.sync_folder store.settings.write_default
        store.lock._note_holder store.lock._holding store.lock.publishing store.facts_file.attach_copy
        store.facts_file._let_go fleet.plans.keep fleet.track_record.keep
        access.listening.note_address
    """,
    "writes where the person at the machine tells it to, beside the store": """
        federation.lake._write_file store.exporting._export_file store.exporting.export_files store.zips.unpack
        command.bench.bench command.reels.reels command.demo._empty command.demo.empty_demo command.safety._check_view
        command.failures.says_why command.failures.told
    """,
}
CHANGES_FILES = re.compile(
    r"write_whole\(|\.write_text\(|\.write_bytes\(|\.open\(['\"][wax]|(?<!webbrowser)\bos\.open\(|\.unlink\(|rmtree\(|"
    r"copyfile\(|copytree\(|mkstemp\(|duckdb\.connect\([^)]|ZipFile\([^()]*, ['\"][wa]|os\.(remove|rename|replace)\("
)


def test_every_function_that_changes_files_is_known_and_why_it_may() -> None:
    """A new one fails here until it is put where it belongs; those that ask do so before anything else is done."""
    found, asking = set(), set()
    for path in (ROOT / "pipeline").rglob("*.py"):
        module = ".".join(path.relative_to(ROOT / "pipeline").with_suffix("").parts)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and CHANGES_FILES.search(ast.unparse(node)):
                found.add(f"{module}.{node.name}")
                asking |= (
                    {f"{module}.{node.name}"} if "require(by" in str(list(map(ast.unparse, node.body[:2]))) else set()
                )
    assert found == {name for names in WRITES_BY_ITSELF.values() for name in names.split()}
    assert asking == set(WRITES_BY_ITSELF["asks first"].split())


def test_no_page_writes_in_anothers_name() -> None:
    """Every call in the dashboard that has the name of a writing method says on whose behalf."""
    writers = {"load", "enter", "strike", "undo", "book", "forget", "backup", "restore"}
    calls = [
        (f"{path.relative_to(ROOT)}:{node.lineno}", {keyword.arg for keyword in node.keywords})
        for path in (ROOT / "dashboard").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in writers
        and ast.unparse(node.func.value) not in ("json", "tomllib")
    ]
    assert calls
    assert [place for place, names in calls if "by" not in names] == []


PAGES = sorted(path.stem for path in (ROOT / "dashboard" / "screens").glob("*.py") if path.stem != "__init__")


@pytest.fixture
def at_the_door(small: Store, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The dashboard as the club's network reaches it, on the small club."""
    monkeypatch.setenv("RACKET_FLEET_STORE", str(small.folder))
    monkeypatch.setenv("RACKET_FLEET_TODAY", NOW.date().isoformat())
    monkeypatch.setattr(door, "kind", lambda: listening.PASSCODE)
    monkeypatch.setattr(door, "_whence", lambda: "192.168.1.7")
    st.cache_data.clear()
    st.cache_resource.clear()
    return AppTest.from_file(str(APP), default_timeout=60)


def _shown(app: AppTest) -> str:
    """All that a page says."""
    kinds = (app.title, app.header, app.caption, app.markdown, app.error, app.warning, app.success)
    parts = [part for kind in kinds for part in kind]
    return "\n".join(str(part.value) for part in parts)


def test_nobody_sees_any_page(at_the_door: AppTest) -> None:
    assert len(PAGES) >= 5
    for page in PAGES:
        app = at_the_door.run().switch_page(f"screens/{page}.py").run()
        assert [title.value for title in app.title] == ["Sign in"], page
        assert not app.exception and not app.dataframe and not app.download_button, page
        assert "Ada" not in _shown(app) and "R1" not in _shown(app), page


@pytest.mark.parametrize("role", ROLES)
def test_every_role_sees_every_page(at_the_door: AppTest, small: Store, role: str) -> None:
    token = sign_in(small.folder, make_passcode(small.folder, role, f"Kim {role}"), "192.168.1.7")
    app = at_the_door
    app.session_state[door._TOKEN] = token
    app.run()
    for page in PAGES:
        app.switch_page(f"screens/{page}.py").run()
        assert not app.exception, (page, app.exception)
        assert "Sign in" not in [title.value for title in app.title], page
        assert f"Signed in as Kim {role}, {role}." in _shown(app), page


def test_a_page_in_hand_writes_nothing_once_the_passcode_is_taken_back(
    at_the_door: AppTest, small: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    token = sign_in(small.folder, make_passcode(small.folder, "coach"), "192.168.1.7")
    monkeypatch.setenv("RACKET_FLEET_STORE", str(small.folder))
    monkeypatch.setattr(door, "_token", lambda: token)
    assert door.person() == Person("coach", "coach")
    make_passcode(small.folder, "coach")
    with pytest.raises(NotAllowedError, match="not signed in any more"):
        door.person()


def test_a_server_started_past_the_command_is_shut(small: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RACKET_FLEET_STORE", str(small.folder))
    settings: dict[str, object] = {"server.address": None, "global.appTest": False}
    monkeypatch.setattr(door.config, "get_option", lambda name: settings[name])
    for address in (None, "0.0.0.0", "8.8.8.8"):
        settings["server.address"] = address
        with pytest.raises(StoreError, match="set up log-in first"):
            door.kind()
    settings["server.address"] = "192.168.1.20"
    assert door.kind() == listening.PASSCODE
    settings["server.address"] = "127.0.0.1"
    assert door.kind() == listening.ALONE and door.person() == LOCAL == Person("this machine", TRUSTED)
    log_in.set_up(small.folder, "http://127.0.0.1:9400", "club-1", "not-a-secret", "http://localhost:8501")
    assert door.kind() == listening.LOG_IN  # a proxy on this machine brings the world's visitors to 127.0.0.1


def test_the_network_s_door_is_shut_to_the_world(at_the_door: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "_whence", lambda: "8.8.8.8")
    app = at_the_door.run()
    assert [title.value for title in app.title] == ["This dashboard is shut"]
    assert "for the club's own network" in app.error[0].value
