"""A copy of the project and a fault in; whether a test notices out.

The tests that run a line are found once, by coverage with a context for each test, in the copy; a fault is then tried
on those alone, quickest first, until one fails. Every try is a fork of a process that has the libraries loaded
already, so that most of its time is the tests' own. Nothing is ever changed in the project itself.
"""

from __future__ import annotations

import importlib
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from coverage.numbits import numbits_to_nums

LIBRARIES = (
    "numpy",
    "pandas",
    "duckdb",
    "scipy.stats",
    "scipy.optimize",
    "scipy.special",
    "pytest",
    "hypothesis",
    "plotly",
)
MOST_TESTS = 40
WALL_FOR_CPU = 20
LEFT_OUT = shutil.ignore_patterns(
    ".git", ".venv", "__pycache__", ".*_cache", "*.duckdb", "club", "demo-club", ".hypothesis"
)


@dataclass(frozen=True)
class TestMap:
    """Which tests run which lines, and how long each test takes, in seconds."""

    tests_of: dict[tuple[str, int], frozenset[str]]
    seconds_of: dict[str, float]

    def tests(self, path: str, first: int, last: int) -> list[str]:
        """The tests that run any of these lines, quickest first."""
        found: set[str] = set()
        for line in range(first, last + 1):
            found |= self.tests_of.get((path, line), frozenset())
        return sorted(found, key=lambda test: (self.seconds_of.get(test, 1.0), test))


def copied(root: Path, target: Path) -> Path:
    """A copy of the project to put faults into."""
    shutil.copytree(root, target, ignore=LEFT_OUT, symlinks=True)
    return target


def map_tests(copy: Path, folders: list[str], sources: list[str]) -> tuple[TestMap, list[str]]:
    """Run the tests of these folders once, with coverage of these packages.

    Tests that fail without any fault say nothing about faults: they are left out of the map and named.
    """
    data = copy / "mutants.coverage"
    command = [
        sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", "not slow and not browser",
        "--durations=0", "--durations-min=0", "-vv", "-rfE", "--continue-on-collection-errors", "--cov-context=test",
        "--cov-report=", *(f"--cov={source}" for source in sources), *folders,
    ]  # fmt: skip
    environment = os.environ | {"COVERAGE_FILE": str(data), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"The tests could not be run:\n{done.stdout[-3000:]}{done.stderr[-1000:]}")
    broken = {
        line.split(" ", 1)[1].split(" - ")[0]
        for line in done.stdout.splitlines()
        if line.startswith(("FAILED ", "ERROR "))
    }
    seconds: dict[str, float] = defaultdict(float)
    for line in done.stdout.splitlines():
        parts = line.split()
        if len(parts) >= 3 and parts[0].endswith("s") and parts[1] in ("call", "setup") and "::" in parts[2]:
            seconds[" ".join(parts[2:])] += float(parts[0][:-1]) if parts[1] == "call" else 0.0
    lines = {place: tests - broken for place, tests in _lines(data, copy).items()}
    return TestMap(lines, dict(seconds)), sorted(broken)


def _lines(data: Path, copy: Path) -> dict[tuple[str, int], frozenset[str]]:
    found: dict[tuple[str, int], set[str]] = defaultdict(set)
    with sqlite3.connect(data) as con:
        rows = con.execute(
            "select f.path, c.context, b.numbits from line_bits b join file f on f.id = b.file_id "
            "join context c on c.id = b.context_id"
        )
        for path, context, bits in rows:
            # without a context a line runs at import: the tests of the file's other lines are what there is
            test = context.split("|")[0]
            name = Path(path).resolve().relative_to(copy.resolve()).as_posix()
            for line in numbits_to_nums(bits):
                found[(name, line)].add(test)
    whole: dict[str, set[str]] = defaultdict(set)
    for (name, _), tests in found.items():
        whole[name] |= tests - {""}
    return {place: frozenset(whole[place[0]] if tests == {""} else tests - {""}) for place, tests in found.items()}


def load_libraries() -> None:
    """Import what every try needs, once, before the first fork."""
    for name in LIBRARIES:
        importlib.import_module(name)


def tests_fail(copy: Path, tests: list[str], cpu_seconds: int) -> str:
    """`failed`, `passed` or `too long`, for these tests in the copy as it stands; a process of its own runs them.

    `too long` goes by the processor's time, so that a busy machine makes no fault look noticed.
    """
    child = os.fork()
    if child == 0:
        _run_and_end(copy, tests, cpu_seconds)
    give_up_at = time.monotonic() + WALL_FOR_CPU * cpu_seconds
    while time.monotonic() < give_up_at:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            return {0: "passed", -signal.SIGXCPU: "too long", -signal.SIGKILL: "too long"}.get(code, "failed")
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "too long"


def _run_and_end(copy: Path, tests: list[str], cpu_seconds: int) -> None:
    """In the fork: run the tests on the copy and end the process with pytest's status."""
    try:
        used = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
        resource.setrlimit(resource.RLIMIT_CPU, (int(used) + cpu_seconds, int(used) + cpu_seconds + 5))
        os.chdir(copy)
        sys.path.insert(0, str(copy))
        for name in [
            name for name in sys.modules if name.split(".")[0] in ("pipeline", "dashboard", "sample_data", "tests")
        ]:
            del sys.modules[name]
        sys.dont_write_bytecode = True
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        import pytest

        status = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", *tests]))
        where = Path(sys.modules["pipeline"].__file__ or "").resolve()
        os._exit(status if where.is_relative_to(copy.resolve()) else 99)
    except BaseException:
        os._exit(98)
