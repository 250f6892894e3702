"""The simulation must not know the forecast that is tested on it, nor the forecast's mathematics."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

import sample_data

FOLDER = Path(sample_data.__file__).parent
PROGRAMS = sorted(FOLDER.glob("*.py"))


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add((node.module or "").split(".")[0])
    return names


@pytest.mark.parametrize("path", PROGRAMS, ids=lambda path: path.name)
def test_imports_nothing_of_the_forecast(path: Path) -> None:
    assert imported(path) <= {"numpy", "sample_data"} | set(sys.stdlib_module_names)


@pytest.mark.parametrize("path", PROGRAMS, ids=lambda path: path.name)
def test_draws_no_lives_and_no_gamma_multipliers(path: Path) -> None:
    called = {
        node.func.attr
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    }
    assert not called & {"weibull", "gamma", "standard_gamma", "exponential"}


def test_there_are_programs_to_check() -> None:
    assert {"make_academy.py", "string_bed.py", "season.py"} <= {path.name for path in PROGRAMS}
