"""The page Bench from a few tickets and a plan written by hand: which card stands where, and what it says."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.frames import bench
from pipeline.fleet.frames.club import Club
from pipeline.fleet.tickets.setup import LAST, OWN
from tests.fleet.bench.hand_made_plan import day, made, tickets_due
from tests.fleet.prints.test_paper import TICKET

MONDAY = day(0)
CLUB = Club("Holm Ridge", MONDAY, MONDAY, "kg", 3, "", "")


def ticket(number: int, **change: Any) -> dict[str, Any]:
    """The ticket on the books of the plan's job with that number."""
    own = {
        "job_id": f"T{number}", "racket_id": f"R{number}", "player_id": f"P{number}", "state": "booked",
        "player_name": f"Player {number}", "state_on": day(-2), "stringer": None, "due_on": day(number),
        "setup_from": None,
    }  # fmt: skip
    return TICKET | own | change


def page(*rows: dict[str, Any], plan: Any = None, today: date = MONDAY, club: Club = CLUB) -> bench.BenchPage:
    columns = list(ticket(1))
    return bench.bench_page(pd.DataFrame(list(rows), columns=columns), plan, club, today, "no plan yet")


def in_groups(found: bench.BenchPage) -> list[tuple[str, list[str]]]:
    return [(head, [card.racket_id for card in cards]) for head, cards in found.groups]


@pytest.fixture(scope="module")
def plan() -> Any:
    """Three jobs of half an hour; Kim has 60 minutes on Monday and 90 on Tuesday."""
    return made(tickets_due(0, 0, 1), {"Kim": [60.0, 90.0, 0, 0, 0, 0, 0]})


def test_cards_stand_under_their_day_and_what_is_on_hold_stands_last(plan: Any) -> None:
    rows = [ticket(3), ticket(2), ticket(1), ticket(9), ticket(8, state="on_bench"), ticket(7, stop="frame cracked"),
            ticket(6, state="strung"), ticket(5, state="handed_back")]  # fmt: skip
    found = page(*rows, plan=plan)
    assert in_groups(found) == [
        ("On the bench now", ["R8"]), ("Today, Mon 2 Mar", ["R1", "R2"]), ("Tue 3 Mar", ["R3"]), ("Later", ["R9"]),
        ("On hold: not to be strung", ["R7"]),
    ]  # fmt: skip
    assert [card.racket_id for card in found.waiting] == ["R6"] and found.count_open == 6
    assert found.title.startswith("2 tickets for today, about 1 h: R1 first; 4 later")
    late = page(*rows, plan=plan, today=day(1))
    assert in_groups(late)[1] == ("Today, Tue 3 Mar", ["R1", "R2", "R3"])  # what was left over is for today


def test_without_a_plan_cards_stand_by_their_day(plan: Any) -> None:
    found = page(ticket(2), ticket(1), ticket(3, due_on=None))
    assert in_groups(found) == [("In order", ["R1", "R2", "R3"])]
    assert found.sentence == "no plan yet" and found.title == "3 tickets are open at the bench"
    assert found.days.empty and found.table.empty and found.late == [] == found.notes == found.mends == found.pulls
    assert page(plan=plan).title == page().title == "No ticket is open at the bench"
    assert page(ticket(1, state="on_bench")).title == "1 racket is on the bench; no other ticket is open"
    two = page(ticket(1, state="on_bench"), ticket(2, state="on_bench"), ticket(3))
    assert two.title == "2 rackets are on the bench; 1 more ticket is open"


def card(plan: Any = None, club: Club = CLUB, **change: Any) -> bench.Card:
    (_, (only,)), *rest = page(ticket(1, **change), plan=plan, club=club).groups
    assert rest == []
    return only


def test_what_a_card_says(plan: Any) -> None:
    found = card()
    assert (found.who, found.due, found.stringer, found.setup) == ("Player 1", "ready by Tue 3 Mar", None, "")
    assert found.taken == "11.8 m of Lyra 1.25 mm from stock" and found.state_words.endswith("since Sat 28 Feb")
    assert (found.mains_pull, found.crosses_pull, found.mains_string_id) == (24.0, 23.5, "S1")
    assert card(plan).stringer == "Kim" and card(plan, stringer="Ann").stringer == "Ann"
    assert card(player_name=None).who == "P1" and card(player_name=None, player_id=None).who == "the club's"
    assert card(due_on=None).due == "" and card(tell=["a"], notes=["b"]).notes == ["a", "b"]
    hybrid = card(crosses_string="Corda", crosses_string_id="S2", crosses_gauge_mm=1.3)
    assert hybrid.taken == "6.2 m of Lyra 1.25 mm and 5.6 m of Corda 1.30 mm from stock"
    assert card(mains_m=None).taken == "" and card(mains_string_id=None, crosses_string_id=None).mains_string_id is None
    assert (card(setup_from=OWN).setup, card(setup_from=LAST).setup) == ("set-up of this racket", "strung as last time")


def test_an_event_is_named_with_the_day_that_it_needs_the_racket() -> None:
    rows = tickets_due(1)
    rows[0] |= {"is_for_event": True, "due_for": "Cup", "due_on": day(1)}
    cup = made(rows, {"Kim": [60.0] * 7})
    assert card(cup, due_on=day(5)).due == "ready by Tue 3 Mar for Cup"
    rows[0] |= {"is_for_event": False}
    assert card(made(rows, {"Kim": [60.0] * 7}), due_on=day(5)).due == "ready by Sat 7 Mar"


def test_pulls_in_pounds_to_a_tenth() -> None:
    """24 kg are 52.91 lb, 23.5 are 51.81; back again in kilograms."""
    in_lb = card(club=Club("H", MONDAY, MONDAY, "lb", 3, "", ""))
    assert (in_lb.mains_pull, in_lb.crosses_pull) == (52.9, 51.8)
    assert card(mains_kg=None).mains_pull is None
    assert bench.pull_kg(52.9, "lb") == pytest.approx(52.9 * 0.45359237) and bench.pull_kg(24.0, "kg") == 24.0
    assert bench.pull_kg(None, "lb") is None
    assert bench.pull_limits("kg") == (5.0, 45.0) and bench.pull_limits("lb") == (11.0, 99.0)


def test_hours_of_each_day(plan: Any) -> None:
    days = page(ticket(1), plan=plan).days.set_index("label")
    assert days["hours"].tolist() == [1.0, 1.5, 0, 0, 0, 0, 0]
    assert days["planned"].sum() == pytest.approx(1.5)  # three jobs of half an hour
    assert (days["over"] == np.maximum(days["planned"] - days["hours"], 0.0)).all()
    assert days["who"].tolist() == ["Kim", "Kim", *["nobody"] * 5] and days.index[0] == "Mon 2 Mar"
