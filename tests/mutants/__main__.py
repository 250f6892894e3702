"""How many small faults in the model the tests notice: `python -m tests.mutants --count 300 --seed 1`.

In: how many faults, a seed, which part. Out: a line for each fault, the share noticed, and those that nobody noticed.
The same seed on the same code gives the same faults, every place of every file being as likely as the other. The tests
are those of `FOLDERS` that need no browser and are not slow, as many of those that run the faulty line as take
`MOST_SECONDS`, the quick ones and those of the same module first; the tests of the command run it as a program of its
own, where it cannot be seen which lines they run, so they are not tried. The score is therefore a lower bound of the
whole suite's. A fault that makes the tests run too long counts as noticed. Runs at the lowest priority.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.mutants.faults import Fault, faults_in
from tests.mutants.mapping import CHOSEN, TestMap, map_tests
from tests.mutants.running import copied, load_libraries, tests_fail
from tests.mutants.sql_faults import SQL_FAULTS, SqlFault

ROOT = Path(__file__).parents[2]
ROOMS = ("pipeline/wear", "pipeline/fleet")
FOLDERS = ["tests/wear", "tests/fleet", "tests/published", "tests/dashboard", "tests/trial"]
SQL_FOLDERS = ["tests/sql"]
MOST_SECONDS = 60.0  # of tests tried on one fault, as they take without it
TOO_LONG_SECONDS = 240  # of the processor's time
NOTICED, TOO_LONG, SURVIVED, UNSEEN = "noticed", "too long", "survived", "no test runs it"


def chosen(count: int, seed: int, under: list[str]) -> list[Fault]:
    """So many faults by lot, every fault of every file being as likely as the other."""
    files = sorted({path for part in under for path in _files(ROOT / part)})
    every = [fault for path in files for fault in faults_in(path, ROOT)]
    return random.Random(seed).sample(every, min(count, len(every)))


def _files(part: Path) -> list[Path]:
    return [part] if part.is_file() else list(part.rglob("*.py"))


def try_fault(copy: Path, fault: Fault, known: TestMap) -> str:
    """Put one fault in, run the tests that run its lines, take it out again."""
    tests = known.tests(fault.path, fault.line, fault.last_line, MOST_SECONDS)
    if not tests:
        return UNSEEN
    path = copy / fault.path
    text = path.read_text(encoding="utf-8")
    path.write_text(fault.put_into(text), encoding="utf-8")
    try:
        outcome = tests_fail(copy, tests, TOO_LONG_SECONDS)
    finally:
        path.write_text(text, encoding="utf-8")
    return {"failed": NOTICED, "too long": TOO_LONG, "passed": SURVIVED}[outcome]


def try_sql(copy: Path, fault: SqlFault, folders_of_model: list[str]) -> str:
    """The same for a fault in a relation; the tests of the relations are tried, then those of the model."""
    path = copy / "pipeline" / "sql" / fault.file
    text = path.read_text(encoding="utf-8")
    path.write_text(fault.put_into(text), encoding="utf-8")
    try:
        for folders in filter(None, (SQL_FOLDERS, folders_of_model)):
            outcome = tests_fail(copy, ["-m", CHOSEN, *folders], TOO_LONG_SECONDS)
            if outcome != "passed":
                return NOTICED if outcome == "failed" else TOO_LONG
    finally:
        path.write_text(text, encoding="utf-8")
    return SURVIVED


def report(outcomes: list[tuple[str, str]]) -> None:
    """The share noticed, and what nobody noticed."""
    counts = Counter(outcome for _, outcome in outcomes)
    noticed = counts[NOTICED] + counts[TOO_LONG]
    print(f"\n{noticed} of {len(outcomes)} noticed: {100 * noticed / max(len(outcomes), 1):.0f} %", dict(counts))
    for what, outcome in outcomes:
        if outcome in (SURVIVED, UNSEEN):
            print(f"  {outcome}: {what}")


def main() -> None:
    """The command."""
    words = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    words.add_argument("--count", type=int, default=300)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--under", nargs="*", default=list(ROOMS), help="files or folders to put faults into")
    words.add_argument("--tests", nargs="*", default=FOLDERS, help="the folders of tests to try")
    words.add_argument("--sql", action="store_true", help="the hand-made faults in the relations, too")
    words.add_argument("--map", type=Path, help="a file to keep the map of lines and tests in, for the next time")
    words.add_argument("--skip", type=int, default=0, help="leave out the first so many of them, tried before")
    words.add_argument("--minutes", type=float, default=0.0, help="stop after so long")
    asked = words.parse_args()
    os.nice(15)
    os.environ["OMP_NUM_THREADS"] = "1"
    started = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = copied(ROOT, Path(folder) / "copy")
        outcomes: list[tuple[str, str]] = []
        load_libraries()
        if asked.sql:
            for sql_fault in SQL_FAULTS:
                outcomes.append((str(sql_fault), try_sql(copy, sql_fault, asked.tests)))
                print(f"{outcomes[-1][1]}: {sql_fault}", flush=True)
            report(outcomes)
        faults = chosen(asked.count, asked.seed, asked.under)[asked.skip :]
        if not faults:
            return
        known = map_tests(copy, asked.tests, asked.map)
        print(f"{len(known.seconds)} tests mapped after {time.monotonic() - started:.0f} s", flush=True)
        if known.broken:
            print(f"left out, since they fail without any fault: {', '.join(sorted(known.broken))}", flush=True)
        tried = {test for fault in faults[:20] for test in known.tests(fault.path, fault.line, fault.last_line, 2.0)}
        if tests_fail(copy, sorted(tried), TOO_LONG_SECONDS) != "passed":
            raise SystemExit("The tests fail in the copy without any fault, so they would show nothing.")
        outcomes = []
        for fault in faults:
            if asked.minutes and time.monotonic() - started > 60 * asked.minutes:
                print(f"stopped after {asked.minutes:g} minutes")
                break
            outcomes.append((str(fault), try_fault(copy, fault, known)))
            print(f"{outcomes[-1][1]}: {fault}", flush=True)
        report(outcomes)


if __name__ == "__main__":
    sys.exit(main())
