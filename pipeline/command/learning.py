"""Learning from the club's own records, or going back to the trade values, as a command."""

from __future__ import annotations

from contextlib import closing
from datetime import date
from typing import Annotated

import pandas as pd
import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, OnOption, StoreOption
from pipeline.store import Store, StoreError
from pipeline.store.people import LOCAL, require


@says_why
def learn(
    trade_values: Annotated[
        bool, typer.Option("--trade-values", help="Go back to the trade values, until learn is run again.")
    ] = False,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """Fit the wear model to the club's own endings; in force where held-out weeks are forecast better.

    With --on it only shows what was to be learned by that day, and changes nothing.
    """
    from pipeline.sql import last_logged_day

    require(LOCAL, "learn")
    club = Store(store)
    with club.facts() as con:
        last_day = last_logged_day(con)
    if last_day is None:
        raise StoreError(f"{store} has no dated record yet: load restrings, matches or practices first.")
    if on is not None:
        if trade_values:
            raise typer.BadParameter("--trade-values holds from now on: leave out --on.")
        sentence, numbers = _as_of(club, on)
    else:
        sentence, numbers = _from_now_on(club, trade_values, last_day)
    if csv:
        output.print_frame(numbers, is_csv=True)
        return
    output.say(sentence, to_stdout=True)
    for evidence in dict.fromkeys(numbers["evidence"]):
        if "held-out" in evidence or "hold weeks out" in evidence:
            output.say(f"{evidence[0].upper()}{evidence[1:]}.", to_stdout=True)
    shown = numbers[numbers["value_p05"].notna()]
    columns = ["name", "unit", "trade_value", "value", "value_p05", "value_p95"]
    output.print_frame(shown[columns], is_csv=False, when_empty="Every number stands at its trade value.")


def _as_of(club: Store, on: date) -> tuple[str, pd.DataFrame]:
    """What was to be learned by that day; nothing is kept."""
    from pipeline.wear.estimate import estimate
    from pipeline.wear.parameters import parameters

    with club.facts_apart() as con, output.waiting("Learning from the club's records"):
        found = estimate(con, on)
        return found.sentence, parameters(found)


def _from_now_on(club: Store, is_trade: bool, last_day: date) -> tuple[str, pd.DataFrame]:
    """Decide, work the view out anew, and read from it what is in force."""
    from pipeline.refresh import refresh
    from pipeline.wear.decision import decide_nothing, decide_trade

    with club.writing():
        if is_trade:
            decide_trade(club.folder, last_day)
        else:
            decide_nothing(club.folder)
    with output.waiting("Learning from the club's records"):
        refresh(club, is_learning_anew=True)
    with closing(club.view()) as view:
        (sentence,) = view.execute("select value from meta where key = 'learning'").fetchall()[0]
        return sentence, view.execute("from parameters order by rowid").df()
