"""The command as a user meets it: exit status, what goes to standard output and what to standard error."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.store import Store
from tests.small_club import FILES, write_club, write_file

ROOT = Path(__file__).parents[2]


def run(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the command in a folder of its own, as from a shell."""
    command = [sys.executable, "-m", "pipeline.cli", *map(str, arguments)]
    environment = {"PYTHONPATH": str(ROOT), "PATH": "", "HOME": str(cwd), "PYTHONIOENCODING": "utf-8"}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False, timeout=300)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A working folder with the small club in `files`."""
    write_club(tmp_path / "files")
    return tmp_path


def test_load_prints_the_counts_and_makes_the_default_store(home: Path) -> None:
    done = run("load", "files", "--on", "2026-06-01", "--csv", cwd=home)
    assert done.returncode == 0, done.stderr
    assert rows(done.stdout)[0] == {
        "file": "players.csv", "read": "2", "new": "2", "corrected": "0", "unchanged": "0", "rejected": "0"
    }  # fmt: skip
    assert Store(home / "club").exists and Store(home / "club").view_version == "1"


def test_load_takes_single_files_and_says_what_was_rejected(home: Path) -> None:
    write_file(home / "files", "matches", FILES["matches"].replace(",90,", ",-90,"))
    done = run("load", *sorted((home / "files").glob("*.csv")), "--store", "s", "--on", "2026-06-01", cwd=home)
    assert done.returncode == 0, done.stderr
    assert "1 row was rejected: racket-fleet rejects says how to mend them." in done.stderr
    listed = run("rejects", "--store", "s", "--csv", cwd=home)
    assert (listed.returncode, listed.stderr) == (0, "")
    assert rows(listed.stdout) == [
        {"file": "matches.csv", "line": "2", "column": "minutes", "value": "-90",
         "message": "minutes -90 must be at least 1 and at most 720: correct the minutes."}
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["load", "nowhere"], "nowhere does not exist: give the folder that holds the club's CSV files."),
        (["load", "empty"], "empty holds no file of the contract: it needs CSV files named players.csv"),
        (["rank"], "club holds no store yet: load the club's files first (racket-fleet load FOLDER)."),
        (["forecast", "--csv"], "club holds no store yet"),
        (["rejects"], "club holds no store yet"),
        (["export", "out"], "club holds no store yet"),
        (["strike", "matches", "M1"], "club holds no store yet"),
    ],
)
def test_nothing_usable_is_one_sentence_and_status_1(tmp_path: Path, arguments: list[str], sentence: str) -> None:
    (tmp_path / "empty").mkdir()
    done = run(*arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(sentence) and done.stderr.count("\n") == 1


def test_a_folder_in_which_no_file_can_be_read_is_status_1(tmp_path: Path) -> None:
    write_file(tmp_path / "files", "players", b"\0")
    done = run("load", "files", "--csv", cwd=tmp_path)
    assert done.returncode == 1
    assert done.stderr == (
        "players.csv holds a NUL byte on line 1, so it is not a text file; nothing was loaded: save it as CSV UTF-8.\n"
    )


@pytest.mark.parametrize(
    "arguments",
    [["rank", "--days", "0"], ["rank", "--on", "14.3.2026"], ["forecast", "--weeks", "x"], ["load"], ["polish"]],
)
def test_wrong_usage_is_status_2(tmp_path: Path, arguments: list[str]) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr


def test_a_wrong_setting_is_one_sentence(home: Path) -> None:
    assert run("load", "files", "--on", "2026-06-01", cwd=home).returncode == 0
    (home / "club" / "club.toml").write_text('curency = "EUR"\n')
    done = run("rank", cwd=home)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "club.toml: the setting 'curency' is unknown: did you mean currency?\n"


def test_strike_and_export(home: Path) -> None:
    assert run("load", "files", "--on", "2026-06-01", cwd=home).returncode == 0
    done = run("strike", "matches", "M1", "P1", "R1", cwd=home)
    assert (done.returncode, done.stdout) == (0, "Taken back: matches.csv M1 P1 R1\n")
    done = run("export", "out", cwd=home)
    assert done.returncode == 0 and "matches.csv: 1 row\n" in done.stdout
    again = run("export", "out", cwd=home)
    assert again.returncode == 1 and "add --replace" in again.stderr
    assert run("export", "out", "--replace", cwd=home).returncode == 0


RANK = (
    "rank,racket_id,player_id,squad,p_end,p_break,p_feel,p_dead,break_used,dead_used,"
    "days_left_p10,days_left_p50,days_left_p90,why,look_value"
)
FORECAST = "week,starts_on,mean,p10,p50,p90,minutes_p50,minutes_p90"


def test_rank_and_forecast_print_the_csv_alone(home: Path) -> None:
    """The columns are those the project's plan names."""
    assert run("load", "files", "--on", "2026-06-01", cwd=home).returncode == 0
    ranked = run("rank", "--days", "14", "--on", "2026-03-10", "--csv", cwd=home)
    assert (ranked.returncode, ranked.stderr) == (0, "")
    assert ranked.stdout.splitlines()[0] == RANK
    assert {row["racket_id"] for row in rows(ranked.stdout)} >= {"R1", "R2"}
    foreseen = run("forecast", "--weeks", "4", "--on", "2026-03-10", "--csv", cwd=home)
    assert (foreseen.returncode, foreseen.stderr) == (0, "")
    assert foreseen.stdout.splitlines()[0] == FORECAST
    assert [row["starts_on"] for row in rows(foreseen.stdout)] == [
        "2026-03-11",
        "2026-03-18",
        "2026-03-25",
        "2026-04-01",
    ]


def test_refresh_publishes_a_new_view(home: Path) -> None:
    assert run("load", "files", "--on", "2026-06-01", cwd=home).returncode == 0
    done = run("refresh", cwd=home)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert Store(home / "club").view_version == "2"


def test_refresh_of_a_store_without_dated_records_is_said(tmp_path: Path) -> None:
    write_club(tmp_path / "files", {name: text.splitlines()[0] + "\n" for name, text in FILES.items()})
    assert run("load", "files", cwd=tmp_path).returncode == 0
    done = run("refresh", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "club has no dated record yet: load restrings, matches or practices first.\n"


def test_a_squad_that_is_not_there_is_said(home: Path) -> None:
    assert run("load", "files", "--on", "2026-06-01", cwd=home).returncode == 0
    done = run("rank", "--squad", "U61", cwd=home)
    assert (done.returncode, done.stderr) == (1, "no player is in squad U61: the squads are U16.\n")


def test_check_free_says_that_nobody_writes(tmp_path: Path) -> None:
    done = run("check-free", "--store", "s", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, "s is free.\n")


def test_every_command_has_a_short_help_text(tmp_path: Path) -> None:
    listed = run("--help", cwd=tmp_path)
    commands = ["demo", "load", "rejects", "rank", "forecast", "export", "strike", "refresh", "check-free", "serve"]
    for command in commands:
        assert f"  {command} " in listed.stdout
        shown = run(command, "--help", cwd=tmp_path)
        assert shown.returncode == 0 and "--store" in shown.stdout


def test_the_demo_prints_the_five_most_urgent_and_the_address(tmp_path: Path) -> None:
    done = run("demo", "--no-serve", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    first, *_, last = done.stdout.strip().splitlines()
    assert first.startswith("The 5 most urgent of ")
    assert last.startswith("Dashboard: http://127.0.0.1:")
    assert run("demo", "--no-serve", cwd=tmp_path).returncode == 0
    assert Store(tmp_path / "demo-club").rejects().shape[0] < 20


def test_the_demo_leaves_a_folder_that_is_no_demo_alone(tmp_path: Path) -> None:
    (tmp_path / "demo-club").mkdir()
    (tmp_path / "demo-club" / "mine.txt").write_text("mine")
    done = run("demo", "--no-serve", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (
        1,
        "demo-club is there and is no demo club: name another folder with --store.\n",
    )
    assert (tmp_path / "demo-club" / "mine.txt").read_text() == "mine"
