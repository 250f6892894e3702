"""Frames and reports in, text out: CSV or tables on standard output, messages and progress on standard error."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from pipeline.store import LoadReport
from pipeline.store.loading import Progress as ShowStep

PLAIN_WIDTH = 160  # of a table that goes to a file or a pipe, unless COLUMNS says otherwise
DECIMALS = 6


def _console(is_error: bool = False) -> Console:
    stream = sys.stderr if is_error else sys.stdout
    width = None if stream.isatty() else shutil.get_terminal_size((PLAIN_WIDTH, 0)).columns
    return Console(file=stream, width=width, highlight=False, markup=False)


def say(sentence: str, to_stdout: bool = False) -> None:
    """One sentence as it is, never folded, so that it can be searched for."""
    print(sentence, file=sys.stdout if to_stdout else sys.stderr, flush=True)


@contextmanager
def progress() -> Iterator[ShowStep]:
    """A bar on standard error while files are loaded; nothing where that is no terminal."""
    console = _console(is_error=True)
    with Progress(
        TextColumn("{task.description}", markup=False), BarColumn(), console=console, transient=True,
        disable=not console.is_terminal,
    ) as bar:  # fmt: skip
        task = bar.add_task("Loading", total=None)

        def show(done: int, steps: int, name: str) -> None:
            bar.update(task, completed=done, total=steps, description=f"Loading {name}")

        yield show


@contextmanager
def waiting(what: str) -> Iterator[None]:
    """A sign of life on standard error during long work; nothing where that is no terminal."""
    console = _console(is_error=True)
    if not console.is_terminal:
        yield
        return
    with console.status(what):
        yield


def _table(frame: pd.DataFrame) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in frame.columns:
        is_number = pd.api.types.is_numeric_dtype(frame[name])
        table.add_column(str(name), justify="right" if is_number else "left", overflow="fold")
    for row in frame.itertuples(index=False):
        table.add_row(*(Text("" if pd.isna(value) else _shown(value)) for value in row))
    return table


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return str(value)


def print_frame(frame: pd.DataFrame, is_csv: bool, when_empty: str | None = None) -> None:
    """A frame as CSV or as a table."""
    if is_csv:
        frame.round(DECIMALS).to_csv(sys.stdout, index=False, lineterminator="\n")
    elif frame.empty and when_empty:
        say(when_empty, to_stdout=True)
    else:
        _console().print(_table(frame))


def print_load(report: LoadReport, is_csv: bool) -> None:
    """What a load did, file by file."""
    print_frame(report.frame(), is_csv)


def _days(days: float | None) -> str:
    return "" if days is None or pd.isna(days) else f"{days:.0f}"


def print_urgent(frame: pd.DataFrame, as_of: date, count: int | None, days: int = 14) -> None:
    """The ranking for a reader: the first `count` rackets, or all."""
    shown = frame if count is None else frame.head(count)
    title = "The rackets by urgency" if count is None else f"The {len(shown)} most urgent of {len(frame)} rackets"
    say(f"{title}, as of {as_of}; chances within {days} days.", to_stdout=True)
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("rank", "racket", "player", "ends", "dead", "days left"):
        table.add_column(name, justify="left" if name in ("racket", "player") else "right", no_wrap=True)
    table.add_column("why", overflow="fold")
    for row in shown.to_dict("records"):
        chances = ["" if pd.isna(row[name]) else f"{row[name]:.0%}" for name in ("p_end", "p_dead")]
        ids = ["" if pd.isna(row[name]) else str(row[name]) for name in ("rank", "racket_id", "player_id")]
        table.add_row(*(Text(cell) for cell in (*ids, *chances, _days(row["days_left_p50"]), str(row["why"] or ""))))
    _console().print(table)
