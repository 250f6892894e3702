"""What DEVELOPERS.md says of the rooms holds: imports run one way, and what it names is there."""

from __future__ import annotations

import ast
import re
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.readme.samples import ROOT

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = ("pipeline", "dashboard", "sample_data", "tests")
# room -> the rooms it may import from
MAY_IMPORT = {
    "pipeline/contract": ("pipeline.contract",),
    "pipeline/store": ("pipeline.store", "pipeline.contract"),
    "pipeline/access": ("pipeline.access", "pipeline.store", "pipeline.contract"),
    "pipeline/federation": ("pipeline.federation", "pipeline.store", "pipeline.contract"),
    "pipeline/sql": ("pipeline.sql",),
    "pipeline/wear": ("pipeline.wear", "pipeline.sql", "pipeline.store", "pipeline.contract"),
    "pipeline/fleet": (
        "pipeline.fleet",
        "pipeline.wear",
        "pipeline.sql",
        "pipeline.access",
        "pipeline.store",
        "pipeline.contract",
    ),
    "pipeline/command": ("pipeline",),
    "dashboard": ("dashboard", "pipeline"),
}


def imports(path: Path) -> set[str]:
    """The modules of this project that a file imports from."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return {name for name in found if name.split(".")[0] in PROJECT}


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_imports_run_one_way(room: str) -> None:
    files = list((ROOT / room).rglob("*.py"))
    assert files
    wrong = {
        (path.relative_to(ROOT).as_posix(), name)
        for path in files
        for name in imports(path)
        if name != "pipeline" and not any(f"{name}.".startswith(f"{allowed}.") for allowed in MAY_IMPORT[room])
    }
    assert wrong == set()


def test_the_program_needs_no_test() -> None:
    for top in ("pipeline", "dashboard", "sample_data"):
        for path in (ROOT / top).rglob("*.py"):
            assert not [name for name in imports(path) if name.startswith("tests")], path


def test_the_paths_it_names_are_there() -> None:
    named = set(re.findall(r"`((?:pipeline|dashboard|sample_data|tests|wear|fleet|\.ci)/[\w./-]+)`", TEXT))
    assert len(named) >= 15
    assert [path for path in named if not (ROOT / path).exists() and not (ROOT / "pipeline" / path).exists()] == []


def test_the_modules_it_says_to_run_can_be_run() -> None:
    named = set(re.findall(r"python -m ([\w.]+)", TEXT)) - {"streamlit"}
    assert len(named) >= 5
    for name in named:
        spec = find_spec(f"{name}.__main__") if find_spec(name).submodule_search_locations else find_spec(name)  # type: ignore[union-attr]
        assert spec is not None and spec.origin is not None, name
        assert '__name__ == "__main__"' in Path(spec.origin).read_text(encoding="utf-8"), name
