"""Tension left of the beds in play, from readings of the tapped bed and from the model."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import pandas as pd
import pytest

from pipeline.fleet.snapshot import snapshot
from pipeline.fleet.tension_left import COLUMNS, tension_left
from tests.fleet.clubs import ORIGIN, academy
from tests.sql.club_rows import put, strung

RACKET = "P00-1"
STRUNG = ORIGIN - timedelta(days=12)
FRESH = STRUNG + timedelta(days=1)  # on the day itself an undated look speaks of the old bed


def club(*readings: tuple[date, float]) -> duckdb.DuckDBPyConnection:
    """P00-1 is strung afresh twelve days before the origin at 24 kg, and tapped on some days."""
    con = academy(players=4, weeks=20)
    con.execute("delete from facts.inspections")
    con.execute("delete from facts.restrings where racket_id = ? and strung_on > ?", [RACKET, STRUNG])
    strung(con, "OWN", RACKET, str(STRUNG), reason="scheduled", mains_kg=24.0)
    put(
        con,
        "inspections",
        [
            {"inspection_id": f"T{i}", "racket_id": RACKET, "inspected_on": str(on), "pitch_hz": hz}
            for i, (on, hz) in enumerate(readings)
        ],
    )
    return con


def left(*readings: tuple[date, float]) -> pd.Series:
    return tension_left(snapshot(club(*readings), ORIGIN)).set_index("racket_id").loc[RACKET]


def test_one_row_a_racket_in_play_with_its_band() -> None:
    made = snapshot(club(), ORIGIN)
    frame = tension_left(made)
    assert tuple(frame.columns) == COLUMNS
    assert list(frame["racket_id"]) == list(made.beds.racket_id)
    assert (frame["p10"] < frame["tension_left_pct"]).all()
    assert (frame["tension_left_pct"] <= frame["p90"]).all()
    assert (frame["p90"] <= 100.0).all()
    assert set(frame["source"]) == {"model"}


def test_the_model_alone_says_what_the_ranking_says() -> None:
    made = snapshot(club(), ORIGIN)
    ranked = made.ranking().set_index("racket_id")["tension_left_pct"]
    for row in tension_left(made).to_dict("records"):
        assert row["tension_left_pct"] == pytest.approx(ranked[row["racket_id"]])


def test_a_drop_in_pitch_is_twice_that_in_tension() -> None:
    """T goes as f squared: 10 % down in Hz is 19 % down in tension (Cross 2006, computed). The model is weighed in, so
    it lands between."""
    model = left()
    tapped = left((FRESH, 600.0), (ORIGIN, 540.0))
    assert tapped["source"] == "pitch"
    low, high = sorted([81.0, float(model["tension_left_pct"])])
    assert low < tapped["tension_left_pct"] < high


def test_two_readings_say_more_than_one() -> None:
    """With the bed's first reading the band is narrower than by frame, string and pull alone; the model's own is
    wider still."""
    two, one, none = left((FRESH, 600.0), (ORIGIN, 560.0)), left((ORIGIN, 560.0)), left()

    def width(row: pd.Series) -> float:
        return float((row["tension_left_pct"] - row["p10"]) / row["tension_left_pct"])

    assert width(two) < width(one) < width(none)


def test_a_late_first_reading_is_no_mark_to_hold_against() -> None:
    """Taken later than three days after stringing, the first reading is judged by frame and string like any other."""
    early = left((STRUNG + timedelta(days=3), 600.0), (ORIGIN, 560.0))
    late = left((STRUNG + timedelta(days=4), 600.0), (ORIGIN, 560.0))
    only = left((ORIGIN, 560.0))
    assert late["tension_left_pct"] == pytest.approx(only["tension_left_pct"])
    assert early["tension_left_pct"] != pytest.approx(only["tension_left_pct"])


def test_a_higher_pitch_means_more_left() -> None:
    readings = [left((FRESH, 600.0), (ORIGIN, hz))["tension_left_pct"] for hz in (520.0, 550.0, 580.0, 600.0)]
    assert readings == sorted(readings) and readings[0] < readings[-1]


def test_an_old_reading_is_carried_on() -> None:
    """What is lost since the reading comes off it: loss never stops (USRSA, instruction page on tension loss)."""
    now = left((FRESH, 600.0), (ORIGIN, 580.0))
    then = left((FRESH, 600.0), (ORIGIN - timedelta(days=8), 580.0))
    assert then["tension_left_pct"] < now["tension_left_pct"]


def test_a_reading_of_an_earlier_bed_says_nothing() -> None:
    before = left((STRUNG - timedelta(days=2), 500.0))
    assert before["source"] == "model"
