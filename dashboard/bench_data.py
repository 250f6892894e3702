"""What the page Bench asks for: tickets from the facts, the plan kept beside the view, prints made when wanted.

In: the store (through `dashboard.data`). Out: `frames.BenchPage` and PDF or iCalendar bytes. Tickets are cached by the
facts' time; the plan is kept on disk by the view's version and worked out where none is kept.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import data
from pipeline.access.listening import base_address
from pipeline.fleet import plans
from pipeline.fleet.bench.document import NAME, from_document, to_document
from pipeline.fleet.bench.plan import BenchPlan, make_plan
from pipeline.fleet.bench.source import published_source
from pipeline.fleet.frames.bench import BenchPage, bench_page
from pipeline.fleet.prints import bench_sheet_pdf, labels_pdf, small_tickets_pdf
from pipeline.fleet.prints.calendar_out import bench_calendar, events_calendar
from pipeline.fleet.tickets import OPEN, tickets
from pipeline.store import Store, StoreError

LAST_PLAN, NO_PLAN = "last bench plan", "why there is no bench plan"


@st.cache_data(max_entries=8, show_spinner=False)
def _tickets(folder: str, changed_at_ns: int, on: date, unit: str) -> pd.DataFrame:
    with Store(folder).facts() as con:
        return tickets(con, on, unit)


def open_tickets() -> pd.DataFrame:
    """The tickets as they stand, from the facts themselves."""
    store = data.open_store()
    return _tickets(
        str(store.folder.resolve()), store.facts_path.stat().st_mtime_ns, data.load_day(), data.tension_unit()
    )


def kept_plan() -> BenchPlan | None:
    """The plan of this version of the view and this day, if it is kept; None otherwise."""
    path = plans.plan_path(data.open_store(), NAME)
    changed_at_ns = path.stat().st_mtime_ns if path.exists() else 0
    return _kept_plan(str(data.store_folder().resolve()), _key(), changed_at_ns)


@st.cache_resource(max_entries=8, show_spinner=False)
def _kept_plan(folder: str, key: str, changed_at_ns: int) -> BenchPlan | None:
    """The plan as it lies on the disk, read once; nothing may change it after."""
    found = plans.kept(Store(folder), NAME, key)
    if found is None:
        return None
    try:
        return from_document(found)
    except (KeyError, TypeError, ValueError):  # kept by another version of the program: it is made anew
        return None


def last_plan() -> BenchPlan | None:
    """The plan this session saw last: good for the order of the tickets while a new one is worked out."""
    return st.session_state.get(LAST_PLAN)


def work_out_plan() -> BenchPlan | None:
    """Make the plan and keep it; None, with the reason kept for the page, where there is nothing to plan with."""
    store = data.open_store()
    with plans.turn(store, NAME):
        key = _key()
        found = kept_plan()
        if found is not None:
            return found
        try:
            with published_source(store) as source:
                plan = make_plan(source, store.settings, first_on=_first_on())
        except StoreError as error:
            st.session_state[NO_PLAN] = (key, str(error))
            return None
        plans.keep(store, NAME, key, to_document(plan))
        return plan


def why_no_plan() -> str | None:
    """Why this version has no plan, where that is known."""
    key, why = st.session_state.get(NO_PLAN, (None, ""))
    return why if key == _key() else None


def page(plan: BenchPlan | None, why: str = "") -> BenchPage:
    """The page Bench."""
    if plan is not None:
        st.session_state[LAST_PLAN] = plan
    store = data.open_store()
    return _page(
        str(store.folder.resolve()), store.facts_path.stat().st_mtime_ns, data.view_version(), id(plan), data.locale(),
        data.load_day(), data.today(), why, plan,
    )[0]  # fmt: skip


@st.cache_resource(max_entries=8, show_spinner=False)
def _page(
    folder: str, changed_at_ns: int, version: str | None, plan_id: int, locale: str, on: date, today: date, why: str,
    _plan: BenchPlan | None,
) -> tuple[BenchPage, BenchPlan | None]:  # fmt: skip
    """The page, made anew where the tickets, the view or the plan have changed. The plan is kept with it, so that no
    other plan can come to have its id."""
    return bench_page(open_tickets(), _plan, data.club(), on, why), _plan


def _first_on() -> date:
    """The plan starts today; with records that reach beyond today, on their last day."""
    return max(data.today(), data.club().as_of)


def _key() -> str:
    return f"{data.view_version()} {_first_on().isoformat()}"


def _of_open(rows: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    place = {job: at for at, job in enumerate(order)}
    rows = rows[rows["state"].isin(OPEN)]
    return rows.assign(at=[place.get(job, len(place)) for job in rows["job_id"]]).sort_values("at", kind="stable")


def in_order(shown: BenchPage) -> list[str]:
    """The tickets' numbers in the order of the page."""
    return [card.job_id for _, cards in shown.groups for card in cards]


def sheet(shown: BenchPage) -> bytes:
    """The bench sheet as PDF."""
    rows = _of_open(open_tickets(), in_order(shown))
    return bench_sheet_pdf(rows, data.load_day(), shown.club.name, shown.club.tension_unit)


def ticket_prints(shown: BenchPage) -> bytes:
    """The small tickets as PDF."""
    rows = _of_open(open_tickets(), in_order(shown))
    return small_tickets_pdf(rows, shown.club.tension_unit, base_address(data.store_folder()))


def labels(on: str) -> bytes:
    """A label for every racket in service."""
    with data.open_store().view() as view:
        rackets = view.execute(
            "select racket_id, player_id, player_name, frame, marking from ranking order by racket_id"
        ).df()
    return labels_pdf(rackets, base_address(data.store_folder()), on)


def plan_calendar(plan: BenchPlan, shown: BenchPage) -> bytes:
    """The plan for a calendar program."""
    return bench_calendar(plan, shown.club.name, datetime.now(UTC), shown.club.tension_unit)


def event_calendar(shown: BenchPage) -> bytes:
    """The events ahead for a calendar program."""
    with data.open_store().view() as view:
        events: Any = view.execute("from events order by planned_on, event").df()
    return events_calendar(events, shown.club.name, datetime.now(UTC))
