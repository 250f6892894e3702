"""The workload forecast: seeded, dated, in step with the ranking's chances."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from pipeline.fleet import outlook as outlook_module
from pipeline.fleet import simulation
from pipeline.fleet.bench_minutes import DEFAULT_MINUTES, MinutesPerJob, minutes_per_job
from pipeline.fleet.snapshot import Snapshot, snapshot
from tests.fleet.clubs import ORIGIN, academy, break_racket
from tests.sql.club_rows import one_player_club, relations, strung

COLUMNS = ["week", "starts_on", "mean", "p10", "p50", "p90", "minutes_p50", "minutes_p90"]


@pytest.fixture(scope="module")
def usual() -> Snapshot:
    return snapshot(academy(), ORIGIN)


def test_columns_and_dates(usual: Snapshot) -> None:
    frame = usual.forecast(weeks=4, draws=200)
    assert frame.columns.tolist() == COLUMNS
    assert frame["week"].tolist() == [1, 2, 3, 4]
    assert [str(d)[:10] for d in frame["starts_on"]] == [str(ORIGIN + timedelta(days=1 + 7 * w)) for w in range(4)]
    assert (frame["p10"] <= frame["p50"]).all() and (frame["p50"] <= frame["p90"]).all()
    assert (frame["minutes_p50"] <= frame["minutes_p90"]).all()
    assert (frame["p10"] >= 0).all()


def test_the_same_seed_gives_the_same_draws(usual: Snapshot) -> None:
    first, again, other = (usual.forecast_draws(3, 150, seed) for seed in (7, 7, 8))
    assert first.shape == (150, 3)
    assert (first == again).all()
    assert (first != other).any()


def test_a_new_snapshot_of_the_same_rows_gives_the_same_draws() -> None:
    one, two = (snapshot(academy(players=4, weeks=12), ORIGIN).forecast_draws(3, 100) for _ in range(2))
    assert (one == two).all()


def test_more_draws_agree_within_their_error(usual: Snapshot) -> None:
    few, many = usual.forecast_draws(4, 400, 1), usual.forecast_draws(4, 2000, 2)
    error = np.sqrt(few.var(axis=0) / 400 + many.var(axis=0) / 2000)
    assert (np.abs(few.mean(axis=0) - many.mean(axis=0)) < 4.5 * error).all()


def test_every_restring_has_a_week_a_racket_and_a_cause(usual: Snapshot) -> None:
    """A week may be busier or quieter than its beds alone; over many draws both come to the same."""
    made = usual.simulate(4, 2000, 0)
    counted = np.bincount(made.draw * 4 + made.week, minlength=8000).reshape(2000, 4)
    assert np.issubdtype(made.jobs.dtype, np.integer) and (made.jobs >= 0).all()
    error = (made.jobs - counted).std(axis=0) / np.sqrt(2000)
    assert (np.abs(made.jobs.mean(axis=0) - counted.mean(axis=0)) < 4.5 * error + 1e-9).all()
    assert made.week.min() >= 0 and made.week.max() <= 3
    assert set(np.unique(made.cause)) <= {0, 1, 2}
    assert made.racket.max() < len(usual.rackets)


def steady(s: Snapshot, monkeypatch: pytest.MonkeyPatch) -> Snapshot:
    """The same club with the coming play and the club's level known exactly, so that only lives and causes are
    drawn."""
    monkeypatch.setattr(outlook_module, "SHARE_SPREAD", 1e-3)
    monkeypatch.setattr(simulation, "SHARE_SPREAD", 1e-3)
    learned = s.estimate.learned
    level = {k: replace(v, spread=1e-3) for k, v in learned.level.items()}
    play = replace(s.play, spread_level=1e-3, spread_week=1e-3, spread_club=1e-3)
    return replace(
        s,
        play=play,
        estimate=replace(s.estimate, learned=replace(learned, level=level)),
        takeover=None,
        past=replace(s.past, levels=level),
        seen={},
        made={},
    )


def test_simulated_endings_agree_with_the_chances_of_the_ranking(
    usual: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the end of each week, bed by bed: within four and a half standard errors, and two hundredths for the
    week's inner shape (the simulation spreads play evenly over a week and takes planned restrings at its
    middle)."""
    s, draws, weeks = steady(usual, monkeypatch), 3000, 6
    o, made = s.outlook(weeks * 7), s.simulate(weeks, draws, 3)
    beds = s.rackets[s.rackets["bed_id"].notna()].reset_index(drop=True)
    at = {racket: i for i, racket in enumerate(beds["racket_id"])}
    looked_at = np.abs(o.beds.factor_breaks) + np.abs(o.beds.factor_dead) > 1e-9
    compared = 0
    for i, racket in enumerate(o.beds.racket_id):
        if looked_at[i]:
            continue  # the simulation takes half of a look's word throughout, the ranking lets it fade
        compared += 1
        for day in range(7, 43, 7):
            expected = float((o.p_break + o.p_feel + o.p_other)[i, day - 1])
            drawn = float((made.ends[at[racket]] < day).mean())
            assert abs(drawn - expected) < 4.5 * np.sqrt(expected * (1 - expected) / draws) + 0.02, (racket, day)
    assert compared >= 4


def test_expected_endings_agree_over_the_fleet(usual: Snapshot) -> None:
    """With everything uncertain, as the pages show it: the fleet's endings in two weeks, within a tenth."""
    o, made = usual.outlook(14), usual.simulate(2, 2000, 5)
    expected = float((o.p_break + o.p_feel + o.p_other)[:, 13].sum())
    assert float((made.ends < 14).sum(axis=0).mean()) == pytest.approx(expected, rel=0.1)


def test_a_broken_racket_is_a_job_in_every_draw() -> None:
    con = academy(players=2, weeks=10)
    without = snapshot(con, ORIGIN).forecast_draws(2, 300)
    break_racket(con, "P00-1")
    s = snapshot(con, ORIGIN)
    made = s.simulate(2, 300, 0)
    row = s.rackets.index[s.rackets["racket_id"] == "P00-1"][0]
    assert len(np.unique(made.draw[made.racket == row])) >= 290
    assert made.jobs.mean() > without.mean()


def test_more_play_means_more_work() -> None:
    """The same strings and the same rules of life in hours of play: sessions of twice the length, twice the jobs or
    nearly."""
    some, more = (snapshot(academy(hours_factor=f), ORIGIN).forecast_draws(6, 400).mean() for f in (0.7, 1.4))
    assert more > 1.4 * some


def test_strings_that_live_longer_mean_less_work() -> None:
    short, long = (snapshot(academy(pace=p), ORIGIN).forecast_draws(6, 400).mean() for p in (0.8, 2.0))
    assert long < 0.8 * short


def test_the_forecast_is_near_what_the_club_has_been_doing(usual: Snapshot) -> None:
    """A steady club: the coming six weeks within a third of the last ten, once the first weeks are over."""
    recent = usual.con.execute(
        "select count(*) / 10.0 from restrings_clean where strung_on > $1 - 70", [ORIGIN]
    ).fetchone()
    assert recent is not None
    assert usual.forecast(6, 500)["mean"].mean() == pytest.approx(recent[0], rel=0.35)


# --- minutes at the bench


def test_minutes_lean_on_the_trade_s_until_the_club_has_its_own() -> None:
    """Reuters, 2 July 2007: 30-40 minutes at a club."""
    con = one_player_club()
    strung(con, "J1", "R1", "2026-01-01")
    relations(con, "2026-01-10")
    assert minutes_per_job(con).mean == DEFAULT_MINUTES
    assert 30 <= DEFAULT_MINUTES <= 40
    for i in range(2, 22):
        strung(con, f"J{i}", "R1", f"2026-01-{i:02}", "broke", minutes=20.0)
    relations(con, "2026-01-31")
    assert 20.0 < minutes_per_job(con).mean < 25.0


def test_a_week_s_minutes_are_its_jobs_times_the_mean() -> None:
    jobs = np.full((4000, 1), 9)
    totals = MinutesPerJob(30.0, 6.0).draw_totals(jobs, np.random.default_rng(0))
    assert totals.mean() == pytest.approx(270.0, abs=4.5 * 18.0 / np.sqrt(4000))
    assert totals.std() == pytest.approx(18.0, rel=0.1)
    assert (MinutesPerJob(30.0, 6.0).draw_totals(np.zeros((5, 2)), np.random.default_rng(0)) == 0).all()


def test_the_columns_are_those_of_the_draws(usual: Snapshot) -> None:
    """Of 200 draws a tenth lie under the lower end and a tenth over the upper, ties apart; minutes go with the jobs."""
    draws, frame = usual.forecast_draws(4, 200), usual.forecast(4, 200)
    ordered = np.sort(draws, axis=0)
    for name, below in (("p10", 19.9), ("p50", 99.5), ("p90", 179.1)):  # places of 0 to 199
        low, high = ordered[int(below)], ordered[int(below) + 1]
        assert frame[name].to_numpy() == pytest.approx(low + (below % 1) * (high - low)), name
    assert frame["mean"].to_numpy() == pytest.approx(draws.sum(axis=0) / 200, abs=0.0051)
    minutes = np.sort(usual.minutes.draw_totals(draws, np.random.default_rng(1)), axis=0)
    for name, below in (("minutes_p50", 99.5), ("minutes_p90", 179.1)):
        low, high = minutes[int(below)], minutes[int(below) + 1]
        assert frame[name].to_numpy() == pytest.approx(low + (below % 1) * (high - low), abs=0.51), name
