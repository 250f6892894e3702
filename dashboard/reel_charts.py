"""Figures of the page Reels: until when each string lasts, and the season's money by month.

In: rows as `pipeline.fleet.frames.reels` makes them, a `Palette`, whether the screen is narrow. Out: Plotly figures in
the house style. Nothing is computed here but places on the page.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.charts import DAY, house_figure
from dashboard.palette import Palette
from pipeline.fleet import words


def shelf_calendar(
    rows: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp, colours: Palette, is_narrow: bool
) -> go.Figure:
    """One row a string: the bar from when it could be empty to when it may still last, the day to order by as a star,
    an order on its way as a triangle.
    """
    row_height = 46 if is_narrow else 38
    figure = house_figure(colours, height=row_height * max(len(rows), 1) + 96)
    places = list(range(len(rows)))
    labels = [words.chart_text(name) for name in rows["string_name"]]
    low, high = ([min(day, last) for day in rows[name].fillna(last)] for name in ("run_out_p10", "run_out_p90"))
    for place, start, end in zip(places, low, high, strict=True):
        figure.add_scatter(
            x=[first, start],
            y=[place, place],
            mode="lines",
            line={"color": colours.faint(colours.goes_dead, 0.35), "width": 3},
            hoverinfo="skip",
            showlegend=False,
        )
        figure.add_scatter(
            x=[start, end],
            y=[place, place],
            mode="lines",
            line={"color": colours.faint(colours.breaks, 0.30), "width": 12},
            hoverinfo="skip",
            showlegend=False,
        )
    for column, name, symbol, colour, size in (
        ("run_out_p50", "likely empty", "diamond", colours.breaks, 11),
        ("order_by", "order by", "star", colours.event, 14),
        ("comes_on", "an order should come", "triangle-up", colours.further, 12),
    ):
        shown = rows.index[rows[column].notna() & (rows[column] <= last)]
        if not len(shown):
            continue
        figure.add_scatter(
            x=rows.loc[shown, column],
            y=list(shown),
            mode="markers",
            name=name,
            marker={"symbol": symbol, "size": size, "color": colour, "line": {"color": colours.paper, "width": 1}},
            customdata=[
                f"<b>{words.chart_text(row['string_name'])}</b><br>{row['hover']}"
                for row in rows.loc[shown].to_dict("records")
            ],
            hovertemplate="%{customdata}<extra></extra>",
            cliponaxis=False,
        )
    ticks = list(pd.date_range(first, last, freq="MS"))
    if len(ticks) < 2:
        ticks = list(pd.date_range(first, last, freq="7D"))
    figure.update_xaxes(
        range=[first - 0.5 * DAY, last],
        tickvals=ticks,
        ticktext=[words.day(tick)[4:] for tick in ticks],
        tickangle=0,
        showgrid=True,
        title={"text": "day the shelf is empty" if is_narrow else "day the shelf is empty, what is on order counted"},
    )
    figure.update_yaxes(
        range=[len(rows) - 0.5, -0.5],
        tickvals=places,
        ticktext=labels,
        tickfont={"size": 13, "color": colours.ink},
        gridcolor=colours.faint(colours.rule, 0.6),
    )
    return figure


def season_months(months: pd.DataFrame, currency: str, colours: Palette, is_narrow: bool) -> go.Figure:
    """Money by month: used so far, what is likely still to come, and a line up to what to allow for."""
    figure = house_figure(colours, height=300 if is_narrow else 330)
    spent = months[months["spent"] > 0]
    coming = months[~months["is_over"]]
    figure.add_bar(
        x=spent["month_on"],
        y=spent["spent"],
        name="used so far",
        marker={"color": colours.goes_dead},
        width=20 * DAY / pd.Timedelta(milliseconds=1),
        customdata=spent["hover"],
        hovertemplate="%{customdata}<extra></extra>",
    )
    figure.add_bar(
        x=coming["month_on"],
        y=coming["to_come"],
        name="likely to come",
        marker={
            "color": colours.faint(colours.goes_dead, 0.30),
            "pattern": {"shape": "/", "fgcolor": colours.goes_dead, "size": 7, "solidity": 0.15},
        },
        width=20 * DAY / pd.Timedelta(milliseconds=1),
        error_y={
            "type": "data",
            "array": coming["p90"] - coming["p50"],
            "arrayminus": coming["p50"] - coming["p10"],
            "color": colours.ink,
            "thickness": 1.2,
            "width": 4,
        },
        customdata=coming["hover"],
        hovertemplate="%{customdata}<extra></extra>",
    )
    shown = months if not is_narrow else months.iloc[::2]
    figure.update_layout(barmode="stack", bargap=0.3)
    figure.update_xaxes(tickvals=shown["month_on"], ticktext=shown["label"], showgrid=False)
    figure.update_yaxes(title={"text": f"string, {words.chart_text(currency)}"}, rangemode="tozero")
    return figure
