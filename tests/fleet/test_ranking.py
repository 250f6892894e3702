"""Rackets by urgency: what adds up, what comes first, and what each row says."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.ranking import CSV_COLUMNS
from pipeline.fleet.snapshot import Snapshot, snapshot
from tests.fleet.clubs import ORIGIN, academy, break_racket, hand_in, plan
from tests.sql.club_rows import rackets, read


@pytest.fixture(scope="module")
def usual() -> Snapshot:
    return snapshot(academy(), ORIGIN)


@pytest.fixture(scope="module")
def busy() -> Snapshot:
    """P00-1 broken and not handed in, P01-1 broken and handed in, P02-1 complained of, P04-1 at the bench by plan,
    P05-9 never strung; P06 has a match in four days, U18 a course."""
    con = academy()
    break_racket(con, "P00-1")
    break_racket(con, "P01-1")
    hand_in(con, "P01-1", "broke")
    hand_in(con, "P02-1", "lost_feel")
    hand_in(con, "P04-1", "scheduled")
    rackets(con, ("P05-9", "P05"))
    plan(con, ORIGIN + timedelta(days=4), squad=None, player_id="P06", activity="singles", event="Spring Cup")
    plan(con, ORIGIN + timedelta(days=3), squad="U18")
    return snapshot(con, ORIGIN)


def test_the_columns_of_the_command(usual: Snapshot) -> None:
    frame = usual.rank()
    assert tuple(frame.columns) == CSV_COLUMNS
    assert frame["rank"].tolist() == list(range(1, 17))
    assert frame["racket_id"].is_unique
    assert not frame.isna().any().any()


def test_both_parts_make_p_end(usual: Snapshot) -> None:
    for days in (1, 7, 14, 30):
        frame = usual.rank(days)
        assert frame["p_end"].to_numpy() == pytest.approx((frame["p_break"] + frame["p_feel"]).to_numpy())
        assert frame["p_end"].between(0.0, 1.0).all()


def test_a_longer_window_never_lowers_a_chance(usual: Snapshot) -> None:
    frames = [usual.rank(days).set_index("racket_id").sort_index() for days in (1, 3, 7, 14, 28, 60)]
    for shorter, longer in pairwise(frames):
        for column in ("p_break", "p_feel", "p_end", "p_dead"):
            assert (longer[column] >= shorter[column] - 1e-12).all(), column


def test_all_causes_and_survival_make_one(usual: Snapshot) -> None:
    o = usual.outlook(42)
    ended = o.p_break + o.p_feel + o.p_other
    assert (ended <= 1.0 + 1e-9).all()
    for part in (o.p_break, o.p_feel, o.p_other, ended):
        assert (np.diff(part, axis=1) >= -1e-12).all()
    assert (np.diff(o.survive_wear, axis=1) <= 1e-12).all()
    assert (o.survive_wear >= 1.0 - o.p_break - o.p_feel - o.p_other - 1e-9).all()


def test_days_left_stand_in_order(usual: Snapshot) -> None:
    frame = usual.ranking()
    assert (frame["days_left_p10"] <= frame["days_left_p50"]).all()
    assert (frame["days_left_p50"] <= frame["days_left_p90"]).all()
    assert (frame["days_left_p90"] <= 365.0).all()
    assert (frame["due_from"] <= frame["due_on"]).all()
    assert (frame["due_on"] <= frame["due_to"]).all()
    for name in ("break_used", "dead_used"):
        assert (frame[f"{name}_p10"] <= frame[name]).all()
        assert (frame[name] <= frame[f"{name}_p90"]).all()
    assert frame["tension_left_pct"].between(0.0, 100.0).all()


def test_half_of_wear_s_work_is_done_on_the_median_day(usual: Snapshot) -> None:
    """The median of days_left is where wear alone leaves a chance of one half: read off the survival it came from."""
    o = usual.outlook(42)
    left = usual.ranking().set_index("racket_id")["days_left_p50"]
    for i, racket in enumerate(o.beds.racket_id):
        day = left[racket]
        if 2.0 < day < 41.0:
            below, above = o.survive_wear[i, int(day) - 1], o.survive_wear[i, int(np.ceil(day)) - 1]
            assert below + 1e-9 >= 0.5 >= above - 1e-9


def test_a_squad_is_ranked_by_itself_in_the_same_order(usual: Snapshot) -> None:
    whole, part = usual.rank(), usual.rank(squad="U18")
    assert part["rank"].tolist() == list(range(1, len(part) + 1))
    assert set(part["squad"]) == {"U18"}
    assert part["racket_id"].tolist() == whole[whole["squad"] == "U18"]["racket_id"].tolist()
    assert usual.rank(squad="no such squad").empty


@pytest.mark.parametrize("days", [0, -3])
def test_a_window_without_a_day_is_refused(usual: Snapshot, days: int) -> None:
    with pytest.raises(ValueError, match=r"at least one day.*--days 1"):
        usual.rank(days)


def test_broken_first_then_play_then_the_bench_then_no_bed(busy: Snapshot) -> None:
    frame = busy.ranking()
    assert frame["racket_id"].tolist()[:2] == ["P00-1", "P01-1"]
    assert frame["racket_id"].iloc[-1] == "P05-9"
    assert set(frame["racket_id"].iloc[-3:-1]) == {"P02-1", "P04-1"}
    assert frame["status"].tolist()[:2] == ["broken", "broken"]
    assert (frame["status"].iloc[2:-3] == "in_play").all()


def row(s: Snapshot, racket: str) -> pd.Series:
    return s.ranking().set_index("racket_id").loc[racket]


@pytest.mark.parametrize("racket", ["P00-1", "P01-1"])
def test_broken_is_certain(busy: Snapshot, racket: str) -> None:
    r = row(busy, racket)
    assert (r["p_end"], r["p_break"], r["p_feel"], r["p_dead"]) == (1.0, 1.0, 0.0, 1.0)
    assert (r["days_left_p10"], r["days_left_p50"], r["days_left_p90"]) == (0.0, 0.0, 0.0)
    assert r["due_on"] == ORIGIN
    assert r["why"].startswith("broke Sun 29 Mar")
    assert ("not yet handed in" in r["why"]) == (racket == "P00-1")


def test_complained_of_is_certain_too_but_not_broken(busy: Snapshot) -> None:
    r = row(busy, "P02-1")
    assert (r["status"], r["p_end"], r["p_break"], r["p_feel"]) == ("in_shop", 1.0, 0.0, 1.0)
    assert "at the bench since Sun 29 Mar" in r["why"]


def test_at_the_bench_by_plan_lets_nobody_down(busy: Snapshot) -> None:
    r = row(busy, "P04-1")
    assert (r["status"], r["p_end"]) == ("in_shop", 0.0)
    assert "at the bench" in r["why"]


def test_never_strung_gets_a_note(busy: Snapshot) -> None:
    r = row(busy, "P05-9")
    assert r["status"] == "no_bed"
    assert "no restring on file" in r["why"]
    assert pd.isna(r["p_end"])


def test_the_next_event_counts(busy: Snapshot) -> None:
    frame = busy.ranking()
    with_match = frame[frame["player_id"] == "P06"]
    assert set(with_match["next_event"]) == {"Spring Cup"}
    assert {str(d)[:10] for d in with_match["next_event_on"]} == {str(ORIGIN + timedelta(days=4))}
    assert with_match["p_before_event"].between(0.0, 1.0).all()
    assert frame[frame["player_id"] != "P06"]["next_event"].isna().all()
    at_event = busy.rank(4).set_index("racket_id").loc[with_match["racket_id"], "p_end"]
    assert with_match["p_before_event"].to_numpy() == pytest.approx(at_event.to_numpy())


def test_why_is_one_plain_sentence(busy: Snapshot) -> None:
    for why in busy.ranking()["why"]:
        assert why and not why.endswith(".")
        assert why[0] == why[0].lower()
        assert "nan" not in why and "None" not in why


def test_a_racket_that_is_played_more_is_due_sooner() -> None:
    """The same club with every session half as long again: in the sum over the fleet, and for most rackets."""
    some, more = (
        snapshot(academy(hours_factor=f, weeks=8), ORIGIN).rank().set_index("racket_id").sort_index()
        for f in (1.0, 1.5)
    )
    fresh_in_both = some.index.intersection(more.index)
    play = pd.DataFrame({"some": some.loc[fresh_in_both, "p_end"], "more": more.loc[fresh_in_both, "p_end"]})
    assert play["more"].mean() > play["some"].mean()


def test_shares_of_a_player_s_rackets(busy: Snapshot) -> None:
    sums = read(
        busy.con,
        "select sum(share) "
        "from rackets_now where status in ('in_play', 'no_bed') "
        "and player_id is not null group by player_id",
    )
    assert [s for (s,) in sums] == pytest.approx([1.0] * len(sums))


def test_two_runs_give_the_same_ranking() -> None:
    first, second = (snapshot(academy(players=4, weeks=12), ORIGIN).ranking() for _ in range(2))
    pd.testing.assert_frame_equal(first, second, check_exact=True)


def test_an_event_within_fourteen_days_sets_how_far_urgency_looks() -> None:
    """P06 plays in 14 days and has to last until then; P04 in 15, so that the bench's week counts."""
    con = academy()
    plan(con, ORIGIN + timedelta(days=14), squad=None, player_id="P06", activity="singles", event="In two weeks")
    plan(con, ORIGIN + timedelta(days=15), squad=None, player_id="P04", activity="singles", event="A day later")
    s = snapshot(con, ORIGIN)
    now = s.ranking().set_index("racket_id")
    week, two = (s.rank(days).set_index("racket_id")["p_end"] for days in (7, 14))
    for racket in ("P06-1", "P06-2", "P04-1", "P04-2"):
        expected = two if racket.startswith("P06") else week
        assert now.loc[racket, "urgency"] == pytest.approx(expected[racket], abs=1e-6), racket  # match rackets weigh 1
        assert now.loc[racket, "p_before_event"] >= two[racket]


def test_urgency_sorts_the_broken_before_all_others_and_the_bench_behind(busy: Snapshot) -> None:
    """3 for a break that nobody has handed in, 2 for one at the bench, and a tenth for a match racket; else a chance;
    -1 at the bench, -2 never strung."""
    found = busy.ranking().set_index("racket_id")
    expected = {"P00-1": 3.1, "P01-1": 2.1, "P02-1": -1.0, "P04-1": -1.0, "P05-9": -2.0}
    assert {racket: found.loc[racket, "urgency"] for racket in expected} == pytest.approx(expected)
    assert found.drop(index=list(expected))["urgency"].between(0.0, 1.0).all()
    assert (found.loc[list(expected), ["shared_part", "assumed_part"]] == 0.0).all().all()
