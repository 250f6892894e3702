"""The figure of the page What if: each change against now, with its own band.

In: rows as `pipeline.fleet.frames.what_if` makes them, a `Palette`, whether the screen is narrow. Out: a Plotly figure
in the house style. Nothing is computed here but places on the page.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.charts import house_figure, percent_ticks
from dashboard.palette import Palette

AIR = 0.06  # of the axis, left and right of the widest band


def changes_against_now(rows: pd.DataFrame, colours: Palette, is_narrow: bool) -> go.Figure:
    """One row a measure: the mark is the change, the bar its band; left of the line is less than now."""
    row_height = 46 if is_narrow else 40
    figure = house_figure(colours, height=row_height * max(len(rows), 1) + 80)
    places = list(range(len(rows)))
    for place, low, high in zip(places, rows["low"], rows["high"], strict=True):
        figure.add_scatter(
            x=[low, high],
            y=[place, place],
            mode="lines",
            line={"color": colours.faint(colours.goes_dead, 0.35), "width": 12},
            hoverinfo="skip",
            showlegend=False,
        )
    figure.add_scatter(
        x=rows["part"],
        y=places,
        mode="markers+text",
        marker={
            "symbol": "circle",
            "size": 11,
            "color": colours.goes_dead,
            "line": {"color": colours.paper, "width": 1},
        },
        text=[f"{part:+.0%}".replace("-", "\u2212").replace("%", " %") for part in rows["part"]],
        textposition="top center",
        textfont={"size": 12, "color": colours.ink},
        customdata=rows["hover"],
        hovertemplate="%{customdata}<extra></extra>",
        cliponaxis=False,
        showlegend=False,
    )
    figure.add_vline(x=0, line={"color": colours.ink, "width": 1})
    reach = max(rows["high"].max(), 0.0) if len(rows) else 0.0
    step = 50 if is_narrow or reach > 1 else 25
    low = min(rows["low"].min(), 0.0) if len(rows) else 0.0
    air = AIR * max(reach - low, step / 100)  # so that no bar ends at the edge of the picture
    figure.update_xaxes(
        title={"text": "change against now"},
        range=[low - air, reach + air],
        **percent_ticks(-100, max(reach, step / 100), step),
    )
    figure.update_yaxes(
        range=[len(rows) - 0.5, -0.7],
        tickvals=places,
        ticktext=list(rows["name"]),
        tickfont={"size": 13, "color": colours.ink},
        showgrid=False,
    )
    return figure
