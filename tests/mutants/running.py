"""A copy of the project with a fault in it, and tests in; whether one of them notices out.

Every try is a fork of a process that has the libraries loaded already, so that most of its time is the tests' own, and
it ends at the first test that fails. Nothing is ever changed in the project itself.
"""

from __future__ import annotations

import importlib
import os
import resource
import shutil
import signal
import sys
import time
from pathlib import Path

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
    "openpyxl",
    "fpdf",
    "icalendar",
    "streamlit.testing.v1",
)
WALL_FOR_CPU = 20
NOT_RUN, NOT_THE_COPY = 98, 99  # statuses that pytest does not have
LEFT_OUT = shutil.ignore_patterns(
    ".git", ".venv", "__pycache__", ".*_cache", "*.duckdb", "club", "demo-club", ".hypothesis"
)


def copied(root: Path, target: Path) -> Path:
    """A copy of the project to put faults into."""
    shutil.copytree(root, target, ignore=LEFT_OUT, symlinks=True)
    return target


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
            if code in (NOT_THE_COPY, NOT_RUN):
                raise RuntimeError(f"The tests could not be tried (status {code}), so nothing was found out.")
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
        os._exit(status if where.is_relative_to(copy.resolve()) else NOT_THE_COPY)
    except BaseException:
        os._exit(NOT_RUN)
