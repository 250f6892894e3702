"""The README's samples in, the same README with what the commands really print and the contract's own table out.

`python -m tests.readme.samples` writes README.md anew. A fenced block after `<!-- run -->` holds commands (`$ ...`) and
what they print; after `<!-- run: quiet -->` the commands alone; after `<!-- run: COMMAND -->` what that command prints.
All run one after the other in one folder, in which `my-club` is the sample academy. Two arguments are added that a
reader does not need: `--no-serve` to the demo, and to `load` the sample's last day, which may lie ahead of the clock.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from pipeline.command.demo import last_recorded_day
from pipeline.contract import contract_markdown, load_contract

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
SAMPLE = ROOT / "sample_data"
CLUB = "my-club"
WIDTH = 100
BLOCK = re.compile(r"(<!-- run(?:: (?P<how>[^>]+?))? -->\n```(?:console|text)\n)(?P<text>.*?)(```\n)", re.DOTALL)
TABLE = re.compile(r"(<!-- contract -->\n)(?P<text>.*?)(<!-- end of contract -->\n)", re.DOTALL)


@dataclass(frozen=True)
class Sample:
    """One marked block: its commands as written, what it shows of their output, and whether it shows any."""

    commands: tuple[str, ...]
    shown: tuple[str, ...]
    is_quiet: bool


def sample_of(match: re.Match[str]) -> Sample:
    """A marked block, taken apart."""
    how, lines = match["how"], match["text"].splitlines()
    typed = tuple(line.removeprefix("$ ") for line in lines if line.startswith("$ "))
    shown = tuple(line for line in lines if not line.startswith("$ "))
    if how and how != "quiet":
        return Sample((how,), shown, is_quiet=False)
    return Sample(typed, shown, is_quiet=how == "quiet")


def samples(text: str) -> list[Sample]:
    """Every marked block of a README."""
    return [sample_of(match) for match in BLOCK.finditer(text)]


def prepare(folder: Path) -> None:
    """Put a club's CSV files where the samples expect them."""
    (folder / CLUB).mkdir()
    for path in SAMPLE.glob("*.csv"):
        (folder / CLUB / path.name).write_bytes(path.read_bytes())


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a sample's command in a folder; `> FILE` is understood."""
    words = shlex.split(command)
    target = None
    if ">" in words:
        target, words = words[words.index(">") + 1], words[: words.index(">")]
    program, *arguments = words
    assert program == "racket-fleet", f"{command}: a sample starts with racket-fleet"
    if arguments[0] == "demo":
        arguments.append("--no-serve")
    if arguments[0] == "load":
        arguments += ["--on", str(last_recorded_day(SAMPLE, load_contract()))]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", "COLUMNS": str(WIDTH)}
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", *arguments],
        cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    if target is not None:
        (folder / target).write_text(done.stdout, encoding="utf-8")
        done.stdout = ""
    return done


def printed(done: subprocess.CompletedProcess[str]) -> str:
    """What a terminal would show: messages first, as these commands write them; no blanks at line ends."""
    return "".join(f"{line.rstrip()}\n" for line in (done.stderr + done.stdout).splitlines())


def written_anew(text: str, folder: Path) -> str:
    """The README's text with real output and the contract's table; raises if a command fails."""

    def block(match: re.Match[str]) -> str:
        sample = sample_of(match)
        lines = []
        for command in sample.commands:
            done = run(command, folder)
            if done.returncode:
                raise RuntimeError(f"{command}: status {done.returncode}: {done.stderr}")
            if command != match["how"]:
                lines.append(f"$ {command}\n")
            if not sample.is_quiet:
                lines.append(printed(done))
        return match[1] + "".join(lines) + match[4]

    return TABLE.sub(lambda match: match[1] + contract_markdown(load_contract()) + match[3], BLOCK.sub(block, text))


def main() -> None:
    """Write README.md anew."""
    with tempfile.TemporaryDirectory() as scratch:
        prepare(Path(scratch))
        README.write_text(written_anew(README.read_text(encoding="utf-8"), Path(scratch)), encoding="utf-8")


if __name__ == "__main__":
    main()
