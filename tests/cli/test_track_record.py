"""`racket-fleet track-record` as a user meets it."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.fleet.record_table import CSV_COLUMNS
from pipeline.fleet.track_record import FILE, kept
from tests.fleet.club_files import write_files
from tests.small_club import write_club

ROOT = Path(__file__).parents[2]


def run(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the command in a folder of its own, as from a shell."""
    command = [sys.executable, "-m", "pipeline.cli", *map(str, arguments)]
    environment = {"PYTHONPATH": str(ROOT), "PATH": "", "HOME": str(cwd), "PYTHONIOENCODING": "utf-8"}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False, timeout=300)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A working folder with a club of sixteen weeks, loaded."""
    folder = tmp_path_factory.mktemp("home")
    write_files(folder / "files")
    done = run("load", "files", "--on", "2026-06-01", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder


def test_csv_has_the_documented_columns_and_nothing_else_is_said(home: Path) -> None:
    done = run("track-record", "--weeks", "4", "--csv", cwd=home)
    assert (done.returncode, done.stderr) == (0, "")
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert tuple(rows[0]) == CSV_COLUMNS
    table = {row["measure"]: row for row in rows}
    assert {"auc", "brier", "crps", "coverage_80", "pinball_90", "called_due", "called_due_past_25_h"} <= set(table)
    assert 0.0 <= float(table["auc"]["model"]) <= 1.0 and table["auc"]["recent_average"] == ""
    assert table["weeks"]["model"] == "4.0"
    assert float(table["crps_over_recent_average"]["recent_average"]) == 1.0
    called, came_in = (float(table[name]["model"]) for name in ("called_due", "called_and_came_in"))
    assert called >= came_in


def test_it_says_the_words_and_keeps_the_record_for_the_page(home: Path) -> None:
    done = run("track-record", "--weeks", "2", cwd=home)
    assert (done.returncode, done.stderr) == (0, "")
    first, second, *_ = done.stdout.splitlines()
    assert first.startswith("2 weeks, 2026-03-") and "called due" in second and "came in" in second
    record = kept(home / "club")
    assert record is not None and record.backtest.count_weeks == 2
    assert record.view_version == "1"


def test_an_earlier_day_is_looked_back_from_but_not_kept(home: Path) -> None:
    before = (home / "club" / FILE).read_bytes() if (home / "club" / FILE).exists() else None
    done = run("track-record", "--weeks", "2", "--on", "2026-03-08", cwd=home)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("2 weeks, 2026-02-23 to 2026-03-08.\n")
    assert before == ((home / "club" / FILE).read_bytes() if (home / "club" / FILE).exists() else None)


def test_more_weeks_than_the_records_reach_back_are_said(home: Path) -> None:
    done = run("track-record", "--weeks", "26", "--on", "2026-01-25", "--csv", cwd=home)
    assert done.returncode == 0
    assert done.stderr == "The records on file reach back far enough for 2 of 26 weeks.\n"


@pytest.mark.parametrize(
    ("on", "sentence"),
    [("2026-01-04", "which is too short to look back on: a track record needs 6 weeks"),
     ("2025-01-04", "no restring is on file up to 2025-01-04, so there is no forecast to look back on")],
)  # fmt: skip
def test_too_little_history_is_one_sentence(home: Path, on: str, sentence: str) -> None:
    done = run("track-record", "--on", on, cwd=home)
    assert (done.returncode, done.stdout) == (1, "")
    assert sentence in done.stderr and done.stderr.count("\n") == 1


def test_a_new_club_is_told_how_much_it_needs(tmp_path: Path) -> None:
    write_club(tmp_path / "files")
    assert run("load", "files", "--on", "2026-06-01", cwd=tmp_path).returncode == 0
    done = run("track-record", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "the restrings on file reach from 2026-02-01 to 2026-03-10, which is too short to look back on: a track record "
        "needs 6 weeks, so load older restrings or ask again from 2026-03-15 on.\n"
    )


def test_a_store_that_is_not_there_is_said(tmp_path: Path) -> None:
    done = run("track-record", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "club holds no store yet: load the club's files first (racket-fleet load FOLDER).\n"
