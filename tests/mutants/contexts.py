"""A plugin for pytest: which lines each test runs, what it costs, and which shared fixtures it stands on.

In: a run under `coverage run -m pytest -p tests.mutants.contexts`, and a file's name in `MUTANTS_TESTS`. Out: coverage
with one context for each test and one for each fixture that several tests share (a shared fixture runs inside the
first test that asks for it, but speaks for them all), and in that file, as JSON, seconds of the processor's time by
context, the shared fixtures of each test, and the tests that fail.
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from collections.abc import Generator
from pathlib import Path
from typing import Any

import coverage
import pytest

FIXTURE = "fixture of "


class _Ledger:
    """What is noted during one run."""

    def __init__(self) -> None:
        self.context = ""
        self.seconds: dict[str, float] = defaultdict(float)
        self.names_of: dict[str, list[str]] = {}
        self.broken: set[str] = set()

    def enter(self, context: str) -> str:
        """From now on lines count for this context; returns the one before."""
        before, self.context = self.context, context
        current = coverage.Coverage.current()
        if current is not None:
            current.switch_context(context)
        return before


LEDGER = _Ledger()


def _processor_seconds() -> float:
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Generator[None, Any, Any]:
    """Function fixtures count for the test itself."""
    LEDGER.names_of[item.nodeid] = list(getattr(item, "fixturenames", ()))
    return (yield from _counted(item.nodeid))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """The test itself."""
    return (yield from _counted(item.nodeid))


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any]) -> Generator[None, Any, Any]:
    """A fixture that outlives one test counts for itself."""
    if fixturedef.scope == "function":
        return (yield)
    return (yield from _counted(f"{FIXTURE}{fixturedef.baseid}::{fixturedef.argname}"))


def _counted(context: str) -> Generator[None, Any, Any]:
    before = LEDGER.enter(context)
    started = _processor_seconds()
    inside = sum(LEDGER.seconds.values())
    try:
        return (yield)
    finally:
        spent = _processor_seconds() - started
        LEDGER.seconds[context] += spent - (sum(LEDGER.seconds.values()) - inside)
        LEDGER.enter(before)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """A test that fails without any fault says nothing about faults."""
    if report.failed:
        LEDGER.broken.add(report.nodeid)


def pytest_sessionfinish() -> None:
    """Write down what was noted."""
    shared = [name for name in LEDGER.seconds if name.startswith(FIXTURE)]
    fixtures_of = {
        test: [name for name in shared if _stands_on(test, names, name)] for test, names in LEDGER.names_of.items()
    }
    noted = {"seconds": LEDGER.seconds, "fixtures_of": fixtures_of, "broken": sorted(LEDGER.broken)}
    Path(os.environ["MUTANTS_TESTS"]).write_text(json.dumps(noted), encoding="utf-8")


def _stands_on(test: str, names: list[str], shared: str) -> bool:
    where, name = shared.removeprefix(FIXTURE).rsplit("::", 1)
    return name in names and test.startswith(where)
