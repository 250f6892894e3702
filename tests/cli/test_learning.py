"""`racket-fleet learn`: what is in force, since when, on what evidence; and the way back to the trade values."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.fleet.kept_fit import kept_fit
from pipeline.store import Store
from pipeline.wear.decision import FILE
from tests.fleet.club_files import write_files

run = CliRunner().invoke


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("learning")
    write_files(folder / "files", players=10, weeks=40)
    result = run(app, ["load", str(folder / "files"), "--store", str(folder / "club")])
    assert result.exit_code == 0, result.output
    return folder / "club"


def learned(store: Path, *options: str) -> pd.DataFrame:
    result = run(app, ["learn", "--csv", "--store", str(store), *options])
    assert result.exit_code == 0, result.output
    return pd.read_csv(io.StringIO(result.stdout)).set_index("name")


def test_what_was_learned_has_a_band_a_day_and_evidence(store: Path) -> None:
    table = learned(store)
    shape = table.loc["shape_goes_dead"]
    assert shape["value_p05"] < shape["value"] < shape["value_p95"]
    assert str(shape["since"]).startswith("20")
    assert "held-out weeks" in shape["evidence"]
    still = table.loc["strung_part_of_pull"]
    assert still["value"] == still["trade_value"] and pd.isna(still["value_p05"])


def test_trade_values_stay_until_learn_is_run_again(store: Path) -> None:
    table = learned(store, "--trade-values")
    assert table.loc["shape_goes_dead", "value"] == table.loc["shape_goes_dead", "trade_value"]
    club = Store(store)
    assert run(app, ["refresh", "--store", str(store)]).exit_code == 0
    kept = kept_fit(club)
    assert kept is not None and kept.by_hand
    for view in store.glob("view-*.duckdb"):
        view.unlink()
    assert run(app, ["refresh", "--store", str(store)]).exit_code == 0, "a view may be deleted at any time"
    kept = kept_fit(club)
    assert kept is not None and kept.by_hand, "the decision does not live in the view"
    ranked = run(app, ["rank", "--on", "2026-03-01", "--store", str(store)])
    assert ranked.exit_code == 0, ranked.output
    again = learned(store)
    assert again.loc["shape_goes_dead", "value"] != again.loc["shape_goes_dead", "trade_value"]
    assert not (store / FILE).exists()


def test_on_a_day_nothing_is_changed(store: Path) -> None:
    before = kept_fit(Store(store))
    learned(store, "--on", "2026-02-01")
    after = kept_fit(Store(store))
    assert before is not None and after is not None and before.as_of == after.as_of
    refused = run(app, ["learn", "--trade-values", "--on", "2026-02-01", "--store", str(store)])
    assert refused.exit_code == 2


def test_a_decision_that_cannot_be_read_is_said(store: Path) -> None:
    (store / FILE).write_text("{", encoding="utf-8")
    result = run(app, ["rank", "--store", str(store)])
    assert result.exit_code == 1
    assert "run `racket-fleet learn`" in result.output
    assert run(app, ["learn", "--store", str(store)]).exit_code == 0
    assert not (store / FILE).exists()


def test_a_new_club_runs_on_trade_values_and_says_so(tmp_path: Path) -> None:
    write_files(tmp_path / "files", players=4, weeks=3)
    assert run(app, ["load", str(tmp_path / "files"), "--store", str(tmp_path / "club")]).exit_code == 0
    result = run(app, ["learn", "--store", str(tmp_path / "club")])
    assert result.exit_code == 0
    assert result.stdout.startswith("Runs on trade values")
    assert "too few to learn from" in result.stdout
