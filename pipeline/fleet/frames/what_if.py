"""What the page What if shows: what there is to choose from, and an answer in sentences, a table and a chart's rows.

In: a view, the choices of the form, today. Out: `WhatIfPage` before a question, `Told` after it. Changes carry the 80 %
band of the change itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Club, club
from pipeline.store import Store

EVERYBODY = "everybody"
USUAL_WEEKS, USUAL_LIFE_PERCENT, USUAL_MATCH_COST = 12, 100.0, 5.0  # what the page opens with
AS_NOW, AFTER_HOURS, AT_LIFE, BEFORE_EVENTS = "as now", "after hours of play", "at a part of its life", "before events"
POLICIES = (AS_NOW, AFTER_HOURS, AT_LIFE, BEFORE_EVENTS)


@dataclass(frozen=True)
class WhatIfPage:
    """The form. whose: key -> words, squads first; strings: string id -> name; usual: the question it opens with."""

    title: str
    club: Club
    intro: str
    whose: dict[str, str]
    strings: dict[str, str]
    usual: Asked | None


@dataclass(frozen=True)
class Asked:
    """The form as filled in. whose: a key of WhatIfPage.whose; policy: one of POLICIES with its amount (hours, or a
    percentage of the life).
    """

    whose: str
    mains_string_id: str | None
    crosses_string_id: str | None
    gauge_mm: float | None
    policy: str
    amount: float
    weeks: int
    match_cost: float


@dataclass(frozen=True)
class Told:
    """The answer. changes: rows of the chart (name, part, low, high in parts of now, hover)."""

    title: str
    sentence: str
    point: str
    caution: str
    table: pd.DataFrame
    changes: pd.DataFrame


def what_if_page(con: duckdb.DuckDBPyConnection, today: date) -> WhatIfPage:
    """Squads, players and strings to choose from."""
    squads = con.sql("select distinct squad from ranking where squad is not null order by squad").fetchall()
    players = con.sql(
        "select distinct player_id, player_name from ranking where player_id is not null "
        "order by player_name, player_id"
    ).fetchall()
    whose = {f"squad:{squad}": f"Squad {squad}" for (squad,) in squads}
    whose |= {f"player:{player_id}": name or player_id for player_id, name in players}
    usual = None
    if whose:
        whose[EVERYBODY] = "The whole club"
        usual = Asked(
            _biggest_squad(con) or EVERYBODY, None, None, None, AT_LIFE, USUAL_LIFE_PERCENT, USUAL_WEEKS,
            USUAL_MATCH_COST,
        )  # fmt: skip
    return WhatIfPage(
        title="What would another string or restring policy change?",
        club=club(con, today),
        intro=(
            "Choose whose rackets, and what would be different from now on. Both ways are played through the same "
            "coming weeks, so that what is left is the change."
        ),
        whose=whose,
        strings=dict(con.sql("select string_id, string_name from strings order by string_name, string_id").fetchall()),
        usual=usual,
    )


def _biggest_squad(con: duckdb.DuckDBPyConnection) -> str | None:
    """The squad with the most rackets in play, as a key of `whose`."""
    found = con.sql(
        "select squad from ranking where squad is not null and status = 'in_play' group by squad "
        "order by count(*) desc, squad limit 1"
    ).fetchall()
    return f"squad:{found[0][0]}" if found else None


def what_if_told(con: duckdb.DuckDBPyConnection, folder: str, asked: Asked, today: date, _settings: str) -> Told:
    """The answer to the form, kept or worked out now; raises StoreError with a sentence where it cannot be asked."""
    from pipeline.fleet.what_if import told
    from pipeline.fleet.what_if.kept import answer_kept
    from pipeline.fleet.what_if.question import Question
    from pipeline.fleet.what_if.simulator import Policy

    store, page = Store(folder), what_if_page(con, today)
    kind, _, value = asked.whose.partition(":")
    policy = Policy(
        asked.amount if asked.policy == AFTER_HOURS else None,
        asked.amount / 100 if asked.policy == AT_LIFE else None,
        asked.amount / 100 if asked.policy == BEFORE_EVENTS else None,
    )
    question = Question(
        squad=value if kind == "squad" else None,
        player_id=value if kind == "player" else None,
        mains_string_id=asked.mains_string_id,
        crosses_string_id=asked.crosses_string_id,
        gauge_mm=asked.gauge_mm,
        policy=policy,
        weeks=asked.weeks,
    )
    answer = answer_kept(store, question, asked.match_cost)
    currency, locale = store.settings.currency, store.settings.locale
    names = {key.removeprefix("player:"): name for key, name in page.whose.items() if key.startswith("player:")}
    rows, changes = [], []
    for row in answer.table.to_dict("records"):
        measure = row["measure"]

        def text(amount: float, is_signed: bool = True, measure: str = measure) -> str:
            return told.change_text(measure, amount, currency, locale, is_signed)

        band = told.band_text(measure, row["change_p10"], row["change_p90"], currency, locale)
        name = told.NAMES[measure]
        rows.append((name, text(row["now"], False), text(row["then"], False), text(row["change"]), band))
        if measure != "string" and row["now"] > 0:
            hover = f"{name}: {text(row['now'], False)} as now, {text(row['then'], False)} then<br>change {band}"
            # nothing can fall by more than all there is
            parts = (max(row[key] / row["now"], -1.0) for key in ("change", "change_p10", "change_p90"))
            changes.append((name, *parts, hover))
    return Told(
        title=told.headline(question, answer, page.strings, names, currency, locale),
        sentence=f"{told.details(answer)} {words.count(answer.count_rackets, 'racket')} looked at.",
        point=told.point_words(answer),
        caution=(
            "These materials have ended fewer than ten beds here, so the bands are wide: try it on one racket first."
            if answer.is_new_family
            else ""
        ),
        table=pd.DataFrame(rows, columns=["Measure", "As now", "Then", "Change", "Band"]),
        changes=pd.DataFrame(changes, columns=["name", "part", "low", "high", "hover"]),
    )
