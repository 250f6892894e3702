"""The reel plan as one JSON document and back, so that it can be kept beside the view it was made from.

In: a ReelPlan, or a document. Out: the other. Days are written as ISO text, money as exact text.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pandas as pd

from pipeline.fleet import plans
from pipeline.fleet.reels.plan import ReelPlan, reel_plan
from pipeline.store import Store
from pipeline.store.settings import ClubSettings

NAME = "reels"
FRAMES = ("strings", "orders", "open_orders", "months", "squads", "players", "ledger", "statement")
FORMAT = 1


def to_document(plan: ReelPlan) -> dict[str, Any]:
    """The plan as JSON can hold it."""
    return {
        "format": FORMAT,
        "as_of": plan.as_of.isoformat(),
        "weeks": plan.weeks,
        "service": plan.service,
        "currency": plan.currency,
        "season": [day.isoformat() for day in plan.season],
        "season_total": {key: str(value) for key, value in plan.season_total.items()},
        "waste": plan.waste,
        "notes": list(plan.notes),
        "frames": {name: _frame_out(getattr(plan, name)) for name in FRAMES},
    }


def from_document(document: dict[str, Any]) -> ReelPlan | None:
    """The plan again; None where the document is of another version of the program."""
    try:
        if document["format"] != FORMAT:
            return None
        first, last = (date.fromisoformat(day) for day in document["season"])
        values: dict[str, Any] = {
            "as_of": date.fromisoformat(document["as_of"]),
            "weeks": int(document["weeks"]),
            "service": float(document["service"]),
            "currency": str(document["currency"]),
            "season": (first, last),
            "season_total": {key: Decimal(value) for key, value in document["season_total"].items()},
            "waste": float(document["waste"]),
            "notes": tuple(document["notes"]),
        }
        values |= {name: _frame_in(document["frames"][name]) for name in FRAMES}
        return ReelPlan(**{f.name: values[f.name] for f in fields(ReelPlan)})
    except (KeyError, TypeError, ValueError):
        return None


def kept_plan(store: Store) -> ReelPlan | None:
    """The plan kept for the published view with the club's service level, or None."""
    document = plans.kept(store, NAME, store.view_version)
    plan = None if document is None else from_document(document)
    # club.toml may have changed since, which makes no new view
    return plan if document is not None and document.get("settings") == settings_key(store.settings) else None


def settings_key(settings: ClubSettings) -> str:
    """What of club.toml the plan depends on, as one text."""
    return repr((settings.service_level, settings.currency, settings.season_start, sorted(settings.budget.items())))


def work_out(store: Store) -> ReelPlan:
    """The plan kept for the published view, else made now and kept."""
    with plans.turn(store, NAME):
        found = kept_plan(store)
        if found is not None:
            return found
        version = store.view_version
        with plans.plan_snapshot(store) as snapshot:
            settings = store.settings
            key = settings_key(settings)
            made = reel_plan(snapshot, settings)
        if plans.still_stands(store, version):
            plans.keep(store, NAME, version, to_document(made) | {"settings": key})
        return made


def _frame_out(frame: pd.DataFrame) -> dict[str, Any]:
    columns = []
    for name in frame.columns:
        values = list(frame[name].astype(object))
        kind = "plain"
        if any(isinstance(value, Decimal) for value in values):
            kind = "money"
        elif any(isinstance(value, date | datetime) and not pd.isna(value) for value in values):
            kind = "day"
        columns.append({"name": str(name), "kind": kind, "values": [_cell_out(value) for value in values]})
    return {"columns": columns, "count": len(frame)}


def _cell_out(value: Any) -> Any:
    if value is None or pd.isna(value):
        return None
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return value.item() if hasattr(value, "item") else value


def _frame_in(document: dict[str, Any]) -> pd.DataFrame:
    out: dict[str, Any] = {}
    for column in document["columns"]:
        values: list[Any] = column["values"]
        if column["kind"] == "money":
            values = [None if value is None else Decimal(value) for value in values]
        elif column["kind"] == "day":
            values = [None if value is None else date.fromisoformat(value) for value in values]
        out[column["name"]] = pd.Series(values, dtype=object if column["kind"] != "plain" else None)
    return pd.DataFrame(out, index=range(int(document["count"])))
