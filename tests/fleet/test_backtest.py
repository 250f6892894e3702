"""Looking back: origins, what came true by the log, the rules of thumb, the words; no look ahead."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import record_table, thumb_rules
from pipeline.fleet.backtest import (
    RACKET_COLUMNS,
    Backtest,
    backtest,
    called_by_model,
    called_by_order,
    calls,
    origins_of,
    wear_share,
)
from pipeline.fleet.track_record import FILE, TrackRecord, keep, kept, work_out
from pipeline.store import Store, StoreError
from tests.fleet.club_files import write_files
from tests.fleet.clubs import ORIGIN, academy
from tests.small_club import NOW
from tests.sql.club_rows import one_player_club, practised, put, relations, strung

WEEKS = 4
DRAWS = 400


@pytest.fixture(scope="module")
def looked_back() -> tuple[duckdb.DuckDBPyConnection, Backtest]:
    """A club of eight players, looked back on over four weeks."""
    con = academy()
    return con, backtest(con, ORIGIN, WEEKS, draws=DRAWS)


def test_the_windows_follow_each_other_and_end_on_the_last_day() -> None:
    strung_on = [date(2026, 1, 1), date(2026, 3, 1)]
    assert origins_of(strung_on, date(2026, 4, 30), 6) == [date(2026, 3, 19), date(2026, 4, 2), date(2026, 4, 16)]


def test_a_short_log_gives_fewer_windows_and_leaves_four_weeks_to_learn_from() -> None:
    first = date(2026, 1, 1)
    assert origins_of([first], first + timedelta(days=28 + 14), 12) == [first + timedelta(days=28)]
    assert len(origins_of([first], first + timedelta(days=28 + 41), 12)) == 2


def test_a_log_too_short_is_said() -> None:
    with pytest.raises(StoreError) as error:
        origins_of([date(2026, 1, 1)], date(2026, 2, 11), 12)
    assert str(error.value) == (
        "the restrings on file reach from 2026-01-01 to 2026-02-11, which is too short to look back on: a track record "
        "needs 6 weeks, so load older restrings or ask again from 2026-02-12 on."
    )
    with pytest.raises(StoreError, match="no restring is on file up to 2026-02-11"):
        origins_of([], date(2026, 2, 11), 12)
    with pytest.raises(ValueError, match="at least 2 weeks"):
        origins_of([date(2026, 1, 1)], date(2026, 12, 1), 1)


def test_what_came_true_is_what_the_restrings_say(looked_back: tuple[duckdb.DuckDBPyConnection, Backtest]) -> None:
    """By hand from the file alone: the racket's next restring within the fortnight, its reason broke or lost feel."""
    con, b = looked_back
    restrings = con.execute("select racket_id, strung_on, reason from facts.restrings").df()
    restrings["strung_on"] = pd.to_datetime(restrings["strung_on"])
    assert len(b.rackets) == 2 * 16
    for row in b.rackets.to_dict("records"):
        origin = pd.Timestamp(row["origin"])
        mine = restrings[(restrings["racket_id"] == row["racket_id"]) & (restrings["strung_on"] > origin)]
        following = mine.sort_values("strung_on").head(1)
        ended = (following["strung_on"] <= origin + pd.Timedelta(days=14)) & following["reason"].isin(
            ["broke", "lost_feel"]
        )
        assert row["came_true"] == float(ended.any()), row
    assert 0 < b.rackets["came_true"].sum() < len(b.rackets)


def test_the_weeks_count_every_restring_once(looked_back: tuple[duckdb.DuckDBPyConnection, Backtest]) -> None:
    con, b = looked_back
    days = [day for (day,) in con.execute("select strung_on from facts.restrings").fetchall()]
    assert b.weeks["starts_on"].tolist() == [ORIGIN - timedelta(days=back - 1) for back in (28, 21, 14, 7)]
    assert b.weeks["real"].sum() == sum(ORIGIN - timedelta(days=28) < day <= ORIGIN for day in days)
    for row in b.weeks.to_dict("records"):
        assert row["real"] == sum(0 <= (day - row["starts_on"]).days < 7 for day in days)
        assert row["pit_low"] <= row["pit"] <= row["pit_high"]


def test_what_is_dated_after_an_origin_does_not_touch_what_was_foreseen_then() -> None:
    """Another future: the same chances and bands to the bit, other outcomes."""
    con, other = academy(players=5, weeks=22), academy(players=5, weeks=22)
    last = ORIGIN - timedelta(days=14)
    for table, day in (("restrings", "strung_on"), ("practices", "played_on"), ("inspections", "inspected_on")):
        other.execute(f"delete from facts.{table} where {day} > ?", [last])
    here, there = (backtest(c, ORIGIN, 2, draws=DRAWS) for c in (con, other))
    foreseen = [
        "origin",
        "racket_id",
        "p_end",
        "days_since",
        "hours_played",
        "rule_used",
        "p_days",
        "p_hours",
        "p_rule",
    ]
    pd.testing.assert_frame_equal(here.rackets[foreseen], there.rackets[foreseen], check_exact=True)
    bands = ["mean", "p10", "p50", "p90", "recent_mean", "rule"]
    pd.testing.assert_frame_equal(here.weeks[bands], there.weeks[bands], check_exact=True)
    assert here.rackets["came_true"].sum() > there.rackets["came_true"].sum() == 0
    assert there.weeks["real"].sum() == 0


def test_the_same_records_give_the_same_track_record(
    looked_back: tuple[duckdb.DuckDBPyConnection, Backtest],
) -> None:
    _, b = looked_back
    again = backtest(academy(), ORIGIN, WEEKS, draws=DRAWS)
    pd.testing.assert_frame_equal(b.rackets, again.rackets, check_exact=True)
    pd.testing.assert_frame_equal(b.weeks, again.weeks, check_exact=True)


def test_where_hours_end_beds_the_forecast_beats_the_calendar() -> None:
    """The club's beds end by hours of play: hours since stringing order them better than days; so does the forecast."""
    b = backtest(academy(players=10, named=1.0), ORIGIN, 8, draws=50)
    table = record_table.measures(b).set_index("measure")
    assert table.loc["auc", "model"] > table.loc["auc", "days_since"] + 0.05
    assert table.loc["auc", "flat_hours"] > table.loc["auc", "days_since"]
    assert table.loc["brier_skill", "model"] > table.loc["brier_skill", "days_since"]


def test_an_ending_without_a_reason_counts_in_part() -> None:
    con = academy()
    con.execute("update facts.restrings set reason = null where strung_on > ?", [ORIGIN - timedelta(days=14)])
    b = backtest(con, ORIGIN, 2, draws=DRAWS)
    open_rows = b.rackets[b.rackets["outcome"] == "unreasoned"]
    assert len(open_rows) > 0
    assert open_rows["came_true"].between(0.5, 1.0, inclusive="neither").all()
    assert (b.rackets["outcome"] == "wear").sum() == 0
    assert f"{len(open_rows)} bed" in " ".join(record_table.small_print(b))


def test_wear_share_is_that_of_the_reasons_on_file() -> None:
    causes = ["breaks"] * 4 + ["mishit", "goes_dead", "goes_dead"] + ["other"] * 2 + ["unknown"] * 9 + ["none"]
    assert wear_share(pd.DataFrame({"cause": causes})) == pytest.approx((7 + 1) / (9 + 2))
    assert wear_share(pd.DataFrame({"cause": ["unknown", "none"]})) == 0.5


def club_with_two_rackets() -> duckdb.DuckDBPyConnection:
    """R1 strung on 1 January, R2 on 1 February; one hour with R1 on 10 February, two with no racket on the 12th."""
    con = one_player_club()
    put(
        con,
        "rackets",
        [
            {"racket_id": "R2", "player_id": "P1", "frame": "Frame A", "mains": 16, "crosses": 19, "role": "match",
             "in_service_on": "2025-01-01"}
        ],
    )  # fmt: skip
    strung(con, "J1", "R1", "2026-01-01")
    strung(con, "J2", "R2", "2026-02-01")
    practised(con, "T1", "P1", "2026-02-10", racket_id="R1", minutes=60.0)
    practised(con, "T2", "P1", "2026-02-12", minutes=120.0)
    return relations(con, "2026-02-20")


def test_the_rules_of_thumb_by_hand() -> None:
    """Two days with play in eight weeks: 0.25 a week, so due after 365 / 0.25 = 1,460 days (common practice)."""
    found = thumb_rules.rule_scores(club_with_two_rackets(), date(2026, 2, 20), 14)
    rows = found.rackets.set_index("racket_id")
    assert rows["days_since"].to_dict() == {"R1": 50.0, "R2": 19.0}
    assert rows["hours_played"].to_dict() == {"R1": 2.0, "R2": 1.0}
    assert rows["rule_used"].to_dict() == pytest.approx({"R1": 50 / 1460, "R2": 19 / 1460})
    assert found.has_play


def test_once_a_year_per_weekly_session_is_a_fixed_number_of_hours() -> None:
    """Whatever the frequency: 52 sessions later (common practice; 52 x the length of a session, computed)."""
    for outings in (1.0, 2.0, 4.0):
        rackets = pd.DataFrame({"weekly_outings": [outings], "rule_used": [0.0]})
        jobs = thumb_rules.rule_jobs(rackets, 60)
        assert jobs.sum() == 1.0
        assert np.argmax(jobs) * outings == pytest.approx(52.0, abs=outings)


def test_overdue_rackets_are_the_first_week_s_jobs_and_idle_ones_nobody_s() -> None:
    rackets = pd.DataFrame({"weekly_outings": [3.0, 3.0, 0.0], "rule_used": [1.4, 0.9, 0.0]})
    # 0.1 of 365 / 3 days is 12.2 days: the second week
    assert thumb_rules.rule_jobs(rackets, 3).tolist() == [1.0, 1.0, 0.0]


def test_the_recent_average_knows_whole_weeks_only() -> None:
    origin = date(2026, 3, 29)
    days = [origin - timedelta(days=back) for back in (0, 3, 6, 7, 20)] + [origin + timedelta(days=1)]
    assert thumb_rules.recent_jobs(days, origin).tolist() == [3.0, 1.0, 1.0]
    assert len(thumb_rules.recent_jobs([origin - timedelta(days=400)], origin)) == 8


def test_a_chance_is_lent_by_like_beds_of_the_past() -> None:
    past = pd.Series(np.arange(80.0))
    lent = thumb_rules.chance_by_past(pd.Series([0.0, 79.0]), past, past >= 40)
    assert lent.tolist() == [0.0, 1.0]
    assert np.isnan(thumb_rules.chance_by_past(pd.Series([3.0]), past.head(0), past.head(0))).all()


def test_shares_of_past_beds_of_a_like_score() -> None:
    """Eight past beds are eight groups of one: each score lends its own bed's ending. Sixteen are groups of two."""
    past = pd.Series(np.arange(8.0))
    ended = pd.Series([True, False, False, True, True, False, True, False])
    assert thumb_rules.chance_by_past(past, past, ended).tolist() == ended.astype(float).tolist()
    twice, ended = pd.Series(np.arange(16.0)), pd.Series([True, False] * 4 + [True] * 4 + [False] * 4)
    found = thumb_rules.chance_by_past(pd.Series([0.0, 7.0, 8.0, 11.0, 12.0, 99.0]), twice, ended)
    assert found.tolist() == [0.5, 0.5, 1.0, 1.0, 0.0, 0.0]


def twenty_calls() -> Backtest:
    """Twenty called, seventeen of them in; three in without a call; sixty quiet ones."""
    rackets = pd.DataFrame(
        {
            "origin": date(2026, 3, 1),
            "racket_id": [f"R{i:02}" for i in range(83)],
            "bed_id": [f"B{i:02}" for i in range(83)],
            "p_end": [0.8] * 20 + [0.2] * 63,
            "outcome": ["wear"] * 17 + ["in"] * 2 + ["other"] + ["wear"] * 3 + ["in"] * 60,
            "days_since": np.arange(83.0),
            "hours_played": np.arange(83.0, 0.0, -1.0),
            "rule_used": np.linspace(0.0, 1.2, 83),
            "p_days": 0.25,
            "p_hours": 0.25,
            "p_rule": 0.25,
        }
    )
    rackets["came_true"] = (rackets["outcome"] == "wear").astype(float)
    week = {
        "origin": date(2026, 3, 1), "week": 1, "starts_on": date(2026, 3, 2), "real": 20, "rule": 14.0,
        "crps_rule": 6.0, "pit_low": 0.4, "pit_high": 0.5, "pit": 0.45, "recent_pit_low": 0.9,
        "recent_pit_high": 1.0,
    }  # fmt: skip
    for prefix, crps in (("", 1.5), ("recent_", 3.0)):
        week |= {f"{prefix}mean": 19.0, f"{prefix}p10": 15.0, f"{prefix}p50": 19.0, f"{prefix}p90": 24.0}
        week |= {f"{prefix}crps": crps}
    return Backtest(date(2026, 3, 15), 2, rackets[list(RACKET_COLUMNS)], pd.DataFrame([week]), 0, 0)


def test_the_words_a_coach_repeats() -> None:
    b = twenty_calls()
    assert record_table.headline(b) == "Of 20 called due, 17 came in within two weeks; 3 came in that were not called"
    assert record_table.weekly_words(b).startswith("Weekly restrings: 1 of 1 week came out inside the band")
    assert record_table.weekly_words(b).endswith("20 restrings came where 19 were foreseen.")
    quiet = Backtest(b.as_of, 2, b.rackets.assign(p_end=0.1), b.weeks, 0, 0)
    assert record_table.headline(quiet) == "No racket was called due; 20 came in that were not called"


def test_the_times_a_week_rule_calls_from_one_on() -> None:
    """Rule used goes from 0 to 1.2 over 83 rackets: from the 70th on (69 x 1.2 / 82 = 1.01) it is one or more. None of
    those fourteen came in, so all twenty that did were missed."""
    table = record_table.measures(twenty_calls()).set_index("measure")["times_a_week_rule"]
    assert table[["called_due", "called_and_came_in", "came_in_not_called"]].tolist() == [14, 0, 20]


def test_the_other_orders_call_as_many() -> None:
    r = twenty_calls().rackets
    assert called_by_model(r).sum() == called_by_order(r, "days_since").sum() == 20
    # by hours the first twenty are the model's; by days the last twenty, of which none came in
    assert calls(r, called_by_order(r, "hours_played")) == calls(r, called_by_model(r))
    assert calls(r, called_by_order(r, "days_since")).came_in == 0


def test_the_table_has_the_columns_of_the_command_and_is_empty_where_a_measure_does_not_apply() -> None:
    frame = record_table.measures(twenty_calls())
    assert tuple(frame.columns) == record_table.CSV_COLUMNS
    table = frame.set_index("measure")
    assert table.loc[["called_due", "called_and_came_in", "came_in_not_called"], "model"].tolist() == [20, 17, 3]
    assert table.loc["called_due_past_40_h"].notna().to_dict() == {
        "model": False, "times_a_week_rule": False, "days_since": False, "flat_hours": True, "recent_average": False,
    }  # fmt: skip
    assert table.loc["called_due_past_40_h", "flat_hours"] == 44
    assert table.loc["auc"].isna().to_dict()["recent_average"] and table.loc["crps"].isna().to_dict()["days_since"]
    assert table.loc["crps_over_recent_average", "model"] == 0.5
    assert table.loc["coverage_80", ["model", "recent_average"]].tolist() == [1.0, 0.0]
    assert table.loc["brier", "days_since"] == pytest.approx(20 / 83 * 0.75**2 + 63 / 83 * 0.25**2)


def test_without_any_play_on_file_the_rules_that_need_it_say_nothing() -> None:
    con = academy()
    con.execute("delete from facts.practices")
    b = backtest(con, ORIGIN, 2, draws=DRAWS)
    table = record_table.measures(b).set_index("measure")
    assert table[["times_a_week_rule", "flat_hours"]].isna().all(axis=None)
    assert table.loc["auc", ["model", "days_since"]].notna().all()
    assert "times-a-week" not in record_table.beside_the_rules(b)


def test_a_kept_track_record_comes_back_to_the_last_digit(tmp_path: Path) -> None:
    store = Store(tmp_path / "club")
    store.load(write_files(tmp_path / "files"), now=NOW)
    steps: list[tuple[int, int]] = []
    record = work_out(store, weeks=4, now=NOW, progress=lambda done, count, _: steps.append((done, count)))
    assert steps == [(0, 2), (1, 2), (2, 2)]
    assert kept(store.folder) is None
    keep(store, record)
    back = kept(store.folder)
    assert isinstance(back, TrackRecord)
    assert (back.worked_out_at, back.view_version, back.backtest.as_of) == (NOW, None, record.backtest.as_of)
    pd.testing.assert_frame_equal(back.backtest.rackets, record.backtest.rackets, check_exact=True, check_dtype=False)
    pd.testing.assert_frame_equal(back.backtest.weeks, record.backtest.weeks, check_exact=True, check_dtype=False)


def test_a_damaged_track_record_is_said(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text('{"format": 1, "as_of": "2026', encoding="utf-8")
    with pytest.raises(StoreError, match="is damaged or of another version of the program: work the track record out"):
        kept(tmp_path)
