"""The days of events behind a chart: pale bands, and labels on as many lines as they need.

In: a Plotly figure, a frame of events (planned_on, until, label), the first and last day drawn, a `Palette`, whether
the screen is narrow. Out: the figure with its bands and labels, and the count of lines that the labels take.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.palette import Palette
from pipeline.fleet import words

DAY = pd.Timedelta(days=1)


def event_bands(
    figure: go.Figure, colours: Palette, events: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp, is_narrow: bool
) -> int:
    """Pale bands over the days of events, labels on as many lines as they need; returns the count of lines.

    Events whose days overlap share one band and one label of at most two names.
    """
    letter_width = (last - first) / (58 if is_narrow else 118)
    line_ends: list[pd.Timestamp] = []
    shapes: list[dict[str, Any]] = []
    labels: list[dict[str, Any]] = []
    for left, right, names in _overlapping(events, first, last):
        shapes.append(
            {
                "type": "rect", "x0": left, "x1": right, "y0": 0, "y1": 1, "yref": "y domain", "line": {"width": 0},
                "fillcolor": colours.faint(colours.event, 0.13), "layer": "below",
            }
        )  # fmt: skip
        rows = [_shortened(name, 16 if is_narrow else 24) for name in names[:2]]
        if len(names) > 2:
            rows[1] = f"and {len(names) - 1} more"
        half = letter_width * (max(map(len, rows)) / 2 + 1)
        centre = min(max(left + (right - left) / 2, first + half), last - half)
        line = 0
        while any(end > centre - half for end in line_ends[line : line + len(rows)]):
            line += 1
        line_ends += [first] * (line + len(rows) - len(line_ends))
        for text in reversed(rows):
            line_ends[line] = centre + half
            labels.append(
                {
                    "x": centre, "y": 1, "yref": "paper", "yanchor": "bottom", "yshift": 2 + 17 * line,
                    "text": words.chart_text(text), "showarrow": False, "font": {"size": 12, "color": colours.event},
                }
            )  # fmt: skip
            line += 1
    put(figure, shapes, labels)
    return len(line_ends)


def put(figure: go.Figure, shapes: list[dict[str, Any]], labels: list[dict[str, Any]]) -> None:
    """All shapes and labels at once: Plotly checks the whole list again at every single one that is added."""
    if shapes:
        figure.layout.shapes = (*figure.layout.shapes, *shapes)
    if labels:
        figure.layout.annotations = (*figure.layout.annotations, *labels)


def _overlapping(
    events: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp
) -> list[tuple[pd.Timestamp, pd.Timestamp, list[str]]]:
    """Spans of days with an event on, and the names of the events in each, every name once."""
    spans: list[tuple[pd.Timestamp, pd.Timestamp, list[str]]] = []
    for row in events.sort_values("planned_on", kind="stable").to_dict("records"):
        left, right = max(row["planned_on"], first), min(row["until"] + DAY, last)
        if right <= left:
            continue
        name = str(row["label"])
        if spans and left < spans[-1][1]:
            before, end, names = spans.pop()
            spans.append((before, max(end, right), names if name in names else [*names, name]))
        else:
            spans.append((left, right, [name]))
    return spans


def _shortened(text: str, length: int) -> str:
    """At most that many letters, cut at a word where there is one; "round 3" keeps its 3, which tells it from 4."""
    if len(text) <= length:
        return text
    head, _, tail = text.rpartition(" ")
    if tail.isdigit() and len(tail) <= 2:
        return f"{_shortened(head, length - len(tail) - 1)} {tail}"
    kept = text[: length - 1]
    return (kept[: kept.rfind(" ")] if " " in kept[length // 2 :] else kept).rstrip(" ,") + "…"
