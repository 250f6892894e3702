"""`racket-fleet what-if`: what another string, gauge or restring policy would change, as a table or as CSV."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, CsvOption, OnOption, StoreOption
from pipeline.command.standing import snapshot_of
from pipeline.store import Store


@says_why
def what_if(
    squad: Annotated[str | None, typer.Option("--squad", metavar="S", help="For this squad's rackets.")] = None,
    player: Annotated[str | None, typer.Option("--player", metavar="P", help="For this player's rackets.")] = None,
    string: Annotated[
        str | None, typer.Option("--string", metavar="ID", help="Strung with this from now on; alone: the whole bed.")
    ] = None,
    crosses: Annotated[
        str | None, typer.Option("--crosses", metavar="ID", help="This in the crosses: a hybrid.")
    ] = None,
    gauge: Annotated[
        float | None, typer.Option("--gauge", metavar="MM", help="The mains in this diameter, in millimetres.")
    ] = None,
    every_hours: Annotated[
        float | None, typer.Option("--every-hours", min=0.5, max=500, help="Restring after so many hours of play.")
    ] = None,
    at_life: Annotated[
        float | None,
        typer.Option("--at-life", min=0.1, max=3, help="Restring at this part of the life used; 1 is the median."),
    ] = None,
    before_events: Annotated[
        bool, typer.Option("--before-events", help="Restring on the eve of events, once half the life is used.")
    ] = False,
    match_cost: Annotated[
        float | None,
        typer.Option(
            "--match-cost",
            min=0,
            max=1000,
            help="A break in a match costs as much as so many restrings: also say the cheapest point to restring.",
        ),
    ] = None,
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=52, help="How many weeks ahead.")] = 26,
    draws: Annotated[int, typer.Option("--draws", min=60, max=20_000, help="How many futures to simulate.")] = 400,
    seed: Annotated[int, typer.Option("--seed", min=0, help="The same seed gives the same numbers.")] = 0,
    store: StoreOption = DEFAULT_STORE,
    on: OnOption = None,
    csv: CsvOption = False,
) -> None:
    """What another string, gauge, hybrid or restring policy would change, and the cheapest point to restring."""
    from pipeline.fleet.what_if import told
    from pipeline.fleet.what_if.answer import what_if as answer_to
    from pipeline.fleet.what_if.question import Question
    from pipeline.fleet.what_if.simulator import Policy

    if squad is not None and player is not None:
        raise typer.BadParameter("give --squad or --player, not both.")
    if sum((every_hours is not None, at_life is not None, before_events)) > 1:
        raise typer.BadParameter("give one of --every-hours, --at-life and --before-events.")
    club = Store(store)
    policy = Policy(every_hours, at_life, 0.5 if before_events else None)
    asked = Question(squad, player, string, crosses, gauge, policy, weeks)
    with snapshot_of(club, on) as (snapshot, _):
        answer = answer_to(snapshot, asked, club.settings, draws=draws, seed=seed, match_cost=match_cost)
        strings = dict(snapshot.con.execute("select string_id, string_name from facts.strings").fetchall())
        people = snapshot.rackets.dropna(subset=["player_id"])
        players = dict(zip(people["player_id"], people["player_name"], strict=True))
    settings = club.settings
    if not csv:
        sentences = [
            f"{told.headline(asked, answer, strings, players, settings.currency, settings.locale)}.",
            told.details(answer),
            "These materials have hardly been strung here, so the bands are wide." * answer.is_new_family,
            told.point_words(answer),
        ]
        for sentence in filter(None, sentences):
            output.say(sentence, to_stdout=True)
    output.print_frame(answer.table, is_csv=csv)
