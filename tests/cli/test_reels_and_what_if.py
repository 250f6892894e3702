"""The commands reels and what-if: their columns, their words, and what they refuse."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import duckdb
import openpyxl
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.refresh import refresh
from pipeline.store import Store
from pipeline.store.publishing import view_path
from tests.fleet.club_files import write_files
from tests.small_club import NOW


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of a club of sixteen weeks."""
    given = tmp_path_factory.mktemp("commands")
    store = Store(given / "store")
    store.load(write_files(given / "files"), now=NOW)
    return store.folder


def run(*words: str, folder: Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, [*words, "--store", str(folder)])
    return done.exit_code, done.stdout, done.stderr


def test_reels_prints_plain_csv(folder: Path) -> None:
    status, out, _ = run("reels", "--csv", "--weeks", "8", "--service", "0.9", folder=folder)
    rows = list(csv.DictReader(io.StringIO(out)))
    assert status == 0
    assert list(rows[0]) == [
        "string_id", "stock_m", "need_p50_m", "need_p90_m", "run_out_p50", "order_by", "reels", "cost",
    ]  # fmt: skip
    for row in rows:
        assert float(row["cost"]) == 90 * int(row["reels"])


def test_reels_says_what_to_order_and_what_was_never_counted(folder: Path, tmp_path: Path) -> None:
    status, out, err = run("reels", "--xlsx", str(tmp_path / "orders.xlsx"), folder=folder)
    assert status == 0
    assert "not to run out with a chance of 95%; cost in EUR." in out
    assert "Order " in out and "The season's string is likely to cost €" in out
    assert "has never been counted, so the shelf is taken as empty: write down a count." in err
    assert openpyxl.load_workbook(tmp_path / "orders.xlsx").sheetnames[0] == "Orders"


@pytest.mark.parametrize("words", [("reels", "--weeks", "4"), ("what-if", "--every-hours", "5", "--draws", "60")])
def test_a_view_of_another_program_does_no_harm(folder: Path, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Neither command takes a number from it, and a fit in it that cannot be read is made anew."""
    older = Store(shutil.copytree(folder, tmp_path / "older"))
    refresh(older, now=NOW)
    with duckdb.connect(str(view_path(older.folder, int(older.view_version or 0)))) as con:
        con.execute("delete from meta where key in ('view_format', 'as_of')")
        con.execute("alter table fitted rename column kept to held")
    status, _, err = run(*words, folder=older.folder)
    assert status == 0, err


def test_reels_refuses_a_file_it_cannot_write(folder: Path, tmp_path: Path) -> None:
    status, _, err = run("reels", "--weeks", "4", "--xlsx", str(tmp_path / "no" / "orders.xlsx"), folder=folder)
    assert status == 1 and "orders.xlsx cannot be written: No such file or directory; choose another --xlsx." in err


def test_what_if_prints_plain_csv(folder: Path) -> None:
    words = ("what-if", "--squad", "U16", "--every-hours", "5", "--weeks", "8", "--draws", "60", "--csv")
    status, out, _ = run(*words, folder=folder)
    rows = list(csv.DictReader(io.StringIO(out)))
    assert status == 0
    assert list(rows[0]) == ["measure", "unit", "now", "then", "change", "change_p10", "change_p90"]
    assert float(rows[0]["change"]) > 0


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        ((), 1, "nothing would change: choose another string, gauge or restring policy."),
        (("--squad", "U61", "--gauge", "1.3"), 1, "squad U61 has no strung racket on file: did you mean U1"),
        (("--string", "pol"), 1, "string pol is not on file: did you mean poly?"),
        (("--squad", "U16", "--player", "P00"), 2, "give --squad or --player, not both."),
        (("--every-hours", "5", "--before-events"), 2, "give one of --every-hours, --at-life and --before-events."),
    ],
)
def test_what_if_refuses_in_a_sentence(folder: Path, words: tuple[str, ...], status: int, sentence: str) -> None:
    found, _, err = run("what-if", *words, folder=folder)
    assert found == status and sentence in " ".join(err.replace("│", " ").split())
