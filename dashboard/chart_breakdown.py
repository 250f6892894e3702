"""The figure "What moved the date": steps in hours of play from the usual life of such a string to this bed's own end.

In: a `MovedDate` as `pipeline.fleet.frames` makes it, a `Palette`, whether the screen is narrow. Out: a Plotly figure.
Bars stand on one axis that begins at zero; the first and the last are whole, those between start where the one above
ended. What adds points right and what takes points left, and says so with its sign.
"""

from __future__ import annotations

import plotly.graph_objects as go

from dashboard.chart_events import put
from dashboard.charts import house_figure
from dashboard.palette import Palette
from pipeline.fleet import words
from pipeline.fleet.frames.moved import MovedDate, signed_hours

ROW_PIXELS, NARROW_ROW_PIXELS = 30, 46
LINE_LETTERS = 18  # of a label on a narrow screen, before it is broken


def moved_date_figure(moved: MovedDate, colours: Palette, is_narrow: bool) -> go.Figure:
    """One row a step, top to bottom."""
    rows = moved.steps.to_dict("records")
    last = len(rows)
    labels = [_sentence_case(row["label"]) for row in rows] + ["This bed"]
    whole = [True] + [False] * (last - 1) + [True]
    starts = [0.0] + [row["start"] for row in rows[1:]] + [0.0]
    ends = [row["end"] for row in rows] + [moved.total_hours]
    hours = [row["hours"] for row in rows] + [moved.total_hours]
    limit = colours.of_limit(moved.limit)
    fills = [
        colours.faint(colours.unknown, 0.45) if place == 0
        else limit if place == last
        else colours.faint(limit, 0.5) if hours[place] >= 0
        else colours.paper  # what takes is hollow
        for place in range(last + 1)
    ]  # fmt: skip
    figure = house_figure(colours, height=(NARROW_ROW_PIXELS if is_narrow else ROW_PIXELS) * (last + 1) + 84)
    thin = {"color": colours.quiet, "width": 1, "dash": "1px,2px"}
    steps = [
        {"type": "line", "x0": ends[at], "x1": ends[at], "y0": at, "y1": at + 1, "layer": "below", "line": thin}
        for at in range(last)
    ]
    texts = [
        words.number(value, 1) if is_whole else signed_hours(value)
        for value, is_whole in zip(hours, whole, strict=True)
    ]
    figure.add_bar(
        orientation="h",
        y=list(range(last + 1)),
        base=starts,
        x=[end - start for start, end in zip(starts, ends, strict=True)],
        marker={"color": fills, "line": {"color": limit, "width": [0] + [1.4] * last}},
        width=0.56,
        customdata=[f"{label}: {text} h" for label, text in zip(labels, texts, strict=True)],
        hovertemplate="%{customdata}<extra></extra>",
        showlegend=False,
    )
    longest = max(*ends, *starts, moved.played_hours)
    numbers = [
        {
            "x": max(starts[place], ends[place]), "y": place, "text": text, "showarrow": False, "xanchor": "left",
            "xshift": 5, "font": {"size": 13, "color": colours.ink},
        }
        for place, text in enumerate(texts)
    ]  # fmt: skip
    put(figure, steps, numbers)
    figure.add_vline(x=moved.played_hours, line={"color": colours.ink, "width": 1})
    figure.add_annotation(
        x=moved.played_hours, y=1, yref="paper", yanchor="bottom", showarrow=False,
        font={"size": 12, "color": colours.ink}, text=f"played: {words.hours(round(moved.played_hours, 1))}",
        xanchor="left" if moved.played_hours < longest * 0.2 else "center",
    )  # fmt: skip
    figure.update_layout(margin={"l": 4, "r": 14, "t": 26, "b": 48, "pad": 6}, bargap=0)
    figure.update_xaxes(range=[0, longest * 1.16 + 0.5], title_text="hours of play since it was strung", zeroline=True)
    figure.update_xaxes(zerolinecolor=colours.ink, zerolinewidth=1, nticks=5 if is_narrow else 8)
    figure.update_yaxes(
        range=[last + 0.6, -0.6],
        tickvals=list(range(last + 1)),
        ticktext=[_broken(label) if is_narrow else label for label in labels],
        tickfont={"size": 13, "color": colours.ink},
        showgrid=False,
    )
    return figure


def _sentence_case(text: str) -> str:
    return words.chart_text(text[:1].upper() + text[1:])


def _broken(text: str) -> str:
    """A label on as many lines as a narrow screen needs."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= LINE_LETTERS:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return "<br>".join(lines)
