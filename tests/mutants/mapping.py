"""A copy of the project and folders of tests in; which tests run which lines, and what each costs, out.

Found once, by running the tests under coverage with `tests.mutants.contexts`. A line that runs at import (a trade
value, a field's default) counts for the tests that run anything of its file or of a file that imports it. A map may be
kept in a file: as long as the program and what the tests share are the same, only test files that are new or changed
are run again.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coverage import CoverageData

from tests.mutants.contexts import FIXTURE

SOURCES = ("pipeline.wear", "pipeline.fleet")
CHOSEN = "not slow and not browser"
SOONER = 10.0  # a test whose file imports the faulty module goes before others up to so much quicker


@dataclass
class TestMap:
    """Which tests run which lines, what each test and shared fixture costs in seconds, and what imports what."""

    digest: str = ""
    test_files: dict[str, str] = field(default_factory=dict)  # digest of each test file that was run
    tests_of: dict[str, dict[int, set[str]]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    fixtures_of: dict[str, list[str]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    importers: dict[str, set[str]] = field(default_factory=dict)

    def tests(self, path: str, first: int, last: int, most_seconds: float) -> list[str]:
        """The tests that run any of these lines, quick and near ones first, up to so many seconds in all."""
        found: set[str] = set()
        for line in range(first, last + 1):
            found |= self.tests_of.get(path, {}).get(line, set())
        if "" in found or not found:
            found |= {test for name in (path, *self.importers.get(path, ())) for test in self._of_file(name)}
        found -= {""} | self.broken
        near = self.importers.get(path, set())

        def turn(test: str) -> tuple[float, str]:
            cost = self.seconds.get(test, 1.0) + sum(self.seconds[name] for name in self.fixtures_of.get(test, ()))
            return (cost / SOONER if test.split("::")[0] in near else cost, test)

        chosen, spent, made = [], 0.0, set[str]()
        for test in sorted(found, key=turn):
            needed = set(self.fixtures_of.get(test, ())) - made
            spent += self.seconds.get(test, 1.0) + sum(self.seconds[name] for name in needed)
            if chosen and spent > most_seconds:
                break
            made |= needed
            chosen.append(test)
        return chosen

    def _of_file(self, path: str) -> set[str]:
        own = {test for test in self.fixtures_of if test.split("::")[0] == path}
        return own.union(*self.tests_of.get(path, {}).values())

    def forget(self, test_files: Iterable[str]) -> None:
        """Nothing of these test files is known any more."""
        gone = set(test_files)

        def stays(test: str) -> bool:
            return test.split("::")[0] not in gone

        for lines in self.tests_of.values():
            for line, tests in lines.items():
                lines[line] = {test for test in tests if stays(test)}
        self.seconds = {test: cost for test, cost in self.seconds.items() if stays(test)}
        self.fixtures_of = {test: names for test, names in self.fixtures_of.items() if stays(test)}
        self.broken = {test for test in self.broken if stays(test)}


def map_tests(copy: Path, folders: list[str], kept: Path | None = None) -> TestMap:
    """The map of these folders' tests, from the kept one as far as that still holds."""
    known = _read(kept) if kept is not None and kept.exists() else TestMap()
    digest = _digest(path for path in _files(copy) if not _is_test(path))
    if known.digest != digest:
        known = TestMap(digest=digest)
    now = {
        path.relative_to(copy).as_posix(): _digest([path])
        for folder in folders
        for path in ([copy / folder] if (copy / folder).is_file() else (copy / folder).rglob("test_*.py"))
    }
    stale = sorted(name for name, made in now.items() if known.test_files.get(name) != made)
    gone = [name for name in known.test_files if name not in now and not (copy / name).exists()]
    known.forget([*stale, *gone])
    if stale:
        _run(copy, stale, known)
    known.test_files |= {name: now[name] for name in stale}
    known.importers = _importers(copy)
    if kept is not None:
        _write(kept, known)
    return known


def _run(copy: Path, test_files: list[str], known: TestMap) -> None:
    """Run these test files under coverage and add what was seen to the map."""
    with tempfile.TemporaryDirectory(prefix="mutants-map-") as folder:
        data, noted = Path(folder) / "coverage", Path(folder) / "tests.json"
        command = [
            sys.executable, "-m", "coverage", "run", f"--data-file={data}", f"--source={','.join(SOURCES)}", "-m",
            "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:cov", "-p", "tests.mutants.contexts", "-m", CHOSEN,
            *test_files,
        ]  # fmt: skip
        environment = os.environ | {"MUTANTS_TESTS": str(noted), "OMP_NUM_THREADS": "1"}
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)
        if done.returncode not in (0, 1, 5) or not noted.exists():
            raise RuntimeError(f"The tests could not be run:\n{done.stdout[-3000:]}{done.stderr[-1000:]}")
        seen: dict[str, Any] = json.loads(noted.read_text(encoding="utf-8"))
        known.seconds |= seen["seconds"]
        known.fixtures_of |= seen["fixtures_of"]
        known.broken |= set(seen["broken"])
        stand_on: dict[str, set[str]] = defaultdict(set)
        for test, names in seen["fixtures_of"].items():
            for name in names:
                stand_on[name].add(test)
        covered = CoverageData(basename=str(data))
        covered.read()
        for path in covered.measured_files():
            lines = known.tests_of.setdefault(Path(path).resolve().relative_to(copy.resolve()).as_posix(), {})
            for line, contexts in covered.contexts_by_lineno(path).items():
                tests = lines.setdefault(line, set())
                for context in contexts:
                    tests |= stand_on[context] if context.startswith(FIXTURE) else {context}


def _importers(copy: Path) -> dict[str, set[str]]:
    """For each file of the program, the files that import it, tests among them."""
    found: dict[str, set[str]] = defaultdict(set)
    for path in _files(copy):
        if path.suffix != ".py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
                names = [node.module, *(f"{node.module}.{name.name}" for name in node.names)]
            elif isinstance(node, ast.Import):
                names = [name.name for name in node.names]
            else:
                continue
            for name in names:
                found[f"{name.replace('.', '/')}.py"].add(path.relative_to(copy).as_posix())
    return found


def _files(copy: Path) -> list[Path]:
    return [
        path
        for room in ("pipeline", "dashboard", "sample_data", "tests")
        for path in sorted((copy / room).rglob("*"))
        if path.suffix in (".py", ".sql", ".toml", ".json") and "tests/mutants" not in path.as_posix()
    ]


def _is_test(path: Path) -> bool:
    return path.name.startswith("test_")


def _digest(paths: Iterable[Path]) -> str:
    made = hashlib.sha256()
    for path in paths:
        made.update(path.name.encode() + b"\0" + path.read_bytes())
    return made.hexdigest()


def _write(path: Path, known: TestMap) -> None:
    plain = vars(known) | {
        "tests_of": {name: {str(n): sorted(t) for n, t in lines.items()} for name, lines in known.tests_of.items()},
        "broken": sorted(known.broken),
        "importers": {},
    }
    path.write_text(json.dumps(plain), encoding="utf-8")


def _read(path: Path) -> TestMap:
    plain = json.loads(path.read_text(encoding="utf-8"))
    plain["tests_of"] = {name: {int(n): set(t) for n, t in lines.items()} for name, lines in plain["tests_of"].items()}
    plain["broken"] = set(plain["broken"])
    return TestMap(**plain)
