"""Figures of the track record: chances against what came true, and the weekly band with what came.

In: a frame as `pipeline.fleet.frames.track_record` makes it, a `Palette`, whether the screen is narrow. Out: a Plotly
figure in the house style of `charts`.
"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.charts import house_figure, percent_ticks
from dashboard.palette import Palette

DAY_MS = 86_400_000


def calibration(points: pd.DataFrame, colours: Palette, is_narrow: bool) -> go.Figure:
    """A point a tenth of the chance: on the dotted line what was called came true. Above each its count of rackets."""
    figure = house_figure(colours, height=360)
    figure.add_scatter(
        x=[0, 1],
        y=[0, 1],
        mode="lines",
        name="as called",
        line={"color": colours.ink, "width": 1, "dash": "2px,3px"},
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=points["predicted"],
        y=points["came_true"],
        mode="lines+markers",
        name="came in",
        line={"color": colours.further, "width": 1.4},
        marker={"size": 10, "color": colours.further},
        error_y={
            "type": "data",
            "symmetric": False,
            "array": (points["high"] - points["came_true"]).clip(lower=0),
            "arrayminus": (points["came_true"] - points["low"]).clip(lower=0),
            "color": colours.further,
            "thickness": 1.2,
            "width": 0,
        },
        customdata=points["words"],
        hovertemplate="%{customdata}<extra></extra>",
    )
    for row in points.to_dict("records"):
        figure.add_annotation(
            x=row["predicted"],
            y=max(row["high"], row["came_true"]),
            yshift=9,
            text=f"{row['count']:.0f}",
            showarrow=False,
            font={"size": 12, "color": colours.quiet},
        )
    figure.update_layout(margin={"l": 4, "r": 12, "t": 40, "b": 30, "pad": 4}, legend={"y": 1.04})
    figure.update_xaxes(
        range=[0, 1.02], title_text="chance called", showgrid=False, **percent_ticks(0, 1, 25 if is_narrow else 20)
    )
    figure.update_yaxes(range=[0, 1.1], title_text="" if is_narrow else "came in", **percent_ticks(0, 1, 20))
    return figure


def weekly_bands(weeks: pd.DataFrame, colours: Palette, is_narrow: bool) -> go.Figure:
    """A bar a week from the low to the high end of the band, its likely value, and the restrings that came."""
    figure = house_figure(colours, height=360)
    figure.add_bar(
        x=weeks["middle"],
        y=weeks["p90"] - weeks["p10"],
        base=weeks["p10"],
        width=[5 * DAY_MS] * len(weeks),
        name="band" if is_narrow else "8 weeks in 10 fall in here",
        marker={"color": colours.faint(colours.goes_dead, 0.24)},
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=weeks["middle"],
        y=weeks["p50"],
        mode="markers",
        name="likely",
        marker={
            "symbol": "line-ew",
            "size": 11 if is_narrow else 15,
            "line": {"color": colours.goes_dead, "width": 2.4},
        },
        hoverinfo="skip",
    )
    for is_inside, name, symbol in ((True, "came", "circle"), (False, "outside", "circle-open")):
        part = weeks[weeks["is_inside"] == is_inside]
        if part.empty:
            continue
        figure.add_scatter(
            x=part["middle"],
            y=part["real"],
            mode="markers",
            name=name,
            marker={"symbol": symbol, "size": 9, "color": colours.ink, "line": {"color": colours.ink, "width": 2}},
            customdata=part["words"],
            hovertemplate="%{customdata}<extra></extra>",
        )
    most = 4 if is_narrow else 6
    shown = weeks.iloc[:: max(1, -(-len(weeks) // most))]
    figure.update_layout(margin={"l": 4, "r": 12, "t": 40, "b": 30, "pad": 4}, legend={"y": 1.04})
    figure.update_xaxes(
        showgrid=False, tickvals=shown["middle"], ticktext=[text[4:] for text in shown["label"]], tickangle=0
    )
    figure.update_yaxes(rangemode="tozero", title_text="" if is_narrow else "restrings a week")
    return figure
