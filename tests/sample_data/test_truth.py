"""The truth beside a club (never inside it, one row a bed, the longer log begins as the shorter), and the settings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from sample_data.make_academy import main

ReadCsv = Callable[..., pd.DataFrame]
Club = Callable[..., Path]
Truth = Callable[[Path], Path]
REASON_OF = {"breaks": "broke", "mishit": "broke"}


def test_truth_lies_beside_the_club_and_only_when_asked(tmp_path: Path) -> None:
    main([str(tmp_path / "club"), "--players", "4", "--days", "40"])
    assert [path.name for path in tmp_path.iterdir()] == ["club"]
    main([str(tmp_path / "club"), "--players", "4", "--days", "40", "--truth"])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["club", "club-truth"]
    assert all(path.suffix == ".csv" for path in (tmp_path / "club").iterdir())


def test_same_seed_same_bytes_and_another_seed_another_club(tmp_path: Path) -> None:
    options = ["--players", "6", "--days", "60", "--after-days", "10", "--truth"]
    for name, seed in (("one", "5"), ("two", "5"), ("other", "6")):
        main([str(tmp_path / name), "--seed", seed, *options])
    one = {path.relative_to(tmp_path / "one"): path.read_bytes() for path in (tmp_path / "one").rglob("*.csv")}
    two = {path.relative_to(tmp_path / "two"): path.read_bytes() for path in (tmp_path / "two").rglob("*.csv")}
    assert one == two
    assert len(one) >= 12
    assert (tmp_path / "one-truth/state.csv").read_bytes() == (tmp_path / "two-truth/state.csv").read_bytes()
    assert (tmp_path / "one/restrings.csv").read_bytes() != (tmp_path / "other/restrings.csv").read_bytes()


def test_every_bed_has_one_ending(club: Club, read: ReadCsv, truth: Truth) -> None:
    endings = read(truth(club()), "endings")
    full = read(truth(club()) / "full", "restrings")
    assert list(endings["restring_id"]) and endings["restring_id"].is_unique
    assert set(endings["restring_id"]) == set(full["restring_id"])
    still = endings["true_cause"] == "still_in"
    assert (endings.loc[still, "ended_on"] == "").all()
    assert (endings.loc[~still, "ended_on"] >= endings.loc[~still, "strung_on"]).all()
    done = endings[endings["restrung_on"] != ""]
    assert (done["restrung_on"] >= done["ended_on"]).all()
    assert (done["ended_on"] != "").all()
    # a racket has one bed in at the end, unless it was retired or waits at the bench
    assert endings[still].groupby("racket_id").size().max() == 1


def test_reasons_on_file_are_the_true_ones_or_blank(club: Club, read: ReadCsv, truth: Truth) -> None:
    endings = read(truth(club()), "endings")
    restrings = read(truth(club()) / "full", "restrings")
    restrings["day"] = restrings["strung_on"].str[:10]
    true = endings[endings["restrung_on"] != ""].assign(reason_true=lambda t: t["true_cause"].replace(REASON_OF))
    both = true.merge(restrings, left_on=["racket_id", "restrung_on"], right_on=["racket_id", "day"])
    both = both[~both.duplicated(["racket_id", "restrung_on"], keep=False)]  # two beds in one day: broke on the machine
    known = both[~both["reason"].isin(["", "unknown"])]
    assert len(known) > 100
    assert (known["reason"] == known["reason_true"]).all()


def test_the_longer_log_begins_as_the_shorter(club: Club, read: ReadCsv, truth: Truth) -> None:
    folder = club()
    for name in ("restrings", "matches", "practices", "inspections"):
        short, full = read(folder, name), read(truth(folder) / "full", name)
        common = short.columns.difference(["paid_on"])
        pd.testing.assert_frame_equal(short[common], full[common].head(len(short)))
        assert len(full) > len(short)


def test_plans_reach_six_weeks_ahead_and_bench_hours_some(club: Club, read: ReadCsv) -> None:
    planned = read(club(), "calendar")["planned_on"].str[:10]
    assert "2026-12-20" <= planned.max() <= "2026-12-27"
    assert (planned < "2026-11-15").any()
    assert "2026-12-05" <= read(club(), "bench")["bench_on"].max() <= "2026-12-13"


def test_nothing_known_only_later_is_in_the_files(club: Club, read: ReadCsv) -> None:
    folder = club()
    for name, column in (("rackets", "retired_on"), ("players", "left_on"), ("orders", "received_on")):
        assert (read(folder, name)[column] <= "2026-11-15").all()
    assert (read(folder, "jobs")["state_on"] <= "2026-11-15").all()


def test_state_rises_over_a_beds_life(club: Club, read: ReadCsv, truth: Truth) -> None:
    states = read(truth(club()), "state").astype({"hours": float, "section_left": float, "stiffness_lost": float})
    for _, bed in states.groupby(["racket_id", "strung_on"]):
        assert bed["hours"].is_monotonic_increasing
        assert bed["section_left"].is_monotonic_decreasing
    assert states["section_left"].between(0, 1).all()
    assert states["stiffness_lost"].between(0, 1).all()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--players", "0"], "'0' is not a whole number of 1 or more"),
        (["--days", "-3"], "'-3' is not a whole number of 1 or more"),
        (["--share-unlogged", "20"], "20 % is 0.2"),
        (["--kind", "grand"], "invalid choice: 'grand'"),
        (["--until", "15.11.2026"], "15.11.2026"),
    ],
)
def test_wrong_settings_are_refused_in_words(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main([str(tmp_path / "club"), *options])
    assert stopped.value.code == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "club").exists()


@pytest.mark.parametrize("options", [["--players", "1", "--days", "1"], ["--players", "3", "--after-days", "0"]])
def test_the_smallest_clubs_are_clubs(options: list[str], tmp_path: Path, read: ReadCsv) -> None:
    main([str(tmp_path / "club"), *options, "--truth"])
    assert len(read(tmp_path / "club", "rackets")) >= 1
    assert (read(tmp_path / "club", "restrings")["reason"] == "first").any()


def test_files_of_an_earlier_club_do_not_stay(tmp_path: Path) -> None:
    main([str(tmp_path / "club"), "--players", "2", "--days", "30"])
    main([str(tmp_path / "club"), "--players", "2", "--days", "30", "--kind", "restrings_only"])
    assert len(list((tmp_path / "club").iterdir())) == 4
