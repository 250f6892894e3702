"""The committed sample: it is what the program makes, keeps the contract to the last row, and describes itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import frictionless
import pandas as pd
import pytest

import sample_data
from pipeline.store import Store
from sample_data.make_academy import KINDS
from tests.sample_data.describe_sample import as_text, describe

SAMPLE = Path(sample_data.__file__).parent
LOADED_AT = datetime(2026, 11, 16, 8, tzinfo=UTC)
ReadCsv = Callable[..., pd.DataFrame]
Club = Callable[..., Path]


def test_program_makes_the_committed_files(academy: Path, read: ReadCsv) -> None:
    """People, strings, bench to the letter; other rows within 3 %: processors may round a last digit differently."""
    assert {path.name for path in SAMPLE.glob("*.csv")} == {path.name for path in academy.glob("*.csv")}
    for name in ("players", "strings", "bench"):
        pd.testing.assert_frame_equal(read(SAMPLE, name), read(academy, name))
    for path in academy.glob("*.csv"):
        made, committed = read(academy, path.stem), read(SAMPLE, path.stem)
        assert list(made.columns) == list(committed.columns)
        assert len(made) == pytest.approx(len(committed), rel=0.03, abs=8)


def test_descriptor_is_the_contract_cut_to_the_files() -> None:
    committed = (SAMPLE / "datapackage.json").read_text(encoding="utf-8")
    assert committed == as_text(describe(SAMPLE)), "run: python -m tests.sample_data.describe_sample"


def test_sample_is_a_valid_data_package() -> None:
    # held against a general-purpose reference library: frictionless
    report = frictionless.validate(str(SAMPLE / "datapackage.json"))
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "type"])
    assert len(report.tasks) == 14


def test_sample_holds_the_bench_and_plans_of_the_cut(read: ReadCsv) -> None:
    jobs = read(SAMPLE, "jobs")
    assert set(jobs.loc[jobs["state"] != "handed_back", "state"]) & {"due", "booked", "on_bench", "strung"}
    assert read(SAMPLE, "calendar")["planned_on"].max() > "2026-12-20"


def load(folder: Path, store_folder: Path) -> Store:
    store = Store(store_folder)
    report = store.load([folder], now=LOADED_AT)
    assert not report.refused
    assert report.total("read") > 0
    return store


def test_store_takes_every_row_of_the_sample(tmp_path: Path) -> None:
    assert load(SAMPLE, tmp_path / "store").rejects().empty


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_store_takes_every_row_of_every_kind(kind: str, club: Club, tmp_path: Path) -> None:
    rejects = load(club(kind), tmp_path / "store").rejects()
    assert rejects.empty, rejects.head().to_string()


@pytest.mark.parametrize("options", [("--units", "lb"), ("--only-required",), ("--inspect-every", "14")])
def test_store_takes_every_row_whatever_is_asked(options: tuple[str, ...], club: Club, tmp_path: Path) -> None:
    rejects = load(club("academy", *options), tmp_path / "store").rejects()
    assert rejects.empty, rejects.head().to_string()


def test_a_clean_log_raises_no_question(club: Club, tmp_path: Path) -> None:
    assert load(club("clean"), tmp_path / "store").questions().empty
