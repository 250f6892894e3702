"""The reel plan of a small club: identities, directions, bad input, and stock-outs on the fleet's own demand."""

from __future__ import annotations

import json
from datetime import date, timedelta
from decimal import Decimal

import duckdb
import numpy as np
import pytest

from pipeline.fleet.reels.catalogue import catalogue
from pipeline.fleet.reels.demand import club_share, demand
from pipeline.fleet.reels.document import from_document, to_document
from pipeline.fleet.reels.ledger import season_of
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.reels.ordering import by_day, reorder_quantile
from pipeline.fleet.reels.plan import CSV_COLUMNS, ReelPlan, reel_plan
from pipeline.fleet.reels.stock import string_uses
from pipeline.fleet.reels.told import order_sentence, season_sentence
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.sql import relation_text
from pipeline.store.settings import ClubSettings
from tests.fleet.clubs import ORIGIN
from tests.fleet.reels.club import club, count, order

SETTINGS = ClubSettings(budget={"U16": 10.0, "U18": 1_000_000.0})


@pytest.fixture(scope="module")
def con() -> duckdb.DuckDBPyConnection:
    made = club()
    count(made, "poly", metres=150)
    count(made, "multi", reels=1, jobs_left=3)
    order(made, "O1", "poly", days_ago=20, metres=200, expected_on=str(ORIGIN - timedelta(days=13)),
          received_on=str(ORIGIN - timedelta(days=12)))  # fmt: skip
    order(made, "O2", "multi", days_ago=3, metres=200, expected_on=str(ORIGIN + timedelta(days=4)))
    made.execute("update facts.restrings set charge = 20.10, charge_to = player_id from facts.rackets r "
                 "where r.racket_id = restrings.racket_id and month(strung_on) = 3")  # fmt: skip
    made.execute("update facts.restrings set paid_on = strung_on where charge is not null and day(strung_on) < 10")
    return made


@pytest.fixture(scope="module")
def made(con: duckdb.DuckDBPyConnection) -> Snapshot:
    return snapshot(con, ORIGIN)


@pytest.fixture(scope="module")
def plan(made: Snapshot) -> ReelPlan:
    return reel_plan(made, SETTINGS, draws=400)


def test_one_row_a_string_in_use_with_the_promised_columns(plan: ReelPlan) -> None:
    assert tuple(plan.strings.columns[:8]) == CSV_COLUMNS
    assert sorted(plan.strings["string_id"]) == ["multi", "poly"]
    assert (plan.strings["need_p90_m"] >= plan.strings["need_p50_m"]).all()


def test_orders_add_up_to_the_rows(plan: ReelPlan) -> None:
    for row in plan.strings.to_dict("records"):
        mine = plan.orders[plan.orders["string_id"] == row["string_id"]]
        assert int(mine["reels"].sum()) == row["reels"]
        assert sum(mine["cost"], Decimal(0)) == row["cost"] == 120 * Decimal(int(row["reels"]))
        assert (mine["order_by"].min() if len(mine) else None) == row["order_by"]


def test_needs_are_those_of_the_forecast(made: Snapshot, plan: ReelPlan) -> None:
    """All strings together: mean jobs of the same simulation times metres a job, within the draws' own error."""
    sim = made.simulate(26, 400, 0)
    jobs, metres = sim.jobs.sum(axis=1).mean(), racket_metres(made.con, ORIGIN)
    job_m = float((metres["mains_m"] + metres["crosses_m"]).mean())
    assert plan.strings["need_p50_m"].sum() == pytest.approx(jobs * job_m * plan.waste, rel=0.05)


def test_months_add_up_to_the_season_and_squads_too(plan: ReelPlan) -> None:
    assert sum(plan.months["spent"], Decimal(0)) == pytest.approx(plan.season_total["spent"], abs=Decimal("0.05"))
    assert sum(plan.squads["spent"], Decimal(0)) == pytest.approx(plan.season_total["spent"], abs=Decimal("0.05"))
    likely = float(sum(plan.squads["likely"], Decimal(0)))
    assert likely == pytest.approx(float(plan.season_total["p50"]), rel=0.06)
    assert plan.season_total["p10"] <= plan.season_total["p50"] <= plan.season_total["p90"]


def test_a_budget_is_held_against_what_is_likely(plan: ReelPlan) -> None:
    left = dict(zip(plan.squads["squad"], plan.squads["left"], strict=True))
    assert left["U16"] < 0 < left["U18"]


def test_money_is_exact(plan: ReelPlan) -> None:
    """20.10 a job, so many jobs: no cent is lost on the way, as binary fractions would lose it."""
    for row in plan.statement.to_dict("records"):
        assert row["charged"] == Decimal("20.10") * row["jobs"]
        assert row["paid"] + row["owed"] == row["charged"]
    assert isinstance(plan.statement["owed"][0], Decimal)


def test_cost_an_hour_is_cost_over_hours(plan: ReelPlan) -> None:
    row = plan.players.iloc[0]
    assert float(row["cost_hour"]) == pytest.approx(float(row["cost"]) / row["hours"], abs=0.006)


def test_the_plan_is_read_back_as_it_was(plan: ReelPlan) -> None:
    again = from_document(json.loads(json.dumps(to_document(plan), allow_nan=False)))
    assert again is not None
    assert to_document(again) == to_document(plan)
    assert again.statement["owed"][0] == plan.statement["owed"][0]
    assert from_document({"format": 0}) is None


def test_the_same_seed_gives_the_same_plan(made: Snapshot, plan: ReelPlan) -> None:
    assert to_document(reel_plan(made, SETTINGS, draws=400)) == to_document(plan)


def test_a_higher_service_orders_no_later(made: Snapshot, plan: ReelPlan) -> None:
    careful = reel_plan(made, SETTINGS, service=0.995, draws=400).strings.set_index("string_id")
    usual = plan.strings.set_index("string_id")
    for string_id in usual.index:
        assert careful.loc[string_id, "reorder_m"] >= usual.loc[string_id, "reorder_m"]
        if usual.loc[string_id, "order_by"] is not None:
            assert careful.loc[string_id, "order_by"] <= usual.loc[string_id, "order_by"]


def test_sentences(plan: ReelPlan) -> None:
    assert order_sentence(plan).startswith("Order ")
    assert season_sentence(plan, "en-GB").startswith("The season's string is likely to cost €")
    assert season_sentence(plan, "de-DE").count("\u00a0€") == 3


def test_players_with_their_own_string_take_less(con: duckdb.DuckDBPyConnection, made: Snapshot) -> None:
    uses = string_uses(con, racket_metres(con, ORIGIN))
    own = uses.assign(takes_stock=uses["takes_stock"] & (uses["player_id"] != "P00"))
    share = dict(zip(made.rackets["player_id"], club_share(own, made.rackets, np.datetime64(ORIGIN)), strict=True))
    assert share["P00"] < 0.5 < share["P01"]


def test_stock_outs_on_the_fleets_own_demand(con: duckdb.DuckDBPyConnection, made: Snapshot) -> None:
    """The reorder point of a service of 95 % from one simulation; in another of the same fleet the chance to run out
    before a delivery of ten days is 5 % within 4 standard errors of both, less what whole jobs jump over."""
    known, metres = catalogue(con), racket_metres(con, ORIGIN)
    strung = con.execute(relation_text("racket_strings")).df()
    everybody, draws = np.ones(len(made.rackets)), 3000

    def used_by_delivery(seed: int) -> np.ndarray:
        sim = made.simulate(4, draws, seed)
        need = demand(sim, made.rackets, strung, metres, known, everybody, 1.0, np.random.default_rng(seed))
        return by_day(need.metres[need.strings.index("poly")])[:, 10]

    one, other = used_by_delivery(1), used_by_delivery(2)
    point = reorder_quantile(one, 0.95)
    error = 4 * np.sqrt(2 * 0.05 * 0.95 / draws)
    jump = float((other >= point - 1e-9).mean() - (other > point + 1e-9).mean())
    out = float((other > point + 1e-9).mean())
    assert out <= 0.05 + error
    assert out + jump >= 0.05 - error


def bad(**changes: str) -> ReelPlan:
    made = club(players=3, weeks=14)
    for statement in changes.values():
        made.execute(statement)
    return reel_plan(snapshot(made, ORIGIN), ClubSettings(), weeks=8, draws=100)


def test_a_string_never_counted_is_said() -> None:
    assert any("Poly (poly) has never been counted, so the shelf is taken as empty" in n for n in bad().notes)


def test_a_string_without_reel_or_price_is_said_and_the_rest_goes_on() -> None:
    found = bad(a="update facts.strings set reel_m = null, reel_price = null where string_id = 'poly'")
    assert any("no length on file is long enough for a job of" in note for note in found.notes)
    row = found.strings.set_index("string_id").loc["poly"]
    assert row["reels"] == 0 and row["need_p50_m"] > 0
    free = bad(a="update facts.strings set reel_price = 0")
    assert any("has a price of 0" in note for note in free.notes)


def test_a_bed_of_unknown_string_is_said() -> None:
    found = bad(a="update facts.restrings set mains_string_id = null where racket_id = 'P00-1'")
    assert any("What is strung in P00-1 is not on file" in note for note in found.notes)


def test_an_order_long_overdue_is_not_counted_on() -> None:
    made = club(players=3, weeks=14)
    order(made, "O9", "poly", days_ago=90, metres=400, expected_on=str(ORIGIN - timedelta(days=80)))
    found = reel_plan(snapshot(made, ORIGIN), ClubSettings(), weeks=8, draws=100)
    assert any("Order O9 is more than 60 days overdue and is not counted on" in note for note in found.notes)
    assert found.strings.set_index("string_id").loc["poly", "on_order_m"] == 0


@pytest.mark.parametrize(
    ("day", "season"),
    [
        (date(2026, 8, 31), (date(2025, 9, 1), date(2026, 9, 1))),
        (date(2026, 9, 1), (date(2026, 9, 1), date(2027, 9, 1))),
    ],
)
def test_seasons_begin_on_their_day(day: date, season: tuple[date, date]) -> None:
    assert season_of(day, "09-01") == season
