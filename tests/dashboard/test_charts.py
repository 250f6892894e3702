"""Figures from frames: every mark where its number says, shapes beside colours, room for phones, safe names."""

from __future__ import annotations

import duckdb
import pandas as pd
import pytest

from dashboard import charts
from dashboard.chart_events import _shortened
from dashboard.palette import palette
from pipeline.fleet import frames
from pipeline.fleet.frames.this_week import CHART_DAYS
from tests.dashboard.small_view import AS_OF

COLOURS = palette("light")
EVERYTHING = frames.Filters(show=frames.ALL)


@pytest.fixture
def week(view: duckdb.DuckDBPyConnection) -> frames.ThisWeek:
    return frames.this_week(view, EVERYTHING, AS_OF)


def calendar(page: frames.ThisWeek, is_narrow: bool = False):
    return charts.week_calendar(page.calendar, page.events, AS_OF, CHART_DAYS, COLOURS, is_narrow)


def marks(figure) -> dict[str, pd.DataFrame]:
    return {trace.name: pd.DataFrame({"x": trace.x, "y": trace.y}) for trace in figure.data}


def test_a_mark_stands_on_the_likely_day(week: frames.ThisWeek) -> None:
    by_name = marks(calendar(week))
    (breaks,) = pd.to_datetime(by_name["likely to break"]["x"])
    assert breaks == pd.Timestamp("2026-11-18")
    (broken,) = pd.to_datetime(by_name["broken"]["x"])
    assert broken == pd.Timestamp(AS_OF)


def test_each_limit_has_a_shape_of_its_own(week: frames.ThisWeek) -> None:
    symbols = {trace.name: trace.marker.symbol for trace in calendar(week).data}
    assert symbols["likely to break"] == "diamond"
    assert symbols["likely to go dead"] == "circle"
    assert len(set(symbols.values())) == len(symbols)


def test_later_than_the_calendar_is_said_not_drawn_inside(week: frames.ThisWeek) -> None:
    later = marks(calendar(week))["later than shown"]
    assert len(later) == 2
    assert (pd.to_datetime(later["x"]) == pd.Timestamp("2026-12-13")).all()


def test_soonest_first(week: frames.ThisWeek) -> None:
    assert list(week.calendar["racket_id"])[:3] == ["A-1", "B-1", "A-2"]
    assert week.calendar["likely_at"].is_monotonic_increasing


def test_bars_end_where_the_band_ends(week: frames.ThisWeek) -> None:
    row = week.calendar.set_index("racket_id").loc["A-2"]
    bars = [shape for shape in calendar(week).layout.shapes if shape.type == "rect" and shape.yref != "y domain"]
    assert any(pd.Timestamp(bar.x0) == row["from_at"] and pd.Timestamp(bar.x1) == row["to_at"] for bar in bars)


def test_phone_rows_are_taller_and_names_shorter(week: frames.ThisWeek) -> None:
    wide, narrow = calendar(week), calendar(week, is_narrow=True)
    assert narrow.layout.height > wide.layout.height
    assert any("Ana Reed" in label for label in wide.layout.yaxis.ticktext)
    assert not any("Ana Reed" in label for label in narrow.layout.yaxis.ticktext)
    assert any(label.startswith("Reed") for label in narrow.layout.yaxis.ticktext)


def test_markup_in_a_name_is_not_markup_in_a_label(week: frames.ThisWeek) -> None:
    labels = " ".join(calendar(week).layout.yaxis.ticktext)
    assert "&lt;b&gt;:red[x]" in labels


def test_labels_of_events_on_neighbouring_days_do_not_collide(week: frames.ThisWeek) -> None:
    days = pd.date_range("2026-11-17", periods=4, freq="2D")
    names = ["League, Falcon", "County, Heron", "Open day", "Club cup"]
    events = pd.DataFrame({"planned_on": days, "until": days, "label": names})
    figure = charts.week_calendar(week.calendar, events, AS_OF, CHART_DAYS, COLOURS, True)
    assert [note.text for note in figure.layout.annotations] == names
    assert len({note.yshift for note in figure.layout.annotations}) == 4


def test_events_on_the_same_days_share_a_band_and_a_label(week: frames.ThisWeek) -> None:
    events = pd.DataFrame(
        {
            "planned_on": pd.to_datetime(["2026-11-20", "2026-11-21", "2026-11-21", "2026-11-22"]),
            "until": pd.to_datetime(["2026-11-22", "2026-11-21", "2026-11-21", "2026-11-22"]),
            "label": ["Open", "League", "League", "Cup"],
        }
    )
    figure = charts.week_calendar(week.calendar, events, AS_OF, CHART_DAYS, COLOURS, False)
    assert sorted(note.text for note in figure.layout.annotations) == ["Open", "and 2 more"]
    (band,) = [shape for shape in figure.layout.shapes if shape.yref == "y domain"]
    assert (pd.Timestamp(band.x0), pd.Timestamp(band.x1)) == (pd.Timestamp("2026-11-20"), pd.Timestamp("2026-11-23"))


def test_wear_curves_hold_the_numbers_of_the_frame(view: duckdb.DuckDBPyConnection) -> None:
    page = frames.racket(view, "A-2", AS_OF)
    assert page is not None
    looks = page.inspections[page.inspections["is_this_bed"]]
    figure = charts.wear_curves(page.wear, looks, page.events, AS_OF, COLOURS, False)
    by_name = {trace.name: trace for trace in figure.data if trace.name}
    assert by_name["towards breaking"].y[-1] == pytest.approx(0.8)
    assert by_name["towards going dead"].y[-1] == pytest.approx(0.4)
    assert by_name["towards breaking"].line.shape == "hv"
    assert by_name["towards breaking, planned play"].line.dash == "6px,5px"
    assert list(pd.to_datetime(by_name["inspection"].x)) == [pd.Timestamp("2026-11-11")]
    assert figure.layout.yaxis.title.text == "life used"


def test_weeks_ahead_hold_the_numbers_of_the_frame(view: duckdb.DuckDBPyConnection) -> None:
    page = frames.workload(view, AS_OF)
    by_name = {trace.name: trace for trace in charts.weeks_ahead(page.weeks, page.past, AS_OF, COLOURS, False).data}
    assert list(by_name["likely"].y) == [18, 20, 15]
    assert list(by_name["done"].y) == [16, 16, 16, 16]
    assert list(by_name["8 weeks in 10 fall in here"].y) == [25, 28, 22, 10, 14, 12]
    # the third week falls by 5, so that its number stands below the line that comes down to it
    assert list(by_name["likely"].textposition) == ["top center", "top center", "bottom center"]


def test_bench_hours_are_hours(view: duckdb.DuckDBPyConnection) -> None:
    page = frames.workload(view, AS_OF)
    by_name = {trace.name: trace for trace in charts.bench_hours(page.weeks, COLOURS, False).data}
    assert list(by_name["likely"].y) == [9, 11, 8]
    assert list(by_name["allow for"].y) == [13, 15, pytest.approx(700 / 60)]
    assert {y for y in by_name["hours there are"].y if y is not None} == {10}


def test_no_bench_hours_no_line(view: duckdb.DuckDBPyConnection) -> None:
    view.execute("update forecast_weeks set capacity_minutes = null")
    page = frames.workload(view, AS_OF)
    assert not page.has_bench_hours
    assert "hours there are" not in {trace.name for trace in charts.bench_hours(page.weeks, COLOURS, False).data}
    assert page.title == "About 18 restrings in the next week; allow for 25"


def test_every_chart_is_told_in_words(view: duckdb.DuckDBPyConnection, week: frames.ThisWeek) -> None:
    """For those who do not see it: every racket of the calendar, both curves, every step (WCAG 2.2, 1.1.1)."""
    for row in week.calendar.to_dict("records"):
        assert f"{row['racket_id']}, {row['player']}: {row['hover']}" in week.calendar_in_words
    page = frames.racket(view, "A-2", AS_OF)
    assert page is not None and page.moved is not None
    assert "towards breaking 80 %" in page.wear_in_words
    assert "towards going dead 40 %" in page.wear_in_words
    assert f"together {page.moved.total_hours:.1f}" in page.moved.in_words


def test_every_figure_says_what_its_axes_are(view: duckdb.DuckDBPyConnection) -> None:
    page = frames.workload(view, AS_OF)
    assert "week" in charts.weeks_ahead(page.weeks, page.past, AS_OF, COLOURS, False).layout.yaxis.title.text
    assert "hours" in charts.bench_hours(page.weeks, COLOURS, False).layout.yaxis.title.text


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Torvale Open", "Torvale Open"),
        ("Autumn league round 3", "Autumn league… 3"),
        ("Autumn league round 12", "Autumn… 12"),
        ("Harrowick Junior Open", "Harrowick…"),
        ("Unbrokenandmuchtoolong 7", "Unbrokenandmu… 7"),
    ],
)
def test_a_shortened_event_keeps_its_round(name: str, told: str) -> None:
    assert _shortened(name, 16) == told
