"""Adoption: fitted values come into force only where held-out weeks of the club's own history are forecast better."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.wear.adoption import ENOUGH_ENDINGS, adopt, compared
from pipeline.wear.held_out import log_scores, reweighted, until, weeks_to_hold_out
from pipeline.wear.history import History
from pipeline.wear.learning import CODES, LIMITS, Shapes, learn
from pipeline.wear.reference import session_weight_rows
from tests.wear.hand_made import Bed, history
from tests.wear.simulated import drawn_beds

TRADE = {(f, level): (a, p) for f, level, a, p in session_weight_rows()}


def a_club(shape: float, seed: int = 3) -> History:
    """Sixteen players whose beds follow each other over a year and a half."""
    rng = np.random.default_rng(seed)
    beds, strung = [], {}
    for bed in drawn_beds(rng, [1.0] * 16, 9, shape=shape, hours_a_step=2.5):
        start = strung.get(bed.player, 0)
        days = tuple(start + d for d in bed.days)
        strung[bed.player] = days[-1]
        beds.append(replace(bed, days=days, strung=start))
    return history(beds, as_of=max(b.days[-1] for b in beds))


def test_the_past_is_cut_off_clean() -> None:
    """What came after the day cannot be told from what is left: the same club, with other later weeks, is the same."""
    h = a_club(3.0)
    day = h.as_of_day - 70
    before = until(h, day)
    assert before.day.max() <= day
    assert (before.first[1:] == before.last[:-1] + 1).all()
    assert before.bed.tolist() == np.repeat(np.arange(before.n_beds), before.last - before.first + 1).tolist()
    assert len(before.play.step) == len(before.day)
    later = h.day > day
    other = replace(
        h, abrasion=np.where(later, h.abrasion + 5.0, h.abrasion), cause=np.where(h.day[h.last] > day, 3, h.cause)
    )
    again = until(other, day)
    for name in ("abrasion", "cause", "player", "day", "age_hours"):
        assert np.array_equal(getattr(again, name), getattr(before, name)), name


def test_weighing_anew_with_the_same_weights_changes_nothing() -> None:
    h = a_club(3.0)
    again = reweighted(h, TRADE)
    assert again.abrasion == pytest.approx(h.abrasion)
    twice = reweighted(h, TRADE | {("activity", "singles"): (2.0, 3.0)})
    assert twice.abrasion == pytest.approx(2.0 * h.abrasion)
    assert twice.playability[-1] == pytest.approx(3.0 * again.playability[-1])


def test_the_truth_scores_better_than_a_wrong_shape() -> None:
    """The logarithmic score is proper: with the law that made the beds the held-out weeks score best."""
    h = a_club(3.0)
    after = h.as_of_day - 120
    ended = {k: (h.cause == CODES[k]).astype(float) for k in LIMITS}
    scores = {
        shape: log_scores(h, learn(until(h, after), Shapes(shape_breaks=shape)), after, ended)["breaks"]
        for shape in (0.8, 3.0)
    }
    assert scores[3.0] > scores[0.8] + 3.0


def test_a_club_unlike_the_trade_is_learned_from() -> None:
    h = a_club(1.1)
    fits, evidence = adopt(h, learn(h))
    by_limit = {c.limit: c for c in evidence}
    assert set(fits) == {"breaks"}, "nobody's bed went dead: there is nothing to fit"
    assert by_limit["breaks"].is_adopted and by_limit["breaks"].gain > 0
    assert by_limit["breaks"].weeks == weeks_to_hold_out(h)
    assert fits["breaks"].shape * fits["breaks"].steepness < 2.0
    assert fits["breaks"].spreads["shape"] > 0


def test_a_fit_that_lost_on_the_held_out_weeks_is_not_adopted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fit made worse on purpose: the rule must see it on the club's own weeks."""
    from pipeline.wear import fitting

    h, real = a_club(3.0), fitting.fit
    monkeypatch.setattr(fitting, "fit", lambda p, **rest: replace(real(p, **rest), shape=0.71, strength=0.2))
    fits, evidence = adopt(h, learn(h))
    assert fits == {}
    assert evidence[0].gain < 0 and not evidence[0].is_adopted


def test_too_few_endings_are_not_tried() -> None:
    """A new club of three weeks runs on trade values."""
    young = history([Bed(f"P{i}", "breaks" if i < 4 else "none", (5, 12, 20), (3.0, 8.0, 14.0)) for i in range(8)], 21)
    assert adopt(young, learn(young)) == ({}, ())
    many = history([Bed(f"P{i}", "breaks", (5, 12, 20), (3.0, 8.0, 14.0)) for i in range(ENOUGH_ENDINGS + 5)], 21)
    fits, evidence = adopt(many, learn(many))
    assert fits == {} and len(evidence) == 1
    assert np.isnan(evidence[0].gain) and not evidence[0].is_adopted


def test_an_ending_in_the_bag_counts_in_the_week_last_played() -> None:
    """A day on which a racket was only handed in says nothing of wear: its date does not change the score."""
    beds = [Bed(f"P{i}", "breaks", (60 + i, 66 + i), (9.0, 14.0)) for i in range(6)] + [
        Bed(f"P{i}", "breaks", (5, 20, 40), (5.0, 20.0, 30.0)) for i in range(6)
    ]
    late = [replace(b, days=(*b.days, b.days[-1] + 9), abrasion=(*b.abrasion, b.abrasion[-1])) for b in beds[:6]]
    scores = []
    for club in (history(beds, 90), history([*late, *beds[6:]], 90)):
        after = club.as_of_day - 40
        ended = {k: (club.cause == CODES[k]).astype(float) for k in LIMITS}
        scores.append(log_scores(club, learn(until(club, after)), after, ended)["breaks"])
    assert scores[0] == pytest.approx(scores[1], abs=1e-9)


def test_comparing_holds_no_weeks_out_of_nothing() -> None:
    h = history([Bed()])
    found = compared(h, ["breaks"], {k: np.zeros(1) for k in LIMITS})
    assert [c.limit for c in found] == ["breaks"] and np.isnan(found[0].gain)
