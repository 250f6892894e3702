"""`racket-fleet bench` and `calendar` as a user meets them. The plan itself is tested in tests/fleet/bench."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from pipeline.fleet.bench.plan import CSV_COLUMNS
from tests.cli.test_commands import rows, run
from tests.fleet.club_files import write_files
from tests.fleet.clubs import ORIGIN

SQUAD = "U16"


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A working folder with a store of four players, two hours a day at the bench, and an .ics file."""
    home = tmp_path_factory.mktemp("bench")
    write_files(home / "files")
    days = [(ORIGIN + timedelta(days=k)).isoformat() for k in range(1, 15)]
    bench = "bench_on,stringer,minutes\n" + "".join(f"{day},Kim,120\n" for day in days)
    (home / "files" / "bench.csv").write_text(bench, encoding="utf-8")
    (home / "cup.ics").write_bytes(
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:1@x\r\nDTSTAMP:20260101T000000Z\r\n"
        b"SUMMARY:Cup\r\nDTSTART:20260404T080000Z\r\nDTEND:20260404T100000Z\r\nRRULE:FREQ=WEEKLY;COUNT=2\r\nEND:VEVENT\r\n"
        b"END:VCALENDAR\r\n"
    )
    done = run("load", "files", "--on", "2026-06-01", cwd=home)
    assert done.returncode == 0, done.stderr
    return home


def test_the_plan_has_its_columns_and_a_calendar_file(club: Path) -> None:
    done = run("bench", "--csv", "--ics", "plan.ics", cwd=club)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0] == ",".join(CSV_COLUMNS)
    assert {row["stringer"] for row in rows(done.stdout)} <= {"Kim", ""}
    assert (club / "plan.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    told = run("bench", cwd=club)
    assert "of the next 2 weeks" in told.stdout.splitlines()[0]


def test_a_club_without_hours_is_told_so_in_one_sentence(tmp_path: Path) -> None:
    write_files(tmp_path / "files")
    assert run("load", "files", "--on", "2026-06-01", cwd=tmp_path).returncode == 0
    done = run("bench", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert "no hours at the bench are on file" in done.stderr.lower()


def test_a_calendar_file_fills_the_calendar(club: Path) -> None:
    asked = (
        "calendar",
        "cup.ics",
        "--activity",
        "singles",
        "--squad",
        SQUAD,
        "--from",
        "2026-04-01",
        "--until",
        "2026-04-30",
    )
    look = run(*asked, "--look", "--csv", cwd=club)
    assert look.returncode == 0, look.stderr
    assert [row["planned_on"] for row in rows(look.stdout)] == ["2026-04-04 08:00:00", "2026-04-11 08:00:00"]
    done = run(*asked, cwd=club)
    assert "New 2, corrected 0, as before 0." in done.stderr
    wrong = run("calendar", "nothing.ics", "--activity", "singles", "--squad", SQUAD, cwd=club)
    assert wrong.returncode == 1 and "cannot be read" in wrong.stderr
