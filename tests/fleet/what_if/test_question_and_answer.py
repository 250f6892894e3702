"""A what-if from the question to its sentences: what is compared, what each measure is, boundaries of the words.

Measures are worked out again in plain loops from the two simulations; the rest by hand.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import plans
from pipeline.fleet.bench_minutes import bench_times
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.fleet.what_if import kept, told
from pipeline.fleet.what_if.age_replacement import CheapestPoint
from pipeline.fleet.what_if.answer import CSV_COLUMNS, Answer, match_share, what_if
from pipeline.fleet.what_if.question import Compared, Question, compared
from pipeline.fleet.what_if.simulator import BREAKS, Policy, simulate_scenario
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings
from tests.fleet.clubs import ORIGIN, plan
from tests.fleet.reels.club import club
from tests.sql.club_rows import put

SETTINGS = ClubSettings(ready_days_before_match=1)


@pytest.fixture(scope="module")
def made() -> Snapshot:
    con = club(players=4, weeks=20)
    # a string sold in two lengths, and some jobs with string of the player's own
    con.execute("update facts.restrings set string_from = 'player' where racket_id = 'P02-1'")
    con.execute("update facts.rackets set head_cm2 = null where racket_id = 'P01-1'")
    con.execute("update facts.restrings set minutes = 45 where racket_id = 'P03-1'")
    put(con, "matches", [
        {"match_id": f"M{k}", "player_id": "P00", "racket_id": "P00-1", "format": "singles", "minutes": 90,
         "played_on": str(ORIGIN - timedelta(days=3 + k))} for k in range(4)
    ])  # fmt: skip
    for days, cells in (
        (1, {"squad": "U16"}), (8, {"squad": "U16"}), (8, {"squad": "U16", "event": "Other"}), (15, {"squad": "U18"}),
        (20, {"squad": None, "player_id": "P00"}), (0, {"squad": "U16"}),
    ):  # fmt: skip
        plan(con, ORIGIN + timedelta(days=days), activity="singles", **({"event": "Cup"} | cells))
    return snapshot(con, ORIGIN)


def ids(both: Compared) -> list[str]:
    return both.rackets["racket_id"].tolist()


def test_whose_rackets(made: Snapshot) -> None:
    assert len(ids(compared(made, Question(gauge_mm=1.3), 1))) == 8
    assert ids(compared(made, Question(gauge_mm=1.3, squad="U18"), 1)) == ["P01-1", "P01-2", "P03-1", "P03-2"]
    assert ids(compared(made, Question(gauge_mm=1.3, player_id="P02"), 1)) == ["P02-1", "P02-2"]
    with pytest.raises(StoreError, match=r"player P0 has no strung racket on file: did you mean P0[0-3]"):
        compared(made, Question(gauge_mm=1.3, player_id="P0"), 1)
    with pytest.raises(StoreError, match=r"squad zzz has no strung racket on file: on file are U16, U18\."):
        compared(made, Question(gauge_mm=1.3, squad="zzz"), 1)


def test_what_is_strung_then(made: Snapshot) -> None:
    def then(**asked: Any) -> tuple[str, str]:
        both = compared(made, Question(player_id="P00", **asked), 1)
        assert both.strung_now[["mains_string_id", "crosses_string_id"]].to_numpy().tolist() == [["poly", "poly"]] * 2
        row = both.strung_then.iloc[0]
        assert both.then.strung.beds["family"].iloc[0].count("/") == 1
        return row["mains_string_id"], row["crosses_string_id"]

    assert then(mains_string_id="multi") == ("multi", "multi")
    assert then(mains_string_id="multi", crosses_string_id="poly") == ("multi", "poly")
    assert then(crosses_string_id="multi") == ("poly", "multi")
    assert then(gauge_mm=1.3) == ("poly", "poly")


def test_beds_are_described_as_strung(made: Snapshot) -> None:
    both = compared(made, Question(squad="U18", mains_string_id="multi", crosses_string_id="poly", gauge_mm=1.4), 1)
    beds, now = both.then.strung.beds, both.now.strung.beds
    assert beds["mains_gauge_mm"].tolist() == [1.4] * 4 and now["mains_gauge_mm"].tolist()[:2] == [1.25, 1.25]
    assert beds["family"].tolist() == ["multifilament/polyester"] * 4
    assert beds["mains_material"].iloc[0] == "multifilament" and beds["crosses_material"].iloc[0] == "polyester"
    assert beds["density_per_cm2"].tolist()[1:] == pytest.approx([16 * 19 / 632] * 3)
    assert np.isnan(beds["density_per_cm2"].iloc[0])


@pytest.mark.parametrize("gauge", [0.5, 2.0])
def test_the_thinnest_and_the_thickest_string_are_taken(made: Snapshot, gauge: float) -> None:
    assert compared(made, Question(gauge_mm=gauge), 1).then.strung.beds["mains_gauge_mm"].unique().tolist() == [gauge]
    with pytest.raises(StoreError, match="is no tennis string"):
        compared(made, Question(gauge_mm=gauge + (0.01 if gauge > 1 else -0.01)), 1)


def test_eves_are_those_of_the_squads_and_the_players_own_events(made: Snapshot) -> None:
    """Strung a day before: days 1, 8 and 20 become 0, 7 and 19; one of today is over, two on one day are one."""
    both = compared(made, Question(gauge_mm=1.3), 1)
    eves = {racket: [d for d in row if np.isfinite(d)] for racket, row in zip(ids(both), both.events, strict=True)}
    assert eves["P00-1"] == [0.0, 7.0, 19.0] and eves["P02-1"] == [0.0, 7.0]
    assert eves["P01-1"] == [14.0]
    assert both.events.shape == (8, 3)
    morning = compared(made, Question(gauge_mm=1.3), 0)
    assert [d for d in morning.events[0] if np.isfinite(d)] == [1.0, 8.0, 20.0]


def test_the_part_of_play_that_is_matches(made: Snapshot) -> None:
    rackets = made.rackets
    found = dict(zip(rackets["racket_id"], match_share(made, rackets), strict=True))
    rows = made.con.execute(
        "select player_id, source, abrasion_hours, played_on from session_hours where played_on > ?",
        [ORIGIN - timedelta(days=365)],
    ).df()
    mine = rows[rows["player_id"] == "P00"]
    in_matches = mine.loc[mine["source"] == "match", "abrasion_hours"].sum()
    assert 0 < found["P00-1"] < 1 and found["P00-1"] == pytest.approx(in_matches / mine["abrasion_hours"].sum())
    assert found["P01-1"] == 0.0
    nobody = rackets.assign(player_id="nobody")
    club_wide = rows.loc[rows["source"] == "match", "abrasion_hours"].sum() / rows["abrasion_hours"].sum()
    assert match_share(made, nobody)[0] == pytest.approx(club_wide)


def test_each_measure_by_a_plain_loop(made: Snapshot) -> None:
    asked = Question(mains_string_id="multi", crosses_string_id="poly", policy=Policy(hours=8.0), weeks=8)
    answer = what_if(made, asked, SETTINGS, draws=60, seed=4)
    table = answer.table.set_index("measure")
    assert tuple(answer.table.columns) == CSV_COLUMNS and answer.count_rackets == 8 and answer.weeks == 8
    assert table["unit"].tolist() == ["jobs", "h", "m", "EUR", "share", "beds", "beds"]
    both = compared(made, asked, 1)
    share = match_share(made, both.rackets)
    times = bench_times(made.con)
    by_way = {}
    for way, scenario, kind in (("now", both.now, "full"), ("then", both.then, "hybrid")):
        found = simulate_scenario(made, both.rackets, scenario, both.events, 8, 60, 4)
        minutes, breaks = np.zeros(60), np.zeros(60)
        for i in range(8):
            minutes += found.jobs[i] * times.minutes(kind)
            breaks += found.breaks[i] * share[i]
        by_way[way] = {
            "restrings": found.jobs.sum(axis=0), "bench": minutes / 60, "breaks": found.breaks.sum(axis=0),
            "match_breaks": breaks, "dead_play": found.dead_hours.sum(axis=0) / found.hours.sum(axis=0),
        }  # fmt: skip
    for name in ("restrings", "bench", "breaks", "match_breaks", "dead_play"):
        now, then = by_way["now"][name], by_way["then"][name]
        assert table.loc[name, "now"] == pytest.approx(now.mean())
        assert table.loc[name, "then"] == pytest.approx(then.mean())
        assert table.loc[name, "change"] == pytest.approx((then - now).mean())
        low, high = np.quantile(then - now, [0.1, 0.9])
        assert (table.loc[name, "change_p10"], table.loc[name, "change_p90"]) == pytest.approx((low, high))


def one_racket_each() -> Snapshot:
    """A club without counts, whose string is all the club's: 200 m reels of poly at 120, of multi at 60."""
    con = club(players=2, weeks=14)
    con.execute("update facts.strings set reel_price = 60 where string_id = 'multi'")
    return snapshot(con, ORIGIN)


def test_string_and_its_cost_a_job() -> None:
    """All jobs are the club's: metres a job by geometry; a full bed is one job, a hybrid two."""
    s = one_racket_each()
    answer = what_if(s, Question(mains_string_id="multi", crosses_string_id="poly", weeks=8), SETTINGS, draws=60)
    table = answer.table.set_index("measure")
    cut = racket_metres(s.con, ORIGIN).iloc[0]
    mains, crosses = float(cut["mains_m"]), float(cut["crosses_m"])
    now, then = table.loc["restrings", "now"], table.loc["restrings", "then"]
    assert table.loc["string", "now"] == pytest.approx(now * (mains + crosses))
    assert table.loc["string", "then"] == pytest.approx(then * (mains + crosses))

    def a_metre(price: float, job: float) -> float:
        return price / (200 // round(job, 1) * round(job, 1))

    assert table.loc["cost", "now"] == pytest.approx(now * (mains + crosses) * a_metre(120, mains + crosses))
    hybrid = mains * a_metre(60, mains) + crosses * a_metre(120, crosses)
    assert table.loc["cost", "then"] == pytest.approx(then * hybrid)
    assert answer.point is None and answer.match_cost == 5.0


def test_losses_between_counts_and_string_of_ones_own_change_metres_and_cost_alike() -> None:
    s = one_racket_each()
    asked = Question(gauge_mm=1.3, weeks=8)
    plain = what_if(s, asked, SETTINGS, draws=60).table.set_index("measure")
    con = club(players=2, weeks=14)
    con.execute("update facts.strings set reel_price = 60 where string_id = 'multi'")
    con.execute("update facts.restrings set string_from = 'player' where racket_id like 'P00%'")
    half = what_if(snapshot(con, ORIGIN), asked, SETTINGS, draws=60).table.set_index("measure")
    assert half.loc["restrings", "now"] == plain.loc["restrings", "now"]
    for name in ("string", "cost"):
        assert 0.4 * plain.loc[name, "now"] < half.loc[name, "now"] < 0.8 * plain.loc[name, "now"]


def test_new_materials_are_said(made: Snapshot) -> None:
    assert what_if(made, Question(mains_string_id="multi", crosses_string_id="poly"), SETTINGS, draws=60).is_new_family
    beds = made.estimate.history.beds
    full = beds.loc[beds["cause"].isin(["breaks", "goes_dead"]), "family"].value_counts()
    answer = what_if(made, Question(player_id="P00", gauge_mm=1.3), SETTINGS, draws=60)
    assert answer.is_new_family == (full.get("polyester/polyester", 0) < 10)


def test_lives_end_by_every_cause_and_breaks_are_breaks(made: Snapshot) -> None:
    both = compared(made, Question(policy=Policy(hours=8.0)), 1)
    found = simulate_scenario(made, both.rackets, both.then, both.events, 26, 60, 1)
    assert set(found.life_cause.tolist()) == {-1, 0, 1, 2, 3}
    assert (found.life_cause == BREAKS).sum() <= found.breaks.sum()


# --- words


def table(**changes: tuple[float, float, float, float, float]) -> pd.DataFrame:
    """measure -> now, then, change, low, high."""
    usual = dict.fromkeys(
        ("restrings", "bench", "string", "cost", "dead_play", "breaks", "match_breaks"), (10.0, 10.0, 0.0, 0.0, 0.0)
    ) | {"dead_play": (0.2, 0.2, 0.0, 0.0, 0.0)}  # fmt: skip
    return pd.DataFrame([(name, "", *row) for name, row in (usual | changes).items()], columns=list(CSV_COLUMNS))


def answer_of(weeks: int = 26, point: CheapestPoint | None = None, match_cost: float = 5.0, **changes: Any) -> Answer:
    return Answer(ORIGIN, weeks, 4, table(**changes), False, point, match_cost)


def headline(**changes: Any) -> str:
    asked = Question(squad="Rowan", mains_string_id="A")
    return told.headline(asked, answer_of(**changes), {"A": "ostrel"}, {}, "EUR", "en-GB")


def test_the_headline_counts() -> None:
    assert headline() == "Ostrel for Rowan: about as many restrings and the same cost in 26 weeks"
    fewer = {"restrings": (10, 8.6, -1.4, 0, 0), "cost": (9, 9, -0.5, 0, 0)}
    assert headline(**fewer) == "Ostrel for Rowan: about 1 fewer restring and €1 less in 26 weeks"
    more = {"restrings": (10, 12, 1.5, 0, 0), "cost": (9, 9, 245.3, 0, 0), "weeks": 1}
    assert headline(**more) == "Ostrel for Rowan: about 2 more restrings and €245 more in 1 week"
    assert "the same cost" in headline(cost=(9, 9, 0.49, 0, 0))


def test_whose_and_what() -> None:
    names = {"P1": "Ana Reed"}
    assert told.whose(Question(player_id="P1"), names) == "Ana Reed"
    assert told.whose(Question(player_id="P9"), names) == "P9"
    assert told.whose(Question(squad="Rowan"), names) == "Rowan" and told.whose(Question(), names) == "the whole club"
    strings = {"A": "Ostrel", "B": "Bramil"}
    for asked, said in (
        (Question(mains_string_id="A"), "Ostrel"),
        (Question(mains_string_id="A", crosses_string_id="A"), "Ostrel"),
        (Question(mains_string_id="A", crosses_string_id="B"), "Ostrel / Bramil"),
        (Question(crosses_string_id="B"), "Bramil in the crosses"),
        (Question(mains_string_id="Z", gauge_mm=1.3), "Z, mains of 1.30 mm"),
        (Question(policy=Policy(hours=12.0)), "restrung after 12 h of play"),
        (Question(policy=Policy(life=0.8)), "restrung at 80 % of its life"),
        (Question(policy=Policy(before_events_from=0.0)), "restrung before every event"),
        (Question(policy=Policy(before_events_from=0.3)), "restrung before events from 30 % of its life on"),
        (Question(mains_string_id="A", policy=Policy(hours=5.5)), "Ostrel, restrung after 5.5 h of play"),
    ):
        assert told.what(asked, strings) == said


def test_dead_play_and_breaks_in_words() -> None:
    assert told.details(answer_of()) == "Play on dead strings stays at 20 %; as many breaks in matches."
    some = answer_of(dead_play=(0.2, 0.123, 0, 0, 0), match_breaks=(3, 1, -1.26, -2.0, -0.44))
    assert told.details(some) == (
        "Play on dead strings goes from 20 % to 12 %; about 1.3 fewer breaks in matches (0.4 to 2.0)."
    )
    across = answer_of(match_breaks=(3, 3, 0.05, -1.0, 2.0))
    assert told.details(across).endswith("; about 0.1 more breaks in matches.")
    assert told.details(answer_of(match_breaks=(3, 3, 0.049, 0.01, 2.0))).endswith("as many breaks in matches.")
    assert told.details(answer_of(match_breaks=(3, 3, 1.0, 0.0, 2.0))).endswith("about 1.0 more breaks in matches.")


def test_the_point_in_words() -> None:
    assert told.point_words(answer_of()) == ""
    point = CheapestPoint(9.5, 0.8, 1.0)
    assert told.point_words(answer_of(point=point, match_cost=1.0)) == (
        "If a break in a match costs as much as 1 restring, it is cheapest to restring after about 10 h of play: 20 % "
        "less than waiting."
    )
    assert "as much as 2.5 restrings" in told.point_words(answer_of(point=point, match_cost=2.5))


@pytest.mark.parametrize(
    ("measure", "low", "high", "text"),
    [
        ("bench", 24.2, 33.6, "+24 to +34 h"), ("dead_play", -0.29, -0.18, "\u221229 to \u221218 points"),
        ("dead_play", -0.01, 0.03, "\u22121 to +3 points"), ("string", -1200.0, 3.0, "\u22121,200 to +3 m"),
        ("restrings", 2.1, 2.4, "+2"), ("match_breaks", -1.26, 0.04, "\u22121.3 to 0.0"),
        ("cost", -10.0, 10.0, "\u2212€10 to +€10"), ("breaks", -0.4, 0.4, "0"),
    ],
)  # fmt: skip
def test_a_band_names_its_unit_once(measure: str, low: float, high: float, text: str) -> None:
    assert told.band_text(measure, low, high, "EUR", "en-GB") == text


@pytest.mark.parametrize(
    ("measure", "value", "text"),
    [("dead_play", 0.321, "32 %"), ("restrings", 1234.5, "1,234"), ("cost", 1234.5, "€1,235"), ("bench", 0.4, "0 h"),
     ("string", 3.6, "4 m"), ("match_breaks", 2.25, "2.2")],
)  # fmt: skip
def test_values_without_a_sign(measure: str, value: float, text: str) -> None:
    assert told.change_text(measure, value, "EUR", "en-GB", is_signed=False) == text


# --- kept


class Shelf:
    """What the answers are kept on, in memory: a view's version and club.toml."""

    view_version = "v1"
    settings = SETTINGS
    folder = Path("nowhere")


def test_answers_are_kept_by_question_and_the_newest_twelve_stay(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    documents: dict[str, Any] = {}
    asked: list[Question] = []

    class Opened:
        def __enter__(self) -> str:
            return "snapshot"

        def __exit__(self, *_: object) -> None:
            return None

    def worked_out(_: object, question: Question, *__: object, match_cost: float | None = None) -> Answer:
        asked.append(question)
        point = None if match_cost is None else CheapestPoint(None, float("nan"), 2.0)
        return replace(answer_of(point=point, match_cost=match_cost or 5.0), weeks=question.weeks)

    monkeypatch.setattr(plans, "kept", lambda store, name, version: documents.get(f"{name}-{version}"))
    monkeypatch.setattr(plans, "plan_snapshot", lambda store: Opened())
    monkeypatch.setattr(plans, "still_stands", lambda store, version: True)
    monkeypatch.setattr(
        plans,
        "keep",
        lambda store, name, version, made: documents.update({f"{name}-{version}": json.loads(json.dumps(made))}),
    )
    monkeypatch.setattr(kept, "what_if", worked_out)
    store: Any = Shelf()
    first = kept.answer_kept(store, Question(weeks=1), None)
    again = kept.answer_kept(store, Question(weeks=1), None)
    assert len(asked) == 1 and again.point is None and again.weeks == 1
    pd.testing.assert_frame_equal(again.table, first.table)
    assert (again.as_of, again.match_cost, again.count_rackets) == (ORIGIN, 5.0, 4)
    kept.answer_kept(store, Question(weeks=1), 3.0)
    priced = kept.answer_kept(store, Question(weeks=1), 3.0)
    assert len(asked) == 2 and priced.point is not None and priced.match_cost == 3.0
    assert (
        priced.point.age_hours is None and np.isnan(priced.point.cost_per_hour) and priced.point.never_per_hour == 2.0
    )
    for weeks in range(2, 13):
        kept.answer_kept(store, Question(weeks=weeks), None)
    assert len(documents["what-if-v1"]["answers"]) == 12
    before = len(asked)
    kept.answer_kept(store, Question(weeks=1), 3.0)  # the second of thirteen: still there
    assert len(asked) == before
    kept.answer_kept(store, Question(weeks=1), None)  # the first: gone
    assert len(asked) == before + 1
    documents["what-if-v1"]["format"] = 0
    kept.answer_kept(store, Question(weeks=12), None)
    assert len(asked) == before + 2 and len(documents["what-if-v1"]["answers"]) == 1
