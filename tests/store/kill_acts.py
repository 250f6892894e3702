"""Everything that writes, one act each, for the processes that are killed; and which command or page does which act.

In: a store and a folder of files beside it. Out: the act done. `NAMED` are the instants at which a process dies:
an act, the module of a function, the function's name, and at which of its calls.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

from pipeline.access import log_in, passcodes
from pipeline.access.forgetting import forget
from pipeline.access.listening import note_address
from pipeline.command.demo import empty_demo
from pipeline.federation.lake import write_lake
from pipeline.fleet import plans, track_record
from pipeline.fleet.backtest import backtest  # noqa: F401  (warm in the process that the others are forked from)
from pipeline.fleet.tickets import moving
from pipeline.refresh import refresh
from pipeline.store import Store
from pipeline.store.backup import backup, restore
from pipeline.store.sheet_loading import load_sheet, propose
from pipeline.store.sheets import read_sheets
from pipeline.wear.decision import decide_nothing, decide_trade
from tests.small_club import NOW

Act = Callable[[Store, Path], object]

LATER = NOW + timedelta(days=1)
MATCH = {"match_id": "M9", "player_id": "P1", "racket_id": "R1", "played_on": "2026-05-01", "format": "singles"}
SHEET = b"Date;Racket;String;Tension kg;Why\n14.05.2026;R1;S1;23;broke\n15.05.2026;R2;S2;24;broke\n"
ADDRESS, PROVIDER = "https://rackets.example.org", "https://sign-in.example.org"


def _entry(store: Store, side: Path) -> object:
    job = {"job_id": "T1", "racket_id": "R1", "handed_in_on": "2026-05-02", "state": "due", "state_on": "2026-05-02"}
    return store.enter({"matches": [{**MATCH, "match_id": "M10", "minutes": 50}], "jobs": [job]}, now=LATER)


def _sheet(store: Store, side: Path) -> object:
    (sheet,) = read_sheets("log.csv", SHEET)
    return load_sheet(store, sheet, propose(store, sheet).confirmed(), now=LATER)


def _publish(store: Store, side: Path) -> object:
    return store.publish(lambda con: con.execute("create table t as select count(*) as n from facts.matches"), LATER)


def _learn(store: Store, side: Path) -> object:
    decide_nothing(store.folder)
    return refresh(store, now=LATER, is_learning_anew=True)


def _migrate(store: Store, side: Path) -> object:
    with store.facts():
        return None


ACTS: dict[str, Act] = {
    "load": lambda store, side: store.load(side / "club", now=LATER),
    "zip": lambda store, side: store.load(side / "files.zip", now=LATER),
    "entry": _entry,
    "undo": lambda store, side: store.undo(int(store.entries().entry_id[0]), now=LATER),
    "strike": lambda store, side: store.strike("matches", ["M1", "P1", "R1"], now=LATER),
    "sheet": _sheet,
    "book": lambda store, side: moving.book(store, ["R1", "R3"], now=LATER),
    "move": lambda store, side: moving.move(store, "T8", "on_bench", now=LATER),
    "strung": lambda store, side: moving.strung(store, "T8", now=LATER),
    "forget": lambda store, side: forget(store, "P1", now=LATER),
    "migrate": _migrate,
    "refresh": lambda store, side: refresh(store, now=LATER),
    "learn": _learn,
    "trade": lambda store, side: decide_trade(store.folder, date(2026, 6, 1)),
    "publish": _publish,
    "plan": lambda store, side: plans.keep(store, "what-if", "2", {"of": "after"}),
    "record": lambda store, side: track_record.keep(store, track_record.work_out(store, weeks=2, now=LATER)),
    "export": lambda store, side: store.export(side / "out", is_replacing=True),
    "lake": lambda store, side: write_lake(store, side / "lake", "club"),
    "backup": lambda store, side: backup(store, side / "club.zip", now=LATER, is_replacing=True),
    "restore": lambda store, side: restore(side / "base.zip", side / "restored"),
    "demo": lambda store, side: empty_demo(side / "demo"),
    "passcode": lambda store, side: passcodes.make_passcode(store.folder, "coach", "Kim", now=LATER),
    "revoke": lambda store, side: passcodes.revoke_passcodes(store.folder, "reader"),
    "log-in": lambda store, side: log_in.set_up(store.folder, PROVIDER, "club-1", "not-a-secret", ADDRESS),
    "address": lambda store, side: note_address(store.folder, "http://192.168.1.20:8501"),
}
SLOW = ("refresh", "learn", "record")

# which acts a command is made of; the commands that write nothing into a store, or only a file of one `write_bytes`
COMMANDS: dict[str, tuple[str, ...]] = {
    "demo": ("demo", "load", "refresh"), "load": ("load", "zip", "refresh"), "strike": ("strike", "refresh"),
    "refresh": ("refresh",), "learn": ("trade", "learn"), "calendar": ("entry", "refresh"),
    "export": ("export", "lake"), "backup": ("backup",), "restore": ("restore", "refresh"),
    "forget": ("forget", "refresh"), "passcode": ("passcode", "revoke"), "log-in": ("log-in",), "serve": ("address",),
    "bench": (), "reels": ("plan",), "what-if": ("plan",), "track-record": ("record",),
    "rank": (), "forecast": (), "match-ready": (), "rejects": (), "check": (), "check-free": (),
}  # fmt: skip
# what the pages call that writes
PAGE_WRITES: dict[str, tuple[str, ...]] = {
    "load": ("load", "zip"), "load_sheet": ("sheet",), "enter": ("entry",), "undo": ("undo",), "book": ("book",),
    "move": ("move",), "strung": ("strung",), "refresh": ("refresh",), "plan": ("plan",), "record": ("record",),
    "sign_in": ("passcode",), "sign_out": ("revoke",),
}  # fmt: skip

NAMED: tuple[tuple[str, str, str, int], ...] = (
    ("load", "store.store", "land_files", 1), ("load", "store.facts_file", "migrate", 1),
    ("load", "store.loading", "find_problems", 2), ("load", "store.loading", "merge", 1),
    ("load", "store.loading", "merge", 5), ("load", "store.loading", "_record", 1),
    ("load", "store.loading", "_record", 5), ("load", "store.rejecting", "record_rejects", 1),
    ("load", "store.lock", "_note_holder", 1), ("load", "store.loading", "_keep_raw", 3),
    ("zip", "store.store", "files_to_load", 1), ("zip", "store.loading", "merge", 2),
    ("entry", "store.entering", "load_landed", 1), ("entry", "store.loading", "merge", 1),
    ("entry", "store.loading", "merge", 2), ("entry", "store.loading", "_record", 2),
    ("entry", "store.books", "note", 1), ("entry", "store.books", "next_id", 1),
    ("undo", "store.undoing", "_take_back", 1), ("undo", "store.undoing", "_refuse_if_named", 1),
    ("undo", "store.books", "note", 1),
    ("strike", "store.striking", "_refuse_if_named", 1), ("strike", "store.books", "note", 1),
    ("sheet", "store.sheet_loading", "load_landed", 1), ("sheet", "store.loading", "merge", 1),
    ("book", "store.loading", "merge", 1), ("move", "store.books", "note", 1), ("strung", "store.loading", "merge", 2),
    ("forget", "access.forgetting", "_forget_own_words", 1), ("forget", "access.forgetting", "_draw_new_hashes", 1),
    ("forget", "access.forgetting", "_rewritten", 1), ("forget", "access.forgetting", "_remove", 2),
    ("forget", "access.forgetting", "_remove", 3),
    ("migrate", "store.migrations", "_note", 1), ("migrate", "store.migrations", "_note", 3),
    ("publish", "store.facts_file", "_log_of", 1),
    ("publish", "store.publishing", "_build", 1), ("publish", "store.publishing", "_copy_books", 1),
    ("publish", "store.publishing", "sync_file", 1), ("publish", "store.publishing", "_point_to", 1),
    ("publish", "store.publishing", "sync_file", 2), ("publish", "store.publishing", "sync_folder", 1),
    ("publish", "store.publishing", "_remove_old", 1),
    ("export", "store.exporting", "_export_file", 1), ("export", "store.exporting", "_export_file", 3),
    ("export", "store.exporting", "text_of_row", 4),
    ("lake", "federation.lake", "_write", 1), ("lake", "federation.lake", "_write", 4),
    ("backup", "store.backup", "_sum_of", 1), ("backup", "store.backup", "sync_file", 1),
    ("backup", "store.backup", "_verify", 1), ("backup", "store.backup", "sync_folder", 1),
    ("restore", "store.backup", "_unpack", 2), ("restore", "store.backup", "_try_out", 1),
    ("restore", "store.backup", "sync_file", 1), ("restore", "store.backup", "sync_folder", 1),
    ("demo", "store.facts_file", "write_default", 1), ("passcode", "access.passcodes", "_write", 1),
    ("revoke", "access.passcodes", "_take_out", 1),
    ("refresh", "refresh", "publish", 1), ("learn", "refresh", "snapshot", 1),
    ("record", "fleet.track_record", "_plain", 2),
)  # fmt: skip
