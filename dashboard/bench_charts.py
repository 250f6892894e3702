"""The bench's days ahead as a chart: the hours there are, what is planned, what is kept free.

In: the frame `days` of `frames.BenchPage`. Out: a Plotly figure in the house's look.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.charts import house_figure
from dashboard.palette import Palette


def bench_days(days: pd.DataFrame, colours: Palette, is_narrow: bool) -> go.Figure:
    """A bar a day: planned, then kept for walk-ins (hatched); a line where the hours end."""
    figure = house_figure(colours, height=300)
    places = list(range(len(days)))
    custom = days[["label", "hours", "who"]]
    figure.add_bar(
        x=places,
        y=days["planned"],
        name="planned",
        marker={"color": colours.goes_dead},
        width=0.6,
        customdata=custom,
        hovertemplate="%{customdata[0]}: %{y:.1f} of %{customdata[1]:.1f} h planned (%{customdata[2]})<extra></extra>",
    )
    figure.add_bar(
        x=places,
        y=days["kept"],
        name="kept for walk-ins",
        marker={
            "color": colours.faint(colours.goes_dead, 0.15),
            "pattern": {"shape": "/", "fgcolor": colours.goes_dead, "size": 6, "solidity": 0.25},
        },
        width=0.6,
        customdata=custom,
        hovertemplate="%{customdata[0]}: %{y:.1f} h kept for walk-ins<extra></extra>",
    )
    figure.add_scatter(
        x=[x for place in places for x in (place - 0.42, place + 0.42, None)],
        y=[y for hours in days["hours"] for y in (hours, hours, None)],
        mode="lines",
        name="hours there are",
        line={"color": colours.ink, "width": 2.5},
        customdata=[label for text in days["label"] for label in (text, text, None)],
        hovertemplate="%{customdata}: %{y:.1f} h at the bench<extra></extra>",
    )
    step = 3 if is_narrow else 1
    texts = [text[4:] if is_narrow else text.replace(" ", "<br>", 1) for text in days["label"]]
    figure.update_layout(
        barmode="stack",
        margin={"l": 4, "r": 12, "t": 56, "b": 44, "pad": 4},
        legend={"y": 1.1, "traceorder": "normal"},
    )
    figure.update_xaxes(showgrid=False, tickvals=places[::step], ticktext=texts[::step], tickangle=0)
    figure.update_yaxes(rangemode="tozero", title_text="hours a day")
    return figure
