"""Processes killed at chosen and at chance instants while they write, and what is left of the store each time.

In: how many points. Out: a table, one line a command: how many were killed before and after the commit, how many
finished first, and the faults, of which there must be none: records lost, stores that do not open, wrong views, and
records that fail `check`. Run as `python -m tests.store.kills --points 500`; the first points are the named ones.

A point is either the n-th call of a named function, or the n-th call out of Python at all (every DuckDB statement, file
operation and lock), or an instant of the clock. The killed process ends by SIGKILL, as the system ends one.
"""

from __future__ import annotations

import argparse
import importlib
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb
import numpy as np

from pipeline.access import log_in
from pipeline.access.listening import base_address
from pipeline.access.passcodes import make_passcode, passcodes
from pipeline.command.demo import empty_demo
from pipeline.federation.lake import write_lake
from pipeline.fleet import plans, track_record
from pipeline.refresh import refresh
from pipeline.store import Store, StoreError, UnreadableViewError
from pipeline.store.backup import backup, verify_backup
from pipeline.store.checkup import check_facts
from pipeline.wear.decision import decided
from tests.small_club import FILES, NOW, write_club, write_file
from tests.store.kill_acts import ACTS, MATCH, NAMED, SLOW
from tests.store.main_module import plain_main
from tests.store.test_older_store import older_store

WARM = ("tests.store.kill_acts", "pipeline.fleet.publish", "pipeline.wear.estimate")


@dataclass
class Line:
    """What came of the points of one command."""

    named: int = 0
    calls: int = 0
    instants: int = 0
    before: int = 0  # killed, and the records are as before
    after: int = 0  # killed, and the records are as after
    finished: int = 0  # done before the kill came
    faults: list[str] = field(default_factory=list)


def _die_at_call(module: str, name: str, times: int) -> None:
    """Die when a function of the pipeline is called for the n-th time."""
    home = importlib.import_module(f"pipeline.{module}")
    real, left = getattr(home, name), [times]

    def deadly(*args: Any, **kwargs: Any) -> Any:
        left[0] -= 1
        if not left[0]:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)

    setattr(home, name, deadly)


def _count_calls(limit: int | None, told: Any) -> Callable[[], int]:
    """Count calls out of Python, and die at the `limit`-th."""
    seen = [0]

    def watch(frame: Any, event: str, arg: Any) -> None:
        if event == "c_call" or event == "c_return":
            seen[0] += 1
            if seen[0] == limit:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.setprofile(watch)
    return lambda: seen[0]


def _child(act: str, folder: str, side: str, how: tuple[Any, ...], told: Any) -> None:
    """One act in a process of its own, which tells when it begins and when it is done."""
    if how[0] == "named":
        _die_at_call(*how[1:])
    count = _count_calls(how[1], told) if how[0] == "calls" else (lambda: 0)
    store = Store(folder)
    told.send("begun")
    ACTS[act](store, Path(side))
    sys.setprofile(None)
    told.send(count())


def fingerprint(
    con: Any, catalog: str, left_out: tuple[str, ...] = (), is_drawn: bool = False
) -> tuple[tuple[str, int, int], ...]:
    """Every table of a database as its count of rows and a sum over their contents.

    left_out: keys of meta. is_drawn: leave out what forgetting draws by lot, numbers of former players and hashes.
    """
    tables = con.execute(
        "select t.schema_name, t.table_name, list(c.column_name) from duckdb_tables() as t join duckdb_columns() as c "
        "using (database_name, schema_name, table_name) where database_name = $c group by all order by all",
        {"c": catalog},
    ).fetchall()
    sums = []
    for schema, table, columns in tables:
        where = f"where key not in {left_out}" if table == "meta" and left_out else ""
        excluded = [name for name in ("path",) if table == "loads"]  # where the files lay differs by run
        excluded += [name for name in ("row_hash",) if is_drawn and name in columns]
        kept = f"* exclude ({', '.join(excluded)})" if excluded else "*"
        whole = f'(select {kept} from "{catalog}"."{schema}"."{table}" {where})'
        row = "regexp_replace(t::varchar, 'former-[0-9a-f]+', 'former', 'g')" if is_drawn else "t"
        query = f"select count(*), coalesce(bit_xor(hash({row})), 0) from {whole} as t"
        ((count, total),) = con.execute(query).fetchall()
        sums.append((f"{schema}.{table}", int(count), int(total)))
    return tuple(sums)


def facts_of(folder: Path, act: str = "") -> tuple[tuple[str, int, int], ...]:
    """The facts' contents; for the act of bringing an older store up to date as they are, without doing that."""
    if act == "migrate":
        with duckdb.connect(str(folder / "facts.duckdb")) as con:
            return fingerprint(con, "facts")
    with Store(folder).facts() as con:
        return fingerprint(con, "facts", is_drawn=act == "forget")


def view_of(folder: Path) -> tuple[tuple[str, int, int], ...] | None:
    """The published view's contents; None where there is none that can be read."""
    store = Store(folder)
    if store.view_version is None:
        return None
    try:
        view = store.view()
    except UnreadableViewError:
        return None
    try:
        (catalog,) = view.execute("select current_catalog()").fetchall()[0]
        return fingerprint(view, catalog, ("view_version", "view_version"))
    finally:
        view.close()


def papers_of(folder: Path) -> dict[str, Any]:
    """What lies beside the facts and the view, as the program reads it."""
    record = track_record.kept(folder)
    return {
        "settings": Store(folder).settings,
        "passcodes": [(code.role, code.name) for code in passcodes(folder)],
        "log-in": log_in.address_of(folder) if log_in.has_log_in(folder) else None,
        "decision": decided(folder),
        "address": base_address(folder),
        "plan": plans.kept(Store(folder), "what-if", "1") or plans.kept(Store(folder), "what-if", "2"),
        "record": None if record is None else (record.worked_out_at, len(record.backtest.rackets)),
    }


def _files(side: Path) -> dict[str, bytes]:
    """What was exported, as CSV or as Parquet."""
    paths = [*(side / "out").glob("*.csv"), *(side / "lake").rglob("part-*.parquet")]
    return {str(path.relative_to(side)): path.read_bytes() for path in paths}


@dataclass
class Stage:
    """Where an act is done: the store before, the files beside it, and what both look like before and after."""

    store: Path
    side: Path
    facts: tuple[Any, Any] = ((), ())
    views: tuple[Any, Any] = ((), ())
    papers: tuple[Any, Any] = ({}, {})
    files: tuple[dict[str, bytes], dict[str, bytes]] = ({}, {})
    count_calls: int = 0
    seconds: float = 0.0


class Harness:
    """Makes the stages once, then kills on them."""

    def __init__(self, scratch: Path, acts: tuple[str, ...], go_on_every: int = 1) -> None:
        self.go_on_every = go_on_every
        self.count = 0
        self.seconds = 0.0  # from the beginning to the end of the last act that ended
        self.scratch = scratch
        self.context = multiprocessing.get_context("forkserver")
        self.context.set_forkserver_preload(list(WARM))
        base, side = scratch / "base", scratch / "side"
        self._make(base, side, with_view=any(act in SLOW for act in acts))
        self.stages = {act: self._stage(act, base, side) for act in acts}

    def _make(self, base: Path, side: Path, with_view: bool) -> None:
        """The store that every act begins with, and the files beside it: some behind, some to be loaded."""
        store = Store(base)
        store.load(write_club(side / "club"), now=NOW)
        store.enter({"matches": [{**MATCH, "minutes": 61}]}, now=NOW)
        if with_view:
            refresh(store, now=NOW)
            track_record.keep(store, track_record.work_out(store, weeks=2, now=NOW))
        else:
            store.publish(lambda con: con.execute("create table t as select 2 as n"), now=NOW)
        plans.keep(store, "what-if", "1", {"of": "before"})
        make_passcode(base, "reader", "Lou", now=NOW)
        backup(store, side / "base.zip", now=NOW)
        backup(store, side / "club.zip", now=NOW)
        store.export(side / "out")
        write_lake(store, side / "lake", "club")
        empty_demo(side / "demo")
        ticket = {"job_id": "T8", "racket_id": "R2", "handed_in_on": "2026-05-20", "reason": "broke"}
        store.enter({"jobs": [{**ticket, "state": "booked", "state_on": "2026-05-20"}]}, now=NOW)
        store.enter({"matches": [{**MATCH, "minutes": 62}]}, now=NOW)  # a view and files that are behind
        more = "M3,P1,R1,2026-04-01,singles,60,\nM4,P1,R1,2026-04-02,singles,long,\n"
        write_file(side / "club", "matches", FILES["matches"].replace(",90,", ",95,") + more)
        with zipfile.ZipFile(side / "files.zip", "w") as packed:
            for path in sorted((side / "club").glob("*.csv")):
                packed.write(path, path.name)

    def _stage(self, act: str, base: Path, side: Path) -> Stage:
        stage = Stage(self.scratch / f"{act}-before", side)
        if act == "migrate":
            older_store(stage.store)
        else:
            shutil.copytree(base, stage.store)
        if act == "learn":
            (stage.store / "view.current").unlink()
        before = self._state(act, stage.store, side)
        folder, beside = self._copy(stage)
        told = self._run(act, folder, beside, ("calls", None))
        assert told[-1] != "begun", f"{act} failed without being killed"
        stage.count_calls = int(told[-1])
        after = self._state(act, folder, beside)
        again = self._run(act, *self._copy(stage), ("timed",))
        assert again[-1] != "begun", f"{act} failed without being killed"
        stage.seconds = self.seconds
        stage.facts, stage.views, stage.papers, stage.files = zip(before, after, strict=True)  # type: ignore[assignment]
        return stage

    @staticmethod
    def _state(act: str, folder: Path, side: Path) -> tuple[Any, Any, dict[str, Any], dict[str, bytes]]:
        return facts_of(folder, act), view_of(folder), papers_of(folder), _files(side)

    def _copy(self, stage: Stage) -> tuple[Path, Path]:
        place = Path(tempfile.mkdtemp(dir=self.scratch))
        shutil.copytree(stage.store, place / "store")
        shutil.copytree(stage.side, place / "side")
        return place / "store", place / "side"

    def _run(self, act: str, folder: Path, side: Path, how: tuple[Any, ...]) -> list[Any]:
        """Run an act, killed as told; what its process told before it ended."""
        ours, theirs = self.context.Pipe(duplex=False)
        process = self.context.Process(target=_child, args=(act, str(folder), str(side), how, theirs))
        with plain_main():
            process.start()
        theirs.close()
        told: list[Any] = []
        try:
            if ours.poll(120):
                told.append(ours.recv())
            begun = time.monotonic()
            if how[0] == "instant" and not ours.poll(how[1]):
                process.kill()
            if ours.poll(120):
                told.append(ours.recv())
            self.seconds = time.monotonic() - begun
        except EOFError:
            pass
        process.join(120)
        return told

    def kill(self, act: str, how: tuple[Any, ...], line: Line) -> None:
        """One point: run, kill, look at what is left, and go on with it."""
        stage = self.stages[act]
        folder, side = self._copy(stage)
        try:
            told = self._run(act, folder, side, how)
            is_done = bool(told) and told[-1] != "begun"
            line.finished += is_done
            try:
                self._look(act, stage, folder, side, is_done, line)
            except (StoreError, OSError) as error:
                line.faults.append(f"{act} {how}: does not open: {error}")
        finally:
            shutil.rmtree(folder.parent, ignore_errors=True)

    def _look(self, act: str, stage: Stage, folder: Path, side: Path, is_done: bool, line: Line) -> None:
        def fault(kind: str) -> None:
            line.faults.append(f"{act}: {kind}")

        facts, view, papers, files = self._state(act, folder, side)
        if facts not in stage.facts or (is_done and facts != stage.facts[1]):
            fault("records lost")
        if view not in stage.views or (is_done and view != stage.views[1]):
            fault("wrong view")
        for name, paper in papers.items():
            held = (stage.papers[0][name], stage.papers[1][name])
            if paper not in held or (is_done and paper != held[1]):
                fault(f"{name} lost")
        for name, data in files.items():
            if data not in (stage.files[0].get(name), stage.files[1].get(name)):
                fault(f"half a file {name}")
        if act == "restore":
            self._look_at_restored(stage, side, is_done, line)
        if not is_done:
            first, last = zip(stage.facts, stage.views, stage.papers, stage.files, strict=True)
            now = (facts, view, papers, files)
            is_after = any(held == after != before for held, before, after in zip(now, first, last, strict=True))
            line.after += is_after
            line.before += not is_after
        self.count += 1
        if self.count % self.go_on_every:
            return
        if check_facts(Store(folder)).findings:
            fault("records fail check")
        verify_backup(side / "club.zip")
        if facts == stage.facts[0] and act not in SLOW:  # and it goes on as if nothing had been
            ACTS[act](Store(folder), side) if act != "restore" or not is_done else None
            if facts_of(folder, act) != stage.facts[1]:
                fault("does not go on")

    def _look_at_restored(self, stage: Stage, side: Path, is_done: bool, line: Line) -> None:
        restored = side / "restored"
        if Store(restored).exists:
            if check_facts(Store(restored)).findings:
                line.faults.append("restore: the restored records fail check")
            shutil.rmtree(restored)
        elif is_done:
            line.faults.append("restore: done, and no store is there")
        elif (restored / "club.toml").exists():
            (restored / "club.toml").unlink()


def run(
    points: int,
    seed: int,
    acts: tuple[str, ...] = tuple(ACTS),
    say: Callable[[str], None] = lambda line: print(line, flush=True),
    go_on_every: int = 1,
) -> dict[str, Line]:
    """Kill at the named points, then half of the rest at calls and half at instants; the lines by command.

    `go_on_every`: at every so many points `check` is run as well, and the act is done again on what was left.
    """
    rng = np.random.default_rng(seed)
    lines = {act: Line() for act in acts}
    with tempfile.TemporaryDirectory() as scratch:
        harness = Harness(Path(scratch), acts, go_on_every)
        named = [point for point in NAMED if point[0] in acts][:points]
        for act, *where in named:
            lines[act].named += 1
            harness.kill(act, ("named", *where), lines[act])
        for place in range(points - len(named)):
            act = acts[place % len(acts)]
            stage = harness.stages[act]
            if place // len(acts) % 2:
                lines[act].instants += 1
                harness.kill(act, ("instant", float(rng.uniform(0, stage.seconds))), lines[act])
            else:
                lines[act].calls += 1
                harness.kill(act, ("calls", int(rng.integers(1, stage.count_calls + 1))), lines[act])
            if place % 50 == 49:
                say(f"... {len(named) + place + 1} points, {sum(len(line.faults) for line in lines.values())} faults")
    return lines


def table(lines: dict[str, Line]) -> str:
    """The lines as text, with their sum."""
    head = ["act", "named", "calls", "instants", "before", "after", "finished", "faults"]
    rows = [
        [act, line.named, line.calls, line.instants, line.before, line.after, line.finished, len(line.faults)]
        for act, line in lines.items()
    ]
    rows.append(["all", *(sum(int(row[at]) for row in rows) for at in range(1, len(head)))])
    return "\n".join("".join(f"{cell!s:>10}" for cell in row) for row in [head, *rows])


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--points", type=int, default=500)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    lines = run(asked.points, asked.seed)
    print(table(lines))
    faults = [fault for line in lines.values() for fault in line.faults]
    print("\n".join(faults) or "Nothing lost: every store opened, every record that was committed is there.")
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
