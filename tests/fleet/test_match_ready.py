"""Match-ready: the chance that enough of a player's rackets last through an event."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.match_ready import COLUMNS, CSV_COLUMNS, _on_day, lasts_through, match_ready
from pipeline.fleet.outlook import prob_dead
from pipeline.fleet.snapshot import Snapshot, snapshot
from tests.fleet.clubs import ORIGIN, academy, break_racket, hand_in, plan
from tests.sql.club_rows import put

DRAWS = 400


def days(n: int) -> date:
    return ORIGIN + timedelta(days=n)


def club() -> duckdb.DuckDBPyConnection:
    """Six players with two rackets each, and events for the squad U16."""
    con = academy(players=6, weeks=20)
    plan(con, days(3), activity="singles", event="Soon", fresh_rackets=1)
    plan(con, days(3), activity="singles", event="Soon for two", fresh_rackets=2)
    plan(con, days(3), activity="singles", event="Soon for three", fresh_rackets=3)
    plan(con, days(3), activity="singles", event="Soon and long", fresh_rackets=2, until_on=str(days(9)))
    plan(con, days(5), activity="doubles", event="Not said how many")
    plan(con, days(60), activity="singles", event="Too far", fresh_rackets=1)
    return con


@pytest.fixture(scope="module")
def made() -> Snapshot:
    return snapshot(club(), ORIGIN)


@pytest.fixture(scope="module")
def ready(made: Snapshot) -> pd.DataFrame:
    return match_ready(made, weeks=3, draws=DRAWS)


def chances(ready: pd.DataFrame, event: str) -> pd.Series:
    return ready[ready["event"] == event].set_index("player_id")["prob_enough"]


def test_one_row_an_event_and_player_of_the_squad(ready: pd.DataFrame) -> None:
    assert tuple(ready.columns) == COLUMNS
    assert set(CSV_COLUMNS) <= set(COLUMNS)
    assert set(ready["squad"]) == {"U16"}
    assert ready.groupby("event")["player_id"].apply(list).map(len).eq(3).all()
    assert "Too far" not in set(ready["event"]), "an event that ends after the weeks asked for is left out"
    assert ready["prob_enough"].between(0, 1).all()
    assert (ready["ready"] <= 2).all()


def test_an_event_that_names_no_number_needs_one(ready: pd.DataFrame) -> None:
    assert set(ready.loc[ready["event"] == "Not said how many", "needed"]) == {1}


def test_more_needed_is_never_likelier_and_more_than_there_are_is_impossible(ready: pd.DataFrame) -> None:
    one, two, three = (chances(ready, event) for event in ("Soon", "Soon for two", "Soon for three"))
    assert (one >= two).all() and (one > two).any()
    assert (three == 0).all()


def test_a_longer_event_is_never_likelier(ready: pd.DataFrame) -> None:
    """The same draws, so this holds exactly and not only on average."""
    assert (chances(ready, "Soon for two") >= chances(ready, "Soon and long")).all()


def test_the_same_seed_gives_the_same_numbers(made: Snapshot, ready: pd.DataFrame) -> None:
    again = match_ready(made, weeks=3, draws=DRAWS)
    pd.testing.assert_frame_equal(again, ready)


def test_broken_rackets_count_once_restrung() -> None:
    con = club()
    for racket in ("P00-1", "P00-2"):
        break_racket(con, racket)
    plan(con, days(1), activity="singles", event="Tomorrow", fresh_rackets=1)
    plan(con, days(20), activity="singles", event="Later", fresh_rackets=1)
    found = match_ready(snapshot(con, ORIGIN), weeks=3, draws=DRAWS)
    tomorrow, soon, later = (chances(found, event)["P00"] for event in ("Tomorrow", "Soon", "Later"))
    assert tomorrow < 0.5, "at best restrung overnight"
    assert tomorrow <= soon + 0.05
    assert later > tomorrow
    assert later > 0.6
    assert chances(found, "Tomorrow")["P02"] > 0.9, "the other players' rackets are as they were"


def test_a_racket_at_the_bench_is_no_racket_for_tomorrow() -> None:
    con = club()
    plan(con, days(1), activity="singles", event="Tomorrow", fresh_rackets=2)
    before = chances(match_ready(snapshot(con, ORIGIN), weeks=2, draws=DRAWS), "Tomorrow")
    best = str(before.idxmax())
    hand_in(con, f"{best}-1", "lost_feel")
    after = chances(match_ready(snapshot(con, ORIGIN), weeks=2, draws=DRAWS), "Tomorrow")
    assert after[best] < 0.5 * before[best]


def test_a_player_of_ones_own_and_a_player_without_a_racket() -> None:
    con = club()
    put(con, "players", [{"player_id": "P99", "player_name": "New", "squad": "U16", "level": "club", "spin": "flat"}])
    plan(con, days(4), squad=None, player_id="P01", activity="singles", event="Open", fresh_rackets=1)
    found = match_ready(snapshot(con, ORIGIN), weeks=2, draws=DRAWS)
    assert list(found.loc[found["event"] == "Open", "player_id"]) == ["P01"]
    new = found[(found["player_id"] == "P99") & (found["event"] == "Soon")].iloc[0]
    assert (new["ready"], new["prob_enough"], new["worst_racket"]) == (0, 0.0, None)


def test_nothing_planned_is_an_empty_frame() -> None:
    found = match_ready(snapshot(academy(players=3, weeks=8), ORIGIN), weeks=2, draws=DRAWS)
    assert found.empty and tuple(found.columns) == COLUMNS


def test_the_worst_racket_is_the_one_least_likely_to_last(made: Snapshot, ready: pd.DataFrame) -> None:
    simulated = made.simulate(3, DRAWS, 0)
    rows = np.arange(len(simulated.beds))
    uniform = np.random.default_rng([0, len(rows)]).random(simulated.ends.shape, dtype=np.float32)
    chance = lasts_through(made, simulated, rows, 2, 2, uniform).mean(axis=1)
    of = pd.Series(chance, index=made.rackets["racket_id"].to_numpy()[simulated.beds])
    for row in ready[ready["event"] == "Soon"].to_dict("records"):
        mine = of[of.index.str.startswith(row["player_id"])]
        assert mine[row["worst_racket"]] == mine.min()
        assert row["ready"] == (mine >= 0.5).sum()


@pytest.mark.parametrize(("first", "last"), [(0, 0), (4, 6), (12, 13)])
def test_against_one_racket_and_draw_at_a_time(made: Snapshot, first: int, last: int) -> None:
    """The same by a plain loop over the simulation's absences and the bed that is in."""
    simulated = made.simulate(3, 60, 5)
    h, learned = made.estimate.history, made.estimate.learned
    rows = np.arange(len(simulated.beds))
    uniform = np.random.default_rng(1).random(simulated.ends.shape)
    fast = lasts_through(made, simulated, rows, first, last, uniform)
    position = {bed: i for i, bed in enumerate(h.beds["bed_id"])}
    for r in rows:
        bed = position[made.rackets["bed_id"].iloc[simulated.beds[r]]]
        for d in range(60):
            mine = (simulated.away_racket == r) & (simulated.away_draw == d)
            absences = list(zip(simulated.away_from[mine], simulated.away_until[mine], strict=True))
            is_away = any(gone < last + 1 and back > first for gone, back in absences)
            strung = max([back for _, back in absences if back <= first], default=None)
            path = np.interp([strung or 0.0, last + 1], 7.0 * np.arange(4), simulated.playability[r, d])
            played = path[1] - path[0] + (0.0 if strung is not None else h.playability[h.last[bed]])
            age = 24.0 * (last + 1 - (strung or 0.0)) + (0.0 if strung is not None else h.age_hours[h.last[bed]])
            lives = learned.exposure.lives
            x = played / lives.dead_hours[bed] + learned.shapes.rest_scale * lives.rest[bed] * np.log10(1 + age)
            dead = prob_dead(np.array([x]), learned.shapes.shape_dead)[0]
            if abs(uniform[r, d] - dead) > 1e-5:  # the paths are kept in single precision
                assert fast[r, d] == (not is_away and uniform[r, d] >= dead), (r, d)


@pytest.mark.parametrize(
    ("gone", "back", "is_there"),
    [
        (5.0, 9.0, True),  # an event on days 2 to 4 ends as day 5 begins
        (4.99, 9.0, False),
        (0.5, 2.0, True),  # back as it begins
        (0.5, 2.01, False),
        (3.0, 3.5, False),
    ],
)
def test_an_absence_counts_where_it_meets_the_event(made: Snapshot, gone: float, back: float, is_there: bool) -> None:
    simulated = made.simulate(3, 4, 0)
    alone = replace(
        simulated,
        away_racket=np.array([1]), away_draw=np.array([2]), away_from=np.array([gone]), away_until=np.array([back]),
    )  # fmt: skip
    rows = np.arange(len(alone.beds))
    found = lasts_through(made, alone, rows, 2, 4, np.ones(alone.ends.shape))  # no bed is dead
    expected = np.ones(alone.ends.shape, dtype=bool)
    expected[1, 2] = is_there
    assert (found == expected).all()


def test_weekly_paths_are_straight_lines_that_end_with_their_last_week() -> None:
    path = np.array([[0.0, 7.0, 21.0], [1.0, 1.0, 8.0]])
    for day, expected in ((0, [0, 1]), (3.5, [3.5, 1]), (7, [7, 1]), (8, [9, 2]), (14, [21, 8]), (20, [21, 8])):
        assert _on_day(path, float(day)) == pytest.approx(np.array(expected, dtype=float)), day
