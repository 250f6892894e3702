"""The README holds: its samples run on the sample academy, its table is the contract's, its commands and links exist.

Figures may differ in the last digit between machines, so shown and real output are compared with their figures masked.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from pipeline.cli import app
from pipeline.contract import contract_markdown, load_contract
from tests.readme.samples import README, ROOT, TABLE, Sample, prepare, printed, run, samples

TEXT = README.read_text(encoding="utf-8")
INSTALL_AND_DEMO = "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/racket-fleet demo"
INSTALL_AND_TEST = "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest -n 2"


def shape(line: str) -> str:
    """A line of output without its figures and its spacing."""
    return re.sub(r"\s+", " ", re.sub(r"[\d.]+", "0", line)).strip()


def frame_of(lines: list[str]) -> tuple[list[str], list[str]]:
    """What does not hang on the last digit: lines that are no row of the ranking, and the ranks."""
    ranked = [line for line in lines if re.match(r"^ +\d+  R\d", line)]
    others = [shape(line) for line in lines if line not in ranked and not line.startswith(" " * 20)]
    return others, [line.split()[0] for line in ranked]


def test_shape_masks_figures_alone() -> None:
    assert shape("   1  2026-11-16  16.43   12") == shape("1 2026-11-17 9 3") != shape("1 2026-11-17 nan 3")


def test_it_opens_with_the_job_and_the_two_commands() -> None:
    title, paragraph, *_ = TEXT.split("\n\n")
    assert title == "# racket-fleet" and "\n" not in paragraph and "stringing jobs" in paragraph
    assert f"$ {INSTALL_AND_DEMO}\n" in TEXT and f"$ {INSTALL_AND_TEST}\n" in TEXT
    for person in ("coach", "club stringer", "team manager"):
        assert f"**{person}**" in TEXT


def test_its_table_is_the_contract_s() -> None:
    tables = [match["text"] for match in TABLE.finditer(TEXT)]
    assert tables == [contract_markdown(load_contract())], "write it anew: python -m tests.readme.samples"


def test_it_names_every_command_and_no_other() -> None:
    named = set(re.findall(r"^\| `racket-fleet ([a-z-]+)[^|]*\|", TEXT, re.MULTILINE))
    assert named == set(get_command(app).commands)  # type: ignore[attr-defined]


def test_it_names_options_that_are_there() -> None:
    options = {option for command in get_command(app).commands.values() for p in command.params for option in p.opts}  # type: ignore[attr-defined]
    assert set(re.findall(r"`(--[a-z-]+)", TEXT)) <= options | {"--help"}


def test_its_links_lead_somewhere() -> None:
    missing = [path for path in re.findall(r"\]\(([^)#:]+)\)", TEXT) if not (ROOT / path).exists()]
    assert missing == []


def test_its_licence_is_the_project_s() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert f"Licence: {project['license']}." in TEXT


@pytest.mark.slow
def test_its_samples_run(tmp_path: Path) -> None:
    prepare(tmp_path)
    shown: list[Sample] = samples(TEXT)
    assert sum(len(sample.commands) for sample in shown) >= 7
    for sample in shown:
        output: list[str] = []
        for command in sample.commands:
            done = run(command, tmp_path)
            assert done.returncode == 0, (command, done.stderr)
            output += printed(done).splitlines()
        if not sample.is_quiet:
            assert frame_of(list(sample.shown)) == frame_of(output), (
                f"{sample.commands}: python -m tests.readme.samples"
            )
    assert (tmp_path / "ranking.csv").read_text(encoding="utf-8").startswith("rank,racket_id,")
