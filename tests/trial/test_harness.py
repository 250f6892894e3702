"""The trial harness on a hand-made club: which beds count, what came true, and that good forecasts score well."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.trial import rules_of_thumb
from tests.trial.harness import Forecaster, OpenClub, judge_club, pool
from tests.trial.kinds import generators
from tests.trial.records import Club, match_minutes, read_club
from tests.trial.table import heading, line, pooled

ORIGIN = date(2026, 5, 10)
FILES = {
    "players": "player_id,player_name,squad,level,spin,left_on\nP1,A,S,club,flat,\nP2,B,S,club,heavy,2026-05-01\n",
    "rackets": "racket_id,player_id,frame,mains,crosses,role,in_service_on,retired_on\n"
    "R1,P1,F,16,19,match,2026-01-01,\nR2,P1,F,16,19,match,2026-01-01,\nR3,P1,F,16,19,spare,2026-01-01,2026-05-10\n"
    "R4,P2,F,16,19,match,2026-01-01,\nR5,P1,F,16,19,spare,2026-01-01,2026-05-20\n",
    "restrings": "restring_id,racket_id,strung_on,reason\n"
    "1,R1,2026-05-01,first\n2,R2,2026-05-01,first\n3,R3,2026-05-01,first\n4,R4,2026-05-01,first\n5,R5,2026-05-10,first\n"
    "6,R1,2026-05-13T18:00,broke\n7,R2,2026-05-11,broke\n8,R1,2026-06-20,scheduled\n",
    "practices": "practice_id,player_id,squad,played_on,racket_id,activity,minutes,absent\n"
    "1,P1,,2026-05-02,R1,drills,60,\n2,P1,,2026-05-03,,drills,90,\n3,,S,2026-05-04,,drills,90,P2\n4,P1,,2026-05-11,R1,drills,600,\n",
}
TRUTH = (
    "racket_id,player_id,strung_on,ended_on,restrung_on,true_cause\n"
    "R1,P1,2026-05-01,2026-05-12,2026-05-13,mishit\nR1,P1,2026-05-13,2026-05-25,2026-06-20,lost_feel\nR1,P1,2026-06-20,,,still_in\n"
    "R2,P1,2026-05-01,2026-05-10,2026-05-11,breaks\nR2,P1,2026-05-11,,,still_in\nR3,P1,2026-05-01,,,still_in\n"
    "R4,P2,2026-05-01,,,still_in\nR5,P1,2026-05-10,2026-05-24,,lost_feel\n"
)


@pytest.fixture
def club(tmp_path: Path) -> Club:
    for name, text in FILES.items():
        (tmp_path / "c").mkdir(exist_ok=True)
        (tmp_path / "c" / f"{name}.csv").write_text(text, encoding="utf-8")
    (tmp_path / "c-truth").mkdir()
    (tmp_path / "c-truth" / "endings.csv").write_text(TRUTH, encoding="utf-8")
    return read_club(tmp_path / "c")


def test_beds_in_play_at_the_origin(club: Club) -> None:
    """R2 broke before, R3 is retired, R4's player has left; R5 was strung that day and is in."""
    beds = club.beds(ORIGIN)
    assert beds["racket_id"].tolist() == ["R1", "R5"]
    assert club.outcome(beds, ORIGIN, 14).tolist() == [True, True]
    assert club.outcome(beds, ORIGIN, 13).tolist() == [True, False]
    assert club.outcome(beds, date(2026, 5, 12), 14).tolist() == [False, True]


def test_jobs_by_week_start_the_day_after(club: Club) -> None:
    assert club.jobs_by_week(ORIGIN, 4) == [2, 0, 0, 0]
    assert club.jobs_by_week(date(2026, 5, 13), -2) == [0, 2]


def test_rules_of_thumb_by_hand(club: Club) -> None:
    beds = club.beds(ORIGIN)
    assert rules_of_thumb.days_since_strung(beds, ORIGIN).tolist() == [9.0, 0.0]
    # R1: an hour of its own, half of 90 minutes on 3 May and half of the squad's 90 on 4 May; nothing from the 11th
    assert rules_of_thumb.raw_hours(club, beds, ORIGIN).tolist() == [2.5, 0.0]
    assert rules_of_thumb.times_a_week(club, beds, ORIGIN)[0] == pytest.approx(9 * (3 / 8) / 365)
    assert rules_of_thumb.recent_average(club, date(2026, 5, 13), 2).shape == (8, 2)


def test_match_minutes_come_from_the_games_if_need_be() -> None:
    assert match_minutes(pd.Series({"minutes": "80", "score": "6-4 6-4"})) == 80
    assert match_minutes(pd.Series({"minutes": None, "score": "6-4 7-6(4)"})) == pytest.approx(4.5 * 27)


class Seer:
    """Knows the truth, as no product can; or its opposite."""

    def __init__(self, club: Club, origin: date, is_wise: bool) -> None:
        self.club, self.origin, self.is_wise = club, origin, is_wise

    def rank(self, days: int) -> pd.DataFrame:
        beds = self.club.beds(self.origin)
        ends = self.club.outcome(beds, self.origin, days).astype(float)
        return beds.assign(p_end=ends if self.is_wise else 1 - ends)

    def forecast_draws(self, weeks: int, draws: int, seed: int) -> np.ndarray:
        real = np.array(self.club.jobs_by_week(self.origin, weeks))
        return np.tile(real if self.is_wise else real + 30, (draws, 1))


def opener(is_wise: bool) -> OpenClub:
    @contextmanager
    def open_club(folder: Path) -> Iterator[Callable[[date], Forecaster]]:
        club = read_club(folder)
        yield lambda origin: Seer(club, origin, is_wise)

    return open_club


def test_a_seer_scores_best_and_a_fool_misses_every_floor(tmp_path: Path) -> None:
    folder = tmp_path / "fatigue-clean-1"
    generators()["fatigue"](folder, seed=1, players=10, days=240)
    wise = judge_club(folder, "fatigue", "clean", 2, opener(True), draws=50)
    figures = wise.figures()
    assert (figures["auc"], figures["skill"], figures["ratio"], figures["crps"]) == (1.0, 1.0, 1.0, 0.0)
    fool = judge_club(folder, "fatigue", "clean", 2, opener(False), draws=50)
    assert fool.figures()["auc"] == 0.0
    assert fool.misses() == {"auc", "ratio", "coverage", "crps_ratio"}
    both = pool("both", [wise, fool])
    assert len(both.beds) == len(wise.beds) + len(fool.beds)
    assert heading().count("AUC") == 1 and "0.000!" in line(fool)
    assert [v.name for v in pooled([wise])] == ["all fatigue", "kind clean (1 clubs)", "all 1 clubs"]
