"""The trial's clubs: seeded, of the kind they are said to be, and of magnitudes that a coach would recognise.

Magnitudes are common practice: polyester is given up after 4-20 h, soft strings break after 8-10 h under hard hitters,
so that 110 rackets bring some 15-35 jobs a week in term.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest

from pipeline.store import Store
from tests.trial.csv_folder import write_file
from tests.trial.kinds import generators, settings
from tests.trial.records import read_club, read_table

GENERATORS = ("fatigue", "compartment", "strokes", "strands")


@pytest.fixture(scope="module", params=GENERATORS)
def club(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clubs") / f"{request.param}-clean-7"
    generators()[request.param](folder, seed=7, **settings(request.param, "clean"))
    return folder


@pytest.mark.parametrize("name", GENERATORS)
def test_same_seed_same_files_other_seed_other_files(name: str, tmp_path: Path) -> None:
    for folder, seed in (("a", 3), ("b", 3), ("c", 4)):
        generators()[name](tmp_path / folder, seed=seed, players=6, days=60)
    texts = {f: [(p.name, p.read_bytes()) for p in sorted((tmp_path / f).iterdir())] for f in "abc"}
    assert texts["a"] == texts["b"] != texts["c"]
    assert (tmp_path / "a-truth" / "endings.csv").read_bytes() == (tmp_path / "b-truth" / "endings.csv").read_bytes()


@pytest.mark.parametrize("kind", ["default", "large", "inspected"])
@pytest.mark.parametrize("name", GENERATORS)
def test_files_keep_the_contract(name: str, kind: str, tmp_path: Path) -> None:
    """Loaded through the store: nothing is rejected, nothing mended."""
    wanted = settings(name, kind) | {"days": 150}
    generators()[name](tmp_path / "club", seed=5, **wanted)
    store = Store(tmp_path / "store")
    report = store.load([tmp_path / "club"], now=datetime(2027, 1, 15))
    rejects = store.rejects(with_mended=True)
    assert rejects.empty, rejects[["file", "line", "message"]].head().to_string()
    assert report.total("read") == report.total("new") > 1000


def test_truth_has_one_row_for_each_stringing(club: Path) -> None:
    known = read_club(club)
    strung = known.tables["restrings"][["racket_id", "strung_on"]]
    both = strung.merge(known.endings[["racket_id", "strung_on"]], how="outer", indicator=True)
    assert not both.duplicated().any()
    assert (both["_merge"] == "both").all()


@pytest.mark.parametrize("name", GENERATORS)
@pytest.mark.parametrize("seed", [8, 11])
def test_nothing_has_happened_after_the_last_day(name: str, seed: int, tmp_path: Path) -> None:
    """Only plans lie ahead: calendar rows."""
    until = date(2026, 11, 15)
    generators()[name](tmp_path / "club", seed=seed, days=200, until=until)
    known = read_club(tmp_path / "club")
    assert known.last_day == until
    for table, column in (("restrings", "strung_on"), ("rackets", "in_service_on"), ("rackets", "retired_on")):
        frame = known.tables[table]
        assert column not in frame or frame[column].max() <= pd.Timestamp(until)
    assert read_table(tmp_path / "club" / "calendar.csv")["planned_on"].max() > str(until)


def test_beds_end_after_they_are_strung_and_before_the_next_is_in(club: Path) -> None:
    ends = read_club(club).endings
    assert (ends["ended_on"].dropna() >= ends.loc[ends["ended_on"].notna(), "strung_on"]).all()
    again = ends[ends["restrung_on"].notna()]
    assert (again["restrung_on"] >= again["ended_on"]).all()
    following = ends.sort_values(["racket_id", "strung_on"]).groupby("racket_id")["strung_on"].shift(-1)
    assert (following.loc[again.index] == again["restrung_on"]).all()


def test_a_bed_that_is_over_is_not_played(club: Path) -> None:
    known = read_club(club)
    named = known.play[known.play["racket_id"].notna()].merge(known.endings, on="racket_id")
    between = (
        (named["played_on"] > named["ended_on"])
        & ((named["played_on"] < named["restrung_on"]) | named["restrung_on"].isna())
        & named["ended_on"].notna()
    )
    assert not between.any()


def test_jobs_and_lives_are_of_the_usual_size(club: Path) -> None:
    known = read_club(club)
    assert 90 <= len(known.tables["rackets"]) <= 150
    term = known.jobs_by_week(date(2026, 7, 5), -9)
    assert 12 <= sum(term) / len(term) <= 38
    outings = known.play.groupby("player_id")["minutes"].sum() / 60
    assert 3 <= outings.median() / 73 <= 14


@pytest.mark.parametrize("name", GENERATORS)
def test_practices_lose_their_racket_as_often_as_asked(name: str, tmp_path: Path) -> None:
    """Counted by player and session; a squad's sheet counts once for each who was there."""
    for share in (0.15, 0.7, 0.9):
        folder = tmp_path / f"{name}-{share}"
        generators()[name](folder, seed=2, share_without_racket=share)
        known = read_club(folder)
        practices = known.play.iloc[len(known.tables["matches"]) :]
        assert practices["racket_id"].isna().mean() == pytest.approx(share, abs=0.06)
        assert known.tables["matches"]["racket_id"].notna().all()


@pytest.mark.parametrize("name", GENERATORS)
def test_messy_clubs_forget_sessions_and_reasons(name: str, tmp_path: Path) -> None:
    for kind in ("clean", "messy"):
        generators()[name](tmp_path / kind, seed=2, **settings(name, kind))
    clean, messy = read_club(tmp_path / "clean"), read_club(tmp_path / "messy")
    assert len(messy.play) / len(clean.play) == pytest.approx(0.8, abs=0.03)
    reasons = messy.tables["restrings"]["reason"]
    old = reasons != "first"
    assert (reasons[old].isna() | (reasons[old] == "unknown")).mean() == pytest.approx(0.25, abs=0.05)
    pd.testing.assert_frame_equal(clean.endings, messy.endings)  # the log is messy, the truth is the same


@pytest.mark.parametrize("name", GENERATORS)
def test_looking_alone_changes_nothing(name: str, tmp_path: Path) -> None:
    """Clean, inspected and wrongly graded clubs of one seed share their truth, so that only what was seen differs."""
    ends = {}
    for kind in ("clean", "inspected", "misgraded"):
        generators()[name](tmp_path / kind, seed=2, players=12, **settings(name, kind))
        ends[kind] = read_club(tmp_path / kind).endings
    pd.testing.assert_frame_equal(ends["clean"], ends["inspected"])
    pd.testing.assert_frame_equal(ends["clean"], ends["misgraded"])
    seen, wrong = (pd.read_csv(tmp_path / kind / "inspections.csv") for kind in ("inspected", "misgraded"))
    assert len(seen) == len(wrong) > 200
    assert not seen["misalignment"].equals(wrong["misalignment"])


@pytest.mark.parametrize("name", GENERATORS)
def test_pounds_and_required_files_only(name: str, tmp_path: Path) -> None:
    generators()[name](tmp_path / "lb", seed=1, players=5, days=40, units="lb", only_required=True)
    assert {p.stem for p in (tmp_path / "lb").iterdir()} == {"players", "rackets", "strings", "restrings"}
    pull = pd.read_csv(tmp_path / "lb" / "restrings.csv")
    assert "mains_kg" not in pull.columns
    assert pull["mains_lb"].between(44, 64).all()


def test_unknown_kinds_settings_and_columns_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no kind 'tidy'"):
        settings("fatigue", "tidy")
    with pytest.raises(TypeError, match="gravity"):
        generators()["fatigue"](tmp_path / "x", seed=1, gravity=2.0)
    with pytest.raises(ValueError, match="no such column: colour"):
        write_file(tmp_path, "rackets", [{"racket_id": "R1", "colour": "red"}])
