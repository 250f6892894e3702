"""Clubs with little or odd data on file: a ranking and a forecast where there can be one, else one sentence."""

from __future__ import annotations

import csv
import io
import math
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from tests.small_club import FILES, write_club

ROOT = Path(__file__).parents[2]
NO_BED_NOTE = "no restring on file"
UNITS = ("p_end", "p_break", "p_feel", "p_dead")
HEADERS = {name: text.splitlines()[0] + "\n" for name, text in FILES.items()}


@dataclass(frozen=True)
class Outcome:
    """What a command left: its exit status, standard output and standard error."""

    status: int
    out: str
    err: str

    @property
    def rows(self) -> list[dict[str, str]]:
        """Standard output as CSV; a stray line fails here."""
        lines = list(csv.reader(io.StringIO(self.out)))
        assert all(len(line) == len(lines[0]) for line in lines)
        return [dict(zip(lines[0], line, strict=True)) for line in lines[1:]]


def ask(*arguments: object) -> Outcome:
    """Run a command in this process."""
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    return Outcome(done.exit_code, done.stdout, done.stderr)


def loaded(folder: Path, files: Mapping[str, str], without: tuple[str, ...] = ()) -> Path:
    """A store with the small club, some of its files replaced and some left out."""
    given = write_club(folder / "files", files)
    for name in without:
        (given / f"{name}.csv").unlink()
    done = ask("load", given, "--store", folder / "club", "--on", "2026-06-01")
    assert done.status == 0, done.err
    return folder / "club"


def chances(row: Mapping[str, str]) -> dict[str, float]:
    return {name: float(row[name]) for name in UNITS}


def test_a_racket_without_any_restring_is_listed_with_a_note(tmp_path: Path) -> None:
    done = ask("rank", "--csv", "--store", loaded(tmp_path, {"restrings": HEADERS["restrings"]}))
    assert (done.status, done.err) == (0, "")
    assert [row["racket_id"] for row in done.rows] == ["R1", "R2", "R3"]
    assert all(NO_BED_NOTE in row["why"] and row["p_end"] == "" for row in done.rows)


@pytest.mark.parametrize("without", [(), ("restrings",)])
def test_without_any_restring_there_is_nothing_to_forecast_from(tmp_path: Path, without: tuple[str, ...]) -> None:
    done = ask("forecast", "--csv", "--store", loaded(tmp_path, {"restrings": HEADERS["restrings"]}, without))
    assert (done.status, done.out) == (1, "")
    assert done.err == (
        "no racket in service on 2026-03-10 has a restring on file, so there is nothing to forecast from: "
        "load restrings.csv, or choose a later --on.\n"
    )


def test_restrings_alone_give_a_ranking_and_a_forecast(tmp_path: Path) -> None:
    store = loaded(tmp_path, {}, without=("matches",))
    ranked = ask("rank", "--csv", "--store", store)
    assert (ranked.status, ranked.err) == (0, "")
    strung = [row for row in ranked.rows if NO_BED_NOTE not in row["why"]]
    assert {row["racket_id"] for row in strung} == {"R1", "R2"}
    for row in strung:
        chance = chances(row)
        assert all(0.0 <= value <= 1.0 for value in chance.values())
        assert math.isclose(chance["p_break"] + chance["p_feel"], chance["p_end"], abs_tol=2e-6)
    foreseen = ask("forecast", "--csv", "--weeks", 3, "--store", store)
    assert (foreseen.status, foreseen.err, len(foreseen.rows)) == (0, "", 3)
    assert all(0 <= float(row["p10"]) <= float(row["p50"]) <= float(row["p90"]) for row in foreseen.rows)


@pytest.mark.parametrize("command", ["rank", "forecast"])
def test_a_day_before_the_first_racket_is_said(tmp_path: Path, command: str) -> None:
    done = ask(command, "--csv", "--on", "2020-01-01", "--store", loaded(tmp_path, {}))
    assert (done.status, done.out) == (1, "")
    assert done.err == (
        "no racket was in service on 2020-01-01: the first is from 2026-01-01, so choose a later --on.\n"
    )


@pytest.mark.parametrize("command", ["rank", "forecast"])
@pytest.mark.parametrize("on", [[], ["--on", "2026-03-10"]])
def test_files_with_headers_alone_hold_nothing_to_work_on(tmp_path: Path, command: str, on: list[str]) -> None:
    store = loaded(tmp_path, HEADERS)
    done = ask(command, "--csv", *on, "--store", store)
    assert (done.status, done.out) == (1, "")
    assert done.err == f"{store} has no dated record yet: load restrings, matches or practices first.\n"


def test_play_without_rackets_on_file_is_said(tmp_path: Path) -> None:
    practices = "practice_id,player_id,played_on,activity,minutes\nT1,P1,2026-03-01,drills,60\n"
    files = {"rackets": HEADERS["rackets"], "restrings": HEADERS["restrings"], "practices": practices}
    done = ask("rank", "--store", loaded(tmp_path, files, without=("matches",)))
    assert (done.status, done.out, done.err) == (1, "", "no racket is on file: load rackets.csv first.\n")


def test_a_club_whose_rackets_are_all_retired_is_said(tmp_path: Path) -> None:
    rackets = (
        "racket_id,player_id,frame,mains,crosses,role,in_service_on,retired_on\n"
        "R1,P1,Frame A,16,19,match,2026-01-01,2026-04-01\nR2,P1,Frame A,16,19,match,2026-01-01,2026-04-01\n"
    )
    done = ask("rank", "--on", "2026-05-01", "--store", loaded(tmp_path, {"rackets": rackets}))
    assert (done.status, done.out) == (1, "")
    assert done.err.splitlines()[-1] == (
        "no racket was in service on 2026-05-01: all on file are retired or not in service yet; choose another --on."
    )


def test_a_squad_without_a_racket_is_said(tmp_path: Path) -> None:
    players = FILES["players"] + "P3,Cy Sample,Adults,club,flat\n"
    done = ask("rank", "--csv", "--squad", "Adults", "--store", loaded(tmp_path, {"players": players}))
    assert (done.status, done.out) == (1, "")
    assert done.err == "no racket of squad Adults is in service on 2026-03-10: choose another --squad or --on.\n"


def test_a_day_long_after_the_last_record_is_said_beside_the_ranking(tmp_path: Path) -> None:
    done = ask("rank", "--csv", "--on", "2026-03-25", "--store", loaded(tmp_path, {}))
    assert done.status == 0 and {row["racket_id"] for row in done.rows} == {"R1", "R2", "R3"}
    assert done.err == "The last record on file is of 2026-03-10: play and restrings since then are not known.\n"


def test_the_demo_does_not_take_a_file_for_its_folder(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("mine")
    done = ask("demo", "--no-serve", "--store", tmp_path / "taken")
    assert (done.status, done.out) == (1, "")
    assert done.err == f"{tmp_path / 'taken'} is a file and no folder: name another folder with --store.\n"


@pytest.mark.slow
@pytest.mark.parametrize(
    "settings",
    [["--players", "5"], ["--players", "5", "--kind", "restrings_only", "--units", "lb"], ["--kind", "new_club"]],
    ids=["five players", "five players, restrings alone, pounds", "three weeks of history"],
)
def test_an_invented_club_is_ranked_and_forecast(tmp_path: Path, settings: list[str]) -> None:
    maker = [sys.executable, str(ROOT / "sample_data" / "make_academy.py"), str(tmp_path / "files"), "--seed", "5"]
    subprocess.run([*maker, *settings], check=True, capture_output=True)
    store = tmp_path / "club"
    report = ask("load", tmp_path / "files", "--store", store, "--on", "2026-11-15", "--csv")
    assert report.status == 0 and sum(int(row["rejected"]) for row in report.rows) == 0
    ranked = ask("rank", "--days", 14, "--on", "2026-11-15", "--csv", "--store", store)
    assert (ranked.status, ranked.err) == (0, "")
    assert [int(row["rank"]) for row in ranked.rows] == list(range(1, len(ranked.rows) + 1))
    assert len({row["racket_id"] for row in ranked.rows}) == len(ranked.rows)
    for row in ranked.rows:
        assert row["why"]
        assert NO_BED_NOTE in row["why"] or all(0.0 <= value <= 1.0 for value in chances(row).values())
    foreseen = ask("forecast", "--weeks", 4, "--on", "2026-11-15", "--csv", "--store", store)
    assert (foreseen.status, foreseen.err, len(foreseen.rows)) == (0, "", 4)
    assert all(math.isfinite(float(row["mean"])) and float(row["mean"]) >= 0 for row in foreseen.rows)
