"""Figures from frames: the calendar of This week, the wear curves of a racket, the weeks ahead of the bench.

In: a frame as `pipeline.fleet.frames` makes it, a `Palette`, whether the screen is narrow. Out: a Plotly figure with
one shared template: quiet lines, axes named with units, bands explained in the legend, hover in words. Nothing is
computed here but places on the page.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.chart_events import event_bands, put
from dashboard.palette import TEXT_FONT, Palette
from pipeline.fleet import words
from pipeline.fleet.frames.racket import SIGNS

CONFIG = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False}
DAY = pd.Timedelta(days=1)
MARKS = {"breaks": "diamond", "goes_dead": "circle", "broken": "x"}
MARK_WORDS = {"broken": "broken", "breaks": "likely to break", "goes_dead": "likely to go dead"}
USED = {"breaks": "break_used", "goes_dead": "dead_used"}  # limit -> column of the life used, stem of its band's
TOWARDS = {"breaks": "breaking", "goes_dead": "going dead"}
LABEL_FALL = 4.0  # restrings by which a week falls below the one before, so that its number goes below


def house_figure(colours: Palette, height: int) -> go.Figure:
    """An empty figure in the house style."""
    axis = {
        "fixedrange": True,
        "showline": False,
        "zeroline": False,
        "gridcolor": colours.rule,
        "tickfont": {"size": 13, "color": colours.quiet},
        "title": {"font": {"size": 13, "color": colours.quiet}, "standoff": 8},
        "automargin": True,
    }
    # all at once: Plotly takes over ten times as long to change what is there already
    return go.Figure(
        layout={
            "height": height,
            "margin": {"l": 8, "r": 12, "t": 8, "b": 8, "pad": 4},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"family": TEXT_FONT, "size": 13, "color": colours.ink},
            "hoverlabel": {
                "bgcolor": colours.paper_second,
                "bordercolor": colours.rule,
                "font": {"family": TEXT_FONT, "size": 13, "color": colours.ink},
                "align": "left",
            },
            "legend": {
                "orientation": "h",
                "x": 0,
                "xanchor": "left",
                "y": 1,
                "yanchor": "bottom",
                "font": {"size": 13, "color": colours.ink},
                "itemclick": False,
                "itemdoubleclick": False,
                "bgcolor": "rgba(0,0,0,0)",
            },
            "dragmode": False,
            "hovermode": "closest",
            "xaxis": axis,
            "yaxis": axis,
        }
    )


def percent_ticks(first: int, last: float, step: int) -> dict[str, list[Any]]:
    """Ticks of an axis of parts, written as everywhere else: '25 %'. In whole percentages, up to the part `last`."""
    places = range(first, round(100 * last) + 1, step)
    return {
        "tickvals": [place / 100 for place in places],
        "ticktext": [f"{place} %".replace("-", "\u2212") for place in places],
    }


def _weekly_ticks(
    first: pd.Timestamp, last: pd.Timestamp, is_narrow: bool, every_weeks: int = 1
) -> tuple[list[pd.Timestamp], list[str]]:
    """Mondays between two days, as "Mon 16 Nov"; a narrow axis leaves the weekday out."""
    monday = first.normalize() + pd.Timedelta(days=(-first.weekday()) % 7)
    days = list(pd.date_range(monday, last, freq=f"{7 * every_weeks}D"))
    return days, [words.day(value)[4 if is_narrow else 0 :] for value in days]


def _today_line(figure: go.Figure, colours: Palette, at: pd.Timestamp, text: str = "today") -> None:
    figure.add_vline(x=at, line={"color": colours.ink, "width": 1})
    figure.add_annotation(
        x=at, y=1, yref="paper", yanchor="bottom", text=text, showarrow=False, font={"size": 12, "color": colours.ink}
    )


def week_calendar(
    rows: pd.DataFrame, events: pd.DataFrame, as_of: date, days: int, colours: Palette, is_narrow: bool
) -> go.Figure:
    """One row a racket, a calendar across: the mark is the likely day, the bar the 80 % band."""
    first = pd.Timestamp(as_of)
    last = first + days * DAY
    row_height = 34 if is_narrow else 31
    figure = house_figure(colours, height=100)
    names = rows["short_player"] if is_narrow else rows["player"]
    labels = [
        f"{words.chart_text(name)}  <b>{words.chart_text(racket)}</b>"
        for name, racket in zip(names, rows["racket_id"], strict=True)
    ]
    places = list(range(len(rows)))
    lines = event_bands(figure, colours, events, first, last, is_narrow)
    bars = [
        {
            "type": "rect", "x0": row["from_at"], "x1": row["to_at"], "y0": place - 0.13, "y1": place + 0.13,
            "fillcolor": colours.faint(colours.of_limit(row["kind"]), 0.36), "line": {"width": 0},
        }
        for place, row in zip(places, rows.to_dict("records"), strict=True)
        if row["kind"] != "broken"
    ]  # fmt: skip
    put(figure, bars, [])
    for kind, symbol in MARKS.items():
        these = rows.index[(rows["kind"] == kind) & ~rows["is_beyond"]]
        if not len(these):
            continue
        figure.add_scatter(
            x=rows.loc[these, "likely_at"],
            y=list(these),
            mode="markers",
            name=MARK_WORDS[kind],
            marker={"symbol": symbol, "size": 12 if kind != "broken" else 11, "color": colours.of_limit(kind)},
            customdata=[
                f"<b>{words.chart_text(row['racket_id'])}</b> {words.chart_text(row['player'])}<br>{row['hover']}"
                for row in rows.loc[these].to_dict("records")
            ],
            hovertemplate="%{customdata}<extra></extra>",
            cliponaxis=False,
        )
    beyond = rows.index[rows["is_beyond"]]
    if len(beyond):
        figure.add_scatter(
            x=[last] * len(beyond),
            y=list(beyond),
            mode="markers",
            name="later than shown",
            marker={"symbol": "triangle-right-open", "size": 10, "color": colours.quiet},
            customdata=[
                f"<b>{words.chart_text(row['racket_id'])}</b> {words.chart_text(row['player'])}<br>{row['hover']}"
                for row in rows.loc[beyond].to_dict("records")
            ],
            hovertemplate="%{customdata}<extra></extra>",
            cliponaxis=False,
        )
    ticks, texts = _weekly_ticks(first, last, is_narrow)
    head = 14 + 17 * lines
    legend_height = 66 if is_narrow else 26
    plot_height = row_height * max(len(rows), 1)
    figure.update_layout(
        height=head + plot_height + 28 + legend_height,
        margin={"l": 4, "r": 14, "t": head, "b": 28 + legend_height, "pad": 6},
        legend={"y": -(34 / plot_height), "yanchor": "top", "x": 0},
    )
    figure.update_xaxes(range=[first - 0.35 * DAY, last], tickvals=ticks, ticktext=texts, tickangle=0, showgrid=True)
    figure.update_yaxes(
        range=[len(rows) - 0.5, -0.5],
        tickvals=places,
        ticktext=labels,
        tickfont={"size": 13, "color": colours.ink},
        gridcolor=colours.faint(colours.rule, 0.6),
    )
    return figure


def wear_curves(
    wear: pd.DataFrame, looks: pd.DataFrame, events: pd.DataFrame, as_of: date, colours: Palette, is_narrow: bool
) -> go.Figure:
    """Life used by date towards each limit: steps where it was played, dashed with a band under the planned play."""
    figure = house_figure(colours, height=440 if not is_narrow else 420)
    today = pd.Timestamp(as_of)
    first = min(wear["day"].min(), today) - DAY
    last = max(wear["day"].max(), today + 14 * DAY)
    lines = event_bands(figure, colours, events, first, last, is_narrow)
    top = max(1.25, *(min(1.7, float(wear[f"{column}_p90"].max() or 0) * 1.04) for column in USED.values()))
    for limit in USED:
        _wear_curve(figure, wear, limit, colours)
    figure.add_hline(y=1, line={"color": colours.ink, "width": 1, "dash": "2px,3px"})
    figure.add_annotation(
        x=0,
        xref="paper",
        xanchor="left",
        y=1,
        yanchor="bottom",
        text="half have ended" if is_narrow else "half of such beds have ended",
        showarrow=False,
        font={"size": 12, "color": colours.ink},
    )
    _today_line(figure, colours, today, "today" if lines == 0 else "")
    if lines:
        figure.add_annotation(
            x=today, y=0.0, yanchor="bottom", xanchor="left", xshift=4, text="today", showarrow=False,
            font={"size": 12, "color": colours.ink},
        )  # fmt: skip
    _look_marks(figure, looks, top * 0.955, colours)
    span_weeks = (last - first).days / 7
    ticks, texts = _weekly_ticks(first, last, is_narrow, max(1, round(span_weeks / (4 if is_narrow else 5))))
    head = 16 + 17 * lines
    figure.update_layout(
        margin={"l": 4, "r": 12, "t": head, "b": 70, "pad": 4}, legend={"y": -0.13, "yanchor": "top", "x": 0}
    )
    figure.update_xaxes(range=[first, last], tickvals=ticks, ticktext=texts, tickangle=0, showgrid=False)
    figure.update_yaxes(range=[0, top], title_text="" if is_narrow else "life used", **percent_ticks(0, top, 25))
    return figure


def _wear_curve(figure: go.Figure, wear: pd.DataFrame, limit: str, colours: Palette) -> None:
    """One limit's life used: the band, the steps as played, the dashes as planned."""
    column, name, colour = USED[limit], f"towards {TOWARDS[limit]}", colours.of_limit(limit)
    played, planned = wear[wear["kind"] == "played"], wear[wear["kind"] == "planned"]
    planned = pd.concat([played.tail(1), planned])
    for part in (played, planned):
        figure.add_scatter(
            x=[*part["day"], *part["day"][::-1]],
            y=[*part[f"{column}_p90"], *part[f"{column}_p10"][::-1]],
            mode="lines",
            fill="toself",
            fillcolor=colours.faint(colour, 0.14),
            line={"width": 0},
            hoverinfo="skip",
            showlegend=False,
        )
    hover = "%{customdata}<extra></extra>"
    figure.add_scatter(
        x=played["day"],
        y=played[column],
        mode="lines+markers",
        name=name,
        line={"color": colour, "width": 2.4, "shape": "hv"},
        marker={"symbol": MARKS[limit], "size": 6, "color": colour},
        customdata=_used_words(played, column, name),
        hovertemplate=hover,
    )
    figure.add_scatter(
        x=planned["day"],
        y=planned[column],
        mode="lines",
        name=f"{name}, planned play",
        line={"color": colour, "width": 2, "dash": "6px,5px"},
        customdata=_used_words(planned, column, name),
        hovertemplate=hover,
        showlegend=False,
    )


def _look_marks(figure: go.Figure, looks: pd.DataFrame, height: float, colours: Palette) -> None:
    """A star on a stem for every inspection, its grades on hover."""
    if looks.empty:
        return
    days = pd.to_datetime(looks["Looked at"])
    stem = {"color": colours.event, "width": 1, "dash": "1px,3px"}
    put(figure, [{"type": "line", "x0": d, "x1": d, "y0": 0, "y1": height, "line": stem} for d in days], [])
    figure.add_scatter(
        x=days,
        y=[height] * len(looks),
        mode="markers",
        name="inspection",
        marker={"symbol": "star", "size": 13, "color": colours.event},
        customdata=[
            "<br>".join(
                [
                    f"looked at {words.day(row['Looked at'])}",
                    *(f"{sign.lower()}: {row[sign] or 'not looked at'}" for sign in SIGNS.values()),
                ]
            )
            for row in looks.to_dict("records")
        ],
        hovertemplate="%{customdata}<extra></extra>",
    )


def _used_words(rows: pd.DataFrame, column: str, name: str) -> list[str]:
    """What a point of a wear curve says."""
    return [
        f"{name}: about {words.percent(used)}<br>{words.day(day)}"
        for used, day in zip(rows[column], rows["day"], strict=True)
    ]


def weeks_ahead(weeks: pd.DataFrame, past: pd.DataFrame, as_of: date, colours: Palette, is_narrow: bool) -> go.Figure:
    """Restrings a week: bars for the weeks behind, a fan for the weeks ahead."""
    figure = house_figure(colours, height=330)
    if is_narrow:
        past = past.tail(6)
    figure.add_bar(
        x=past["middle"],
        y=past["jobs"],
        name="done",
        width=[5 * 86_400_000] * len(past),
        marker={"color": colours.faint(colours.unknown, 0.45)},
        customdata=past["label"],
        hovertemplate="week of %{customdata}: %{y} restrings done<extra></extra>",
    )
    figure.add_scatter(
        x=[*weeks["middle"], *weeks["middle"][::-1]],
        y=[*weeks["p90"], *weeks["p10"][::-1]],
        mode="lines",
        fill="toself",
        fillcolor=colours.faint(colours.goes_dead, 0.22),
        line={"width": 0},
        name="8 weeks in 10 fall in here",
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=weeks["middle"],
        y=weeks["p50"],
        mode="lines+markers+text",
        name="likely",
        line={"color": colours.goes_dead, "width": 2.4},
        marker={"size": 8},
        text=[f"{value:.0f}" for value in weeks["p50"]],
        # under a point that the line falls down to, so that the line does not cross the number
        textposition=["bottom center" if falls else "top center" for falls in weeks["p50"].diff() < -LABEL_FALL],
        textfont={"size": 13, "color": colours.ink},
        customdata=[
            f"week of {row['label']}<br>likely {row['p50']:.0f} restrings ({row['p10']:.0f} to {row['p90']:.0f})"
            for row in weeks.to_dict("records")
        ],
        hovertemplate="%{customdata}<extra></extra>",
    )
    _today_line(figure, colours, pd.Timestamp(as_of) + DAY)
    _week_axis(figure, past, weeks, is_narrow)
    figure.update_yaxes(rangemode="tozero", title_text="restrings a week")
    return figure


def bench_hours(weeks: pd.DataFrame, colours: Palette, is_narrow: bool) -> go.Figure:
    """Bench hours needed in each week ahead, likely and to allow for, against the hours there are."""
    figure = house_figure(colours, height=330)
    places = list(range(len(weeks)))
    figure.add_bar(
        x=places,
        y=weeks["hours_p50"],
        name="likely",
        marker={"color": colours.goes_dead},
        width=0.5,
        customdata=weeks[["label", "hours_p90"]],
        hovertemplate="week of %{customdata[0]}<br>likely %{y:.0f} h, allow for %{customdata[1]:.0f} h<extra></extra>",
    )
    figure.add_bar(
        x=places,
        y=weeks["hours_p90"],
        base=0,
        name="allow for",
        marker={"color": colours.faint(colours.goes_dead, 0.28)},
        width=0.5,
        hoverinfo="skip",
    )
    known = weeks[weeks["capacity_hours"].notna()]
    if not known.empty:
        figure.add_scatter(
            x=[x for place in known.index for x in (place - 0.4, place + 0.4, None)],
            y=[y for hours in known["capacity_hours"] for y in (hours, hours, None)],
            mode="lines",
            name="hours there are",
            line={"color": colours.ink, "width": 2.5},
            customdata=[label for text in known["label"] for label in (text, text, None)],
            hovertemplate="week of %{customdata}: %{y:.0f} h at the bench<extra></extra>",
        )
    figure.update_layout(
        barmode="overlay",
        margin={"l": 4, "r": 12, "t": 56, "b": 30, "pad": 4},
        legend={"y": 1.08, "traceorder": "normal"},
    )
    figure.update_xaxes(showgrid=False, tickvals=places, ticktext=[text[4:] for text in weeks["label"]], tickangle=0)
    figure.update_yaxes(rangemode="tozero", title_text="hours a week")
    return figure


def _week_axis(figure: go.Figure, past: pd.DataFrame, weeks: pd.DataFrame, is_narrow: bool) -> None:
    both = pd.concat([past[["middle", "label"]], weeks[["middle", "label"]]])
    step = 3 if is_narrow else 2
    shown = both.iloc[len(past) % step :: step]
    figure.update_layout(margin={"l": 4, "r": 12, "t": 56, "b": 30, "pad": 4}, legend={"y": 1.08})
    figure.update_xaxes(
        showgrid=False, tickvals=shown["middle"], ticktext=[text[4:] for text in shown["label"]], tickangle=0
    )
