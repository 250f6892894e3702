"""What Track record draws and lists, from a few calls and weeks whose outcome is written beside them."""

from __future__ import annotations

import importlib
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.backtest import Backtest
from pipeline.fleet.frames.club import Club
from pipeline.fleet.track_record import TrackRecord

# the package names a function like this module
page: Any = importlib.import_module("pipeline.fleet.frames.track_record")

FIRST = date(2026, 3, 2)


def looked_back(
    weeks: list[tuple[int, float, float, float, float]], rackets: pd.DataFrame | None = None, asked: int = 2
) -> Backtest:
    """weeks: week after FIRST, what came, 10th, 50th and 90th part in 100 of what was foreseen."""
    frame = pd.DataFrame(
        [(FIRST + timedelta(days=7 * at), *rest) for at, *rest in weeks],
        columns=["starts_on", "real", "p10", "p50", "p90"],
    )
    return Backtest(date(2026, 3, 29), asked, pd.DataFrame() if rackets is None else rackets, frame, 0, 0)


def called(**changes: object) -> pd.DataFrame:
    """Six rackets. Called by the model: the first three (0.5 counts). Ended by wear: the 1st, 2nd and 5th; of the
    third no reason is on file."""
    return pd.DataFrame(
        {
            "p_end": [0.9, 0.5, 0.7, 0.49, 0.2, 0.1],
            "outcome": ["wear", "wear", "unreasoned", "in", "wear", "other"],
            "came_true": [1.0, 1.0, 0.5, 0.0, 1.0, 0.0],
            "rule_used": [1.0, 0.99, 1.2, 1.1, 1.5, 0.2],
            "hours_played": [10.0, 15.0, 20.0, 25.0, 30.0, 40.0],
        }
    ).assign(**changes)


def test_a_week_is_inside_its_band_as_it_is_shown() -> None:
    """Bands are shown as whole restrings, and what is shown decides: 9.6 to 14.4 is 10 to 14."""
    found = page._weeks(
        looked_back([(4, 15, 9.6, 12, 14.4), (0, 10, 9.6, 12, 14.4), (1, 9, 9.6, 12, 14.4), (2, 14, 9.6, 12, 14.4),
                     (3, 12, 9.6, 11.7, 14.4)])
    )  # fmt: skip
    assert found["starts_on"].dt.date.tolist() == [FIRST + timedelta(days=7 * at) for at in range(5)]
    assert found.index.tolist() == [0, 1, 2, 3, 4]
    assert found["is_inside"].tolist() == [True, False, True, True, False]
    assert found[["p10", "p50", "p90"]].iloc[3].tolist() == [10.0, 12.0, 14.0]
    assert found["middle"].iloc[0] == pd.Timestamp("2026-03-05 12:00")  # Monday and three days and a half
    assert found["words"].iloc[0].endswith("2 Mar: 10 came<br>foreseen 12 (10 to 14)")


def test_ways_to_call_beside_each_other() -> None:
    """The third racket has no reason and counts nowhere. The model calls the 1st and 2nd, both came in, and the
    5th came in uncalled. Times a week calls the 1st, 4th and 5th: two came in, the 2nd was missed."""
    table = page._calls(looked_back([(0, 1, 1, 1, 1)], called())).set_index("Way to call")
    assert table.loc["This forecast"].tolist() == [2, 2, 100, 1]
    assert table.loc["Times a week"].tolist() == [3, 2, 67, 1]
    flat = table.drop(index=["This forecast", "Times a week"])
    hours = [int(str(name).split(" ", 1)[0]) for name in flat.index]
    played, outcome = called()["hours_played"], called()["outcome"]
    for (_, line), least in zip(flat.iterrows(), hours, strict=True):
        is_called = (played >= least) & (outcome != "unreasoned")
        came = int((is_called & (outcome == "wear")).sum())
        assert line["Called due"] == is_called.sum() and line["Came in"] == came and line["Missed"] == 3 - came
    assert len(flat) >= 2


def test_nothing_called_has_no_share() -> None:
    (line,) = page._calls(
        looked_back([(0, 1, 1, 1, 1)], called(p_end=0.1, rule_used=np.nan, hours_played=np.nan))
    ).to_dict("records")
    assert (line["Way to call"], line["Called due"], line["Came in"], line["Missed"]) == ("This forecast", 0, 0, 3)
    assert pd.isna(line["Of 100 called"])


@pytest.mark.parametrize(("column", "gone"), [("rule_used", "Times a week"), ("hours_played", "hours of play")])
def test_a_way_that_does_not_apply_to_every_racket_is_left_out(column: str, gone: str) -> None:
    whole = page._calls(looked_back([(0, 1, 1, 1, 1)], called()))["Way to call"]
    part = called()
    part.loc[2, column] = np.nan
    found = page._calls(looked_back([(0, 1, 1, 1, 1)], part))["Way to call"]
    assert whole.str.contains(gone).any() and not found.str.contains(gone).any()
    assert set(found) == {name for name in whole if gone not in name}


def test_calibration_by_tenths() -> None:
    rackets = pd.DataFrame({"p_end": [0.05, 0.05, 0.81, 0.89], "came_true": [0.0, 1.0, 1.0, 1.0]})
    found = page._calibration(looked_back([(0, 1, 1, 1, 1)], rackets))
    assert found["count"].tolist() == [2, 2]
    assert found["words"].iloc[0].startswith("called 0 % to 10 %, on average 5 %<br>came in: 50 % of 2 rackets")
    assert found["words"].iloc[1].startswith("called 80 % to 90 %, on average 85 %<br>came in: 100 % of 2 rackets")


def test_when_it_was_worked_out_and_how_far_the_log_reached() -> None:
    """Half past eleven at night in UTC of the 29th is the 30th in Paris. Two of two weeks, or one short of them, are
    whole fortnights; two short are not."""
    at = datetime(2026, 3, 29, 23, 30, tzinfo=UTC)

    def said(asked: int) -> str:
        b = looked_back([(0, 1, 1, 1, 1), (1, 1, 1, 1, 1)], asked=asked)
        record = TrackRecord(b, worked_out_at=at, view_version="v1")
        return str(page._when(record, "Europe/Paris", date(2026, 3, 29)))

    assert said(2).startswith("Worked out on ") and "30" in said(2).split(" over ")[0]
    assert "over 2 weeks" in said(2) and "far enough" not in said(2)
    assert "far enough" not in said(3) and said(4).endswith("for these of 4 weeks")


def test_a_track_record_of_another_version_is_out_of_date() -> None:
    record = TrackRecord(
        looked_back([(0, 1, 1, 1, 1)]), worked_out_at=datetime(2026, 3, 29, tzinfo=UTC), view_version="v1"
    )

    def said(version: str, as_of: date) -> str:
        return str(page._stale_note(record, version, a_club(as_of)))

    assert said("v1", date(2026, 4, 5)) == ""
    assert "the log now reaches" in said("v2", date(2026, 3, 30))
    assert "Records or settings have been loaded since" in said("v2", date(2026, 3, 29))


def a_club(as_of: date) -> Club:
    import dataclasses

    given = {field.name: None for field in dataclasses.fields(Club)} | {"as_of": as_of}
    return Club(**given)  # type: ignore[arg-type]
