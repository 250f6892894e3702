"""Every room, and everything public in it, says what it is: what comes in, what goes out, what is raised."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.readme.samples import ROOT

ROOMS = ("pipeline", "dashboard")
# rooms in which whatever raises says so
SAYS_RAISES = ("pipeline/access", "pipeline/federation")


def files(rooms: tuple[str, ...]) -> list[Path]:
    """Every file of Python in these rooms."""
    return sorted(path for room in rooms for path in (ROOT / room).rglob("*.py"))


def public(body: list[ast.stmt]) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    """Classes, functions and methods without a leading underscore."""
    for node in body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from public(node.body)


def test_everything_public_says_what_it_is() -> None:
    missing = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
        for path in files(ROOMS)
        for node in public(ast.parse(path.read_text(encoding="utf-8")).body)
        if len((ast.get_docstring(node) or "").split()) < 2
    ]
    assert missing == []


def test_every_module_says_what_it_is() -> None:
    missing = [
        path.relative_to(ROOT).as_posix()
        for path in files(ROOMS)
        if (text := path.read_text(encoding="utf-8")).strip() and not ast.get_docstring(ast.parse(text))
    ]
    assert missing == []


def test_what_raises_says_so() -> None:
    silent = []
    for path in files(SAYS_RAISES):
        for node in public(ast.parse(path.read_text(encoding="utf-8")).body):
            is_raising = any(isinstance(part, ast.Raise) and part.exc is not None for part in ast.walk(node))
            if (
                isinstance(node, ast.FunctionDef)
                and is_raising
                and not re.search(r"[Rr]aise", ast.get_docstring(node) or "")
            ):
                silent.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}")
    assert silent == []
