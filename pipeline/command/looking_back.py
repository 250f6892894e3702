"""The track record for a terminal: a bar while it is worked out, then the words and the scores."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from pipeline.command import output
from pipeline.fleet.backtest import Progress as ShowFortnight
from pipeline.fleet.record_table import beside_the_rules, headline, measures, small_print, weekly_words
from pipeline.fleet.track_record import TrackRecord


@contextmanager
def fortnight_bar() -> Iterator[ShowFortnight]:
    """A bar on standard error, one step a fortnight; nothing where that is no terminal."""
    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}", markup=False), BarColumn(), console=console, transient=True,
        disable=not console.is_terminal,
    ) as bar:  # fmt: skip
        task = bar.add_task("Looking back", total=None)

        def show(done: int, steps: int, origin: date) -> None:
            bar.update(task, completed=done, total=steps, description=f"Looking back to {origin}")

        yield show


def print_record(record: TrackRecord, is_csv: bool) -> None:
    """The scores as CSV; or the words, the scores and the small print."""
    b = record.backtest
    table = measures(b)
    if is_csv:
        output.print_frame(table, is_csv=True)
        return
    sentences = [f"{headline(b)}.", beside_the_rules(b), weekly_words(b)]
    output.say(f"{b.count_weeks} weeks, {b.first_day} to {b.as_of}.", to_stdout=True)
    for sentence in filter(None, sentences):
        output.say(sentence, to_stdout=True)
    output.print_frame(table, is_csv=False)
    for note in small_print(b):
        output.say(note, to_stdout=True)
