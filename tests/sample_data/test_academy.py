"""The full academy looks like one: its size, its weeks, its blemishes.

Ranges are common practice unless a source stands beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd

from sample_data.roster import FAMILY_END, FAMILY_START, GIVEN, SQUADS

ReadCsv = Callable[..., pd.DataFrame]
Truth = Callable[[Path], Path]


def test_size(academy: Path, read: ReadCsv) -> None:
    players, rackets = read(academy, "players"), read(academy, "rackets")
    assert players["player_id"].nunique() == 40
    assert set(players["squad"]) == set(SQUADS)
    assert 100 <= len(rackets) <= 120
    played = read(academy, "practices")["played_on"].str[:10]
    assert (played.min(), played.max()) == ("2025-09-17", "2026-11-15")
    assert sum(path.stat().st_size for path in academy.iterdir()) < 3_000_000


def test_weekly_work_in_term_and_in_the_holidays(academy: Path, read: ReadCsv) -> None:
    table = read(academy, "restrings")
    jobs = pd.to_datetime(table.loc[table["reason"] != "first", "strung_on"], format="mixed").dt.to_period("W-SUN")
    weekly = jobs.value_counts().sort_index()
    term = weekly["2026-04-20":"2026-07-05"]  # type: ignore[misc]
    assert 15 <= term.mean() <= 35
    assert weekly.loc["2025-12-22":"2026-01-04"].mean() < 0.6 * term.mean()  # type: ignore[misc]


def test_beds_live_as_long_as_beds_do(academy: Path, read: ReadCsv, truth: Truth) -> None:
    beds = read(truth(academy), "endings").merge(read(truth(academy) / "full", "restrings"), on="restring_id")
    beds["hours"] = beds["true_hours"].astype(float)
    mains = beds["mains_string_id"].map(read(academy, "strings").set_index("string_id")["material"])
    # a dead bed, mostly polyester: 2-20 h (Lindsey 2013, part 1)
    dead = beds.loc[(beds["true_cause"] == "lost_feel") & (mains == "polyester"), "hours"]
    assert 6 <= dead.median() <= 20
    soft = beds.loc[(beds["true_cause"] == "breaks") & mains.isin(["multifilament", "synthetic_gut"]), "hours"]
    assert 8 <= soft.median() <= 30
    # polyester usually goes dead long before it breaks (common practice)
    polyester = beds[mains == "polyester"]["true_cause"].value_counts()
    assert polyester["lost_feel"] > polyester["breaks"]
    # mishits are rare (common practice)
    assert 0.01 <= (beds["true_cause"] == "mishit").mean() <= 0.10


def test_jobs_wait_some_days(academy: Path, read: ReadCsv) -> None:
    jobs = read(academy, "jobs").merge(read(academy, "restrings")[["restring_id", "strung_on"]], on="restring_id")
    waited = (pd.to_datetime(jobs["strung_on"].str[:10]) - pd.to_datetime(jobs["handed_in_on"])).dt.days
    assert waited.min() == 0
    assert waited.quantile(0.95) <= 4


def test_the_stories_are_there(academy: Path, read: ReadCsv) -> None:
    players, rackets = read(academy, "players"), read(academy, "rackets")
    assert (players["since"] != "").sum() >= 3  # levels, spins, squads that change, and one who joined
    assert (rackets["retired_on"] != "").any()
    strung = set(read(academy, "restrings")["racket_id"])
    assert 1 <= len(set(rackets["racket_id"]) - strung) <= 3  # no restring on file
    twins = rackets.groupby(["player_id", "frame"])["marking"].nunique()
    assert (twins > 1).any()  # identical frames told apart by a marking
    assert set(rackets["role"]) == {"match", "spare", "loan"}
    holders = read(academy, "holders").merge(rackets[["racket_id", "player_id", "role"]], on="racket_id")
    moved = holders[(holders["role"] != "loan") & (holders["player_id_x"] != holders["player_id_y"])]
    assert len(moved) >= 1  # changed hands
    assert (holders["role"] == "loan").any()  # lent out
    restrings = read(academy, "restrings")
    assert (restrings["mains_string_id"] != restrings["crosses_string_id"]).any()  # hybrids
    assert (restrings["strung_at"] == "elsewhere").any()
    matches = read(academy, "matches")
    assert matches.duplicated(["match_id", "player_id"]).any()  # two rackets in one match
    assert ((matches["minutes"] == "") & (matches["score"] != "")).any()
    surfaces = matches.assign(month=matches["played_on"].str[5:7])
    assert (surfaces.loc[surfaces["month"] == "07", "surface"] == "clay").mean() > 0.5
    assert not (surfaces.loc[surfaces["month"] == "01", "surface"] == "clay").any()
    calendar = read(academy, "calendar")
    assert {"closed", "singles", "drills"} <= set(calendar["activity"])
    assert (calendar["cancelled"] == "yes").any()
    assert (calendar["fresh_rackets"] != "").any()


def test_scores_are_scores(academy: Path, read: ReadCsv) -> None:
    for score in read(academy, "matches")["score"]:
        for one in score.split():
            own, other = (int(side.split("(")[0]) for side in one.split("-"))
            assert own != other
            assert max(own, other) in (6, 7, 10)


def test_names_are_made_up(academy: Path, read: ReadCsv) -> None:
    families = {start + end for start in FAMILY_START for end in FAMILY_END}
    for name in read(academy, "players")["player_name"]:
        given, family = name.split()[:2]
        assert given in GIVEN
        assert family in families
