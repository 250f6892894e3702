"""The trial itself, in small: forecasts of one club beat the rules of thumb, and the command prints its table.

The full trial is `python -m tests.trial.table`; its floors are not asserted here, since three origins of one club are
too few to judge by.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.trial.harness import judge_club
from tests.trial.kinds import generators, settings
from tests.trial.product import open_club
from tests.trial.table import main


@pytest.mark.slow
def test_a_clean_club_is_forecast_better_than_by_rules_of_thumb(tmp_path: Path) -> None:
    folder = tmp_path / "fatigue-clean-6"
    generators()["fatigue"](folder, seed=6, **settings("fatigue", "clean") | {"players": 24})
    figures = judge_club(folder, "fatigue", "clean", 3, open_club, draws=500).figures()
    assert figures["endings"] >= 30
    assert figures["auc"] > max(figures["auc_days"], figures["auc_hours"], figures["auc_rule"]) + 0.1
    assert figures["skill"] > max(0.1, figures["skill_days"])
    assert figures["crps_ratio"] < figures["crps_rule"]


def test_the_command_prints_a_line_for_each_club_and_pool(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "compartment-clean-2"
    generators()["compartment"](folder, seed=2, **settings("compartment", "clean") | {"players": 8, "days": 300})
    assert main(["--clubs", str(folder), "--origins", "2", "--draws", "200", "--csv", str(tmp_path / "out.csv")]) == 0
    text = capsys.readouterr().out
    assert text.splitlines()[0].split()[:4] == ["club", "beds", "ended", "AUC"]
    assert "compartment-clean-2" in text and "all compartment" in text and "all 1 clubs" in text
    assert len((tmp_path / "out.csv").read_text(encoding="utf-8").splitlines()) == 5


def test_the_command_says_what_to_give_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--clubs", str(tmp_path / "nowhere")]) == 2
    assert "-truth folder" in capsys.readouterr().err
