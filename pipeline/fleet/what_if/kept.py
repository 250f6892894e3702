"""What-ifs kept beside the view they were worked out from, so that the same question is answered at once.

In: a Store, a Question. Out: its Answer, kept or worked out now. The newest twelve questions of a view are kept.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

import pandas as pd

from pipeline.fleet import plans
from pipeline.fleet.what_if.age_replacement import CheapestPoint
from pipeline.fleet.what_if.answer import CSV_COLUMNS, Answer, what_if
from pipeline.fleet.what_if.question import Question
from pipeline.store import Store

NAME, MOST_KEPT, FORMAT = "what-if", 12, 1


def answer_kept(store: Store, asked: Question, match_cost: float | None) -> Answer:
    """The answer; raises StoreError where the question does not fit what is on file."""
    version, settings = store.view_version, store.settings
    key = repr((asked, match_cost, settings.currency, settings.ready_days_before_match))
    with plans.turn(store, NAME):  # two who ask at once would each keep the answers without the other's
        document = plans.kept(store, NAME, version) or {}
        answers: dict[str, Any] = document.get("answers", {}) if document.get("format") == FORMAT else {}
        if key in answers:
            return _from_document(answers[key])
        with plans.plan_snapshot(store) as snapshot:
            made = what_if(snapshot, asked, settings, match_cost=match_cost)
        answers = dict(list(answers.items())[-(MOST_KEPT - 1) :]) | {key: _to_document(made)}
        if plans.still_stands(store, version):
            plans.keep(store, NAME, version, {"format": FORMAT, "answers": answers})
        return made


def _to_document(answer: Answer) -> dict[str, Any]:
    point = None if answer.point is None else asdict(answer.point)
    if point is not None:
        point = {name: value if value == value else None for name, value in point.items()}
    rows = answer.table.to_dict("records")
    return asdict(answer) | {"as_of": answer.as_of.isoformat(), "table": rows, "point": point}


def _from_document(document: dict[str, Any]) -> Answer:
    point = document["point"]
    if point is not None:
        missing = float("nan")
        costs = {name: missing if point[name] is None else point[name] for name in ("cost_per_hour", "never_per_hour")}
        point = CheapestPoint(point["age_hours"], **costs)
    table = pd.DataFrame(document["table"], columns=list(CSV_COLUMNS))
    return Answer(**(document | {"as_of": date.fromisoformat(document["as_of"]), "table": table, "point": point}))
