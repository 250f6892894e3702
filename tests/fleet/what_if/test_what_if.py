"""What-ifs on a small club: directions, shared random numbers, the cheapest point, and questions that make no sense."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.simulation import Simulated
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.fleet.what_if import told
from pipeline.fleet.what_if.age_replacement import CheapestPoint
from pipeline.fleet.what_if.answer import MEASURES, Answer, _is_new_family, cheapest_point, match_share, what_if
from pipeline.fleet.what_if.question import Compared, Question, compared
from pipeline.fleet.what_if.simulator import Outcome, Policy, simulate_scenario
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings
from tests.fleet.clubs import ORIGIN, plan
from tests.fleet.reels.club import club

SETTINGS = ClubSettings()
WEEKS, DRAWS = 26, 200


@pytest.fixture(scope="module")
def made() -> Snapshot:
    con = club(players=6, weeks=30)
    for days in (20, 60, 100):
        plan(con, ORIGIN + np.timedelta64(days, "D").astype(object), activity="singles", event=f"Cup {days}")
    return snapshot(con, ORIGIN)


@pytest.fixture(scope="module")
def both(made: Snapshot) -> Compared:
    return compared(made, Question(gauge_mm=1.4), 1)


def run(made: Snapshot, both: Compared, policy: Policy, seed: int = 0, weeks: int = WEEKS) -> Outcome:
    return simulate_scenario(made, both.rackets, replace(both.now, policy=policy), both.events, weeks, DRAWS, seed)


def change(made: Snapshot, **asked: object) -> dict[str, float]:
    table = what_if(made, Question(**asked), SETTINGS, draws=DRAWS).table  # type: ignore[arg-type]
    return dict(zip(table["measure"], table["change"], strict=True))


def test_as_now_is_the_forecast(made: Snapshot, both: Compared) -> None:
    """The same model with other random numbers: mean restrings within 4 standard errors, first jobs and lumpy weeks
    (which belong to the bench, not to the beds) left out."""
    forecast: Simulated = made.simulate(WEEKS, 400, 0)
    beds = np.bincount(forecast.draw, minlength=400)
    jobs = run(made, both, Policy()).jobs.sum(axis=0)
    error = 4 * np.sqrt(beds.var() / 400 + jobs.var() / DRAWS)
    # the materials' own uncertainty adds a little to the mean
    assert jobs.mean() == pytest.approx(beds.mean(), abs=error + 0.02 * beds.mean())


def test_the_same_question_twice_changes_nothing(made: Snapshot, both: Compared) -> None:
    one, two = run(made, both, Policy()), run(made, both, Policy())
    assert (one.jobs == two.jobs).all() and (one.dead_hours == two.dead_hours).all()


def test_a_change_has_a_band_of_its_own(made: Snapshot, both: Compared) -> None:
    """Shared random numbers: the change varies far less than two forecasts on numbers of their own."""
    now = run(made, both, Policy()).jobs.sum(axis=0)
    then = simulate_scenario(made, both.rackets, both.then, both.events, WEEKS, DRAWS, 0).jobs.sum(axis=0)
    apart = simulate_scenario(made, both.rackets, both.then, both.events, WEEKS, DRAWS, 1).jobs.sum(axis=0)
    assert np.corrcoef(now, then)[0, 1] > 0.6
    assert (then - now).std() < 0.7 * (apart - now).std()


def test_thicker_strings_break_less_and_cost_less(made: Snapshot) -> None:
    thicker = change(made, gauge_mm=1.40)
    assert thicker["breaks"] < 0 and thicker["restrings"] < 0 and thicker["cost"] < 0
    assert thicker["dead_play"] >= 0
    thinner = change(made, gauge_mm=1.10)
    assert thinner["breaks"] > 0


def test_restringing_sooner_means_less_dead_play_and_more_work(made: Snapshot) -> None:
    for policy in (Policy(hours=5.0), Policy(life=0.7), Policy(before_events_from=0.1)):
        found = change(made, policy=policy)
        assert found["restrings"] > 0 and found["bench"] > 0 and found["string"] > 0 and found["cost"] > 0
        assert found["dead_play"] < 0 and found["breaks"] <= 0


def test_a_policy_is_kept(made: Snapshot, both: Compared) -> None:
    found = run(made, both, Policy(hours=6.0))
    longest_day = 3.0  # a bed is cut out after the day on which it passes the mark
    assert found.life_hours.max() <= 6.0 + longest_day


def test_identities(made: Snapshot, both: Compared) -> None:
    found = run(made, both, Policy())
    assert (found.dead_hours <= found.hours + 1e-6).all() and (found.dead_hours >= 0).all()
    assert (found.breaks <= found.jobs + 1).all()
    assert ((match_share(made, both.rackets) >= 0) & (match_share(made, both.rackets) <= 1)).all()


def test_only_those_asked_about(made: Snapshot) -> None:
    squad = what_if(made, Question(squad="U16", gauge_mm=1.4), SETTINGS, draws=60)
    player = what_if(made, Question(player_id="P00", gauge_mm=1.4), SETTINGS, draws=60)
    assert (squad.count_rackets, player.count_rackets) == (6, 2)
    assert tuple(squad.table["measure"]) == MEASURES


def test_a_hybrid_takes_both_strings(made: Snapshot) -> None:
    found = compared(made, Question(mains_string_id="poly", crosses_string_id="multi"), 1)
    assert set(found.then.strung.beds["family"]) == {"polyester/multifilament"}
    alone = compared(made, Question(mains_string_id="poly_thick"), 1)
    assert set(alone.strung_then["crosses_string_id"]) == {"poly_thick"}
    crosses = compared(made, Question(squad="U18", crosses_string_id="multi"), 1)
    assert (crosses.strung_then["mains_string_id"] == crosses.strung_now["mains_string_id"]).all()


def test_materials_not_strung_here_are_said(made: Snapshot) -> None:
    assert what_if(made, Question(mains_string_id="poly", crosses_string_id="multi"), SETTINGS, draws=60).is_new_family
    assert not what_if(made, Question(squad="U16", gauge_mm=1.3), SETTINGS, draws=60).is_new_family


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (Question(), "nothing would change: choose another string, gauge or restring policy."),
        (Question(mains_string_id="poli"), "string poli is not on file: did you mean poly?"),
        (Question(squad="U61", gauge_mm=1.3), "squad U61 has no strung racket on file: did you mean U1"),
        (Question(player_id="Q", gauge_mm=1.3), "player Q has no strung racket on file: on file are P00, P01"),
        (Question(gauge_mm=16.0), "a gauge of 16 mm is no tennis string: give one from 0.5 to 2.0 mm."),
    ],
)
def test_questions_that_make_no_sense_are_refused(made: Snapshot, asked: Question, sentence: str) -> None:
    with pytest.raises(StoreError) as error:
        what_if(made, asked, SETTINGS, draws=60)
    assert str(error.value).startswith(sentence)


def test_a_reel_too_short_is_refused_in_a_sentence() -> None:
    con = club(players=2, weeks=12)
    con.execute("update facts.strings set reel_m = 5 where string_id = 'multi'")
    with pytest.raises(StoreError, match=r"no length of Multi on file is long enough for 10\.9 m"):
        what_if(snapshot(con, ORIGIN), Question(mains_string_id="multi"), SETTINGS, draws=60)


def costs(found: Outcome, share: np.ndarray, match_cost: float) -> np.ndarray:
    """By draw, in jobs: every restring 1, a break match_cost more where it falls into a match."""
    return found.jobs.sum(axis=0) + match_cost * (found.breaks * share[:, None]).sum(axis=0)


def test_the_cheapest_point_beats_its_neighbours_in_the_fleet() -> None:
    """A club where strings break and every session is a match: the recommended hours cost less, over a year of the
    fleet's simulation with other random numbers, than half and twice as many, and than waiting."""
    con = club(players=4, weeks=40, seed=3)
    con.execute("update facts.restrings set reason = 'broke' where reason = 'lost_feel'")
    made = snapshot(con, ORIGIN)
    both = compared(made, Question(gauge_mm=1.4), 1)
    dear = 30.0
    con.execute("update sessions_described set source = 'match'")
    point = cheapest_point(made, both, SETTINGS, dear, draws=200)
    assert point.age_hours is not None and point.cost_per_hour < point.never_per_hour
    share = match_share(made, both.rackets)
    assert (share == 1.0).all()

    def year(policy: Policy) -> np.ndarray:
        return costs(run(made, both, policy, seed=9, weeks=52), share, dear)

    best = year(Policy(hours=point.age_hours))
    for other in (Policy(hours=point.age_hours / 2), Policy(hours=point.age_hours * 2), Policy()):
        saved = year(other) - best
        assert saved.mean() > 2 * saved.std() / np.sqrt(DRAWS)


def test_a_break_that_costs_nothing_more_is_waited_for(made: Snapshot, both: Compared) -> None:
    assert cheapest_point(made, both, SETTINGS, 0.0, draws=60).age_hours is None
    with pytest.raises(StoreError, match="a break in a match cannot cost -1 jobs"):
        cheapest_point(made, both, SETTINGS, -1.0, draws=60)


def test_sentences(made: Snapshot) -> None:
    asked = Question(squad="U16", policy=Policy(hours=5.0))
    answer: Answer = what_if(made, asked, SETTINGS, draws=60)
    line = told.headline(asked, answer, {}, {}, "EUR", "en-GB")
    assert line.startswith("Restrung after 5 h of play for U16: about ") and line.endswith(" more in 26 weeks")
    assert "Play on dead strings goes from" in told.details(answer)
    never = replace(answer, point=CheapestPoint(None, 1.0, 1.0), match_cost=1.0)
    assert told.point_words(never).startswith(
        "If a break in a match costs as much as 1 restring, it is cheapest to wait"
    )
    some = replace(answer, point=CheapestPoint(11.6, 0.75, 1.0), match_cost=5.0)
    assert "cheapest to restring after about 12 h of play: 25 % less than waiting" in told.point_words(some)
    assert told.point_words(answer) == ""


@pytest.mark.parametrize(
    ("measure", "value", "text"),
    [
        ("cost", -245.3, "−€245"), ("cost", 0.2, "€0"), ("dead_play", 0.031, "+3 points"),
        ("dead_play", 0.009, "+1 point"), ("restrings", 12.4, "+12"), ("bench", -3.6, "−4 h"),
        ("match_breaks", -0.04, "0.0"), ("string", 1234.0, "+1,234 m"),
    ],
)  # fmt: skip
def test_changes_read_as_changes(measure: str, value: float, text: str) -> None:
    assert told.change_text(measure, value, "EUR", "en-GB") == text


@pytest.mark.parametrize(("endings", "is_new"), [(9, True), (10, False)])
def test_materials_are_new_here_until_they_have_ended_ten_beds(endings: int, is_new: bool) -> None:
    """Endings by wear alone: one that was taken out by plan does not count."""
    beds = pd.DataFrame({"cause": ["breaks", "goes_dead"] * 6, "family": "a/a"}).head(endings)
    other = pd.DataFrame({"cause": ["other"] * 5, "family": "a/a"})
    made: Any = SimpleNamespace(estimate=SimpleNamespace(history=SimpleNamespace(beds=pd.concat([beds, other]))))
    asked: Any = SimpleNamespace(strung=SimpleNamespace(beds=pd.DataFrame({"family": ["a/a"]})))
    assert _is_new_family(made, asked) == is_new
