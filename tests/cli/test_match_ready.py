"""`racket-fleet match-ready` as a user meets it."""

from __future__ import annotations

from pathlib import Path

from tests.cli.test_commands import rows, run
from tests.small_club import write_club

HEADER = "event,planned_on,player_id,squad,ready,needed,prob_enough,worst_racket"
CALENDAR = (
    "planned_on,squad,activity,event,minutes,fresh_rackets\n"
    "2026-03-12,U16,singles,Cup,90,2\n2026-03-20,U16,singles,Cup final,90,\n"
)


def test_the_csv_alone_with_the_columns_of_the_plan(tmp_path: Path) -> None:
    write_club(tmp_path / "files", {"calendar": CALENDAR})
    assert run("load", "files", "--on", "2026-06-01", cwd=tmp_path).returncode == 0
    done = run("match-ready", "--on", "2026-03-10", "--csv", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == HEADER
    found = rows(done.stdout)
    assert [(row["event"], row["planned_on"], row["player_id"], row["needed"]) for row in found] == [
        ("Cup", "2026-03-12", "P1", "2"),
        ("Cup", "2026-03-12", "P2", "2"),
        ("Cup final", "2026-03-20", "P1", "1"),
        ("Cup final", "2026-03-20", "P2", "1"),
    ]
    assert all(0.0 <= float(row["prob_enough"]) <= 1.0 for row in found)
    assert {row["prob_enough"] for row in found if row["player_id"] == "P2"} == {"0.0"}, "Bo holds no racket"
    soon = run("match-ready", "--weeks", "1", "--on", "2026-03-10", "--csv", cwd=tmp_path)
    assert {row["event"] for row in rows(soon.stdout)} == {"Cup"}


def test_no_event_is_said(tmp_path: Path) -> None:
    write_club(tmp_path / "files")
    assert run("load", "files", "--on", "2026-06-01", cwd=tmp_path).returncode == 0
    done = run("match-ready", "--on", "2026-03-10", cwd=tmp_path)
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1] == "No event within 6 weeks is on file: load calendar.csv."
    empty = run("match-ready", "--on", "2026-03-10", "--csv", cwd=tmp_path)
    assert empty.stdout == f"{HEADER}\n"
