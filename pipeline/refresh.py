"""From the facts to a new view, published in one step.

In: a Store. Out: the version of the view that readers now see. The origin is the last logged day unless given.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import duckdb

from pipeline.fleet import words
from pipeline.fleet.publish import PUBLISHED, ClubWords, publish
from pipeline.fleet.snapshot import snapshot
from pipeline.sql import last_logged_day
from pipeline.store import Store, StoreError
from pipeline.wear.decision import decided
from pipeline.wear.estimate import Kept, trade_by_hand


def kept_by_hand(store: Store) -> Kept | None:
    """The trade values where a person chose them, else None."""
    by_hand = decided(store.folder)
    return trade_by_hand(by_hand.since, by_hand.by) if by_hand else None


def kept_fit(store: Store) -> Kept | None:
    """What the next refresh goes on with: trade values by hand, the fit that the published view stands on, or None
    where there is none that can be read."""
    if by_hand := kept_by_hand(store):
        return by_hand
    if store.view_version is None:
        return None
    try:
        view = store.view()
    except StoreError:
        return None  # the view's file was deleted, as it may be at any time: this refresh makes it anew
    try:
        if not view.execute("select 1 from duckdb_tables() where table_name = 'fitted'").fetchone():
            return None
        row = view.execute("select kept from fitted").fetchone()
        kept = Kept.from_json(row[0]) if row else None
        return None if kept is None or kept.by_hand else kept
    except ValueError:
        return None  # a fit of another version of the program: the next refresh makes its own
    finally:
        view.close()


def refresh(
    store: Store, as_of: date | None = None, now: datetime | None = None, is_learning_anew: bool = False
) -> str | None:
    """Build and publish a new view. Returns its version, or None where nothing has been logged yet.

    now: the instant of publishing (the clock where not given); it says how old the newest log is. is_learning_anew:
    leave a kept fit aside and fit to what is on file.
    """
    instant = now or datetime.now(UTC)
    with store.facts() as con:
        last = last_logged_day(con)
    origin = as_of or last
    if origin is None:
        return None
    settings, kept = store.settings, kept_by_hand(store) if is_learning_anew else kept_fit(store)

    def build(con: duckdb.DuckDBPyConnection) -> None:
        # the working relations stay in memory; only what the pages read goes into the view's file
        (view,) = con.execute("select current_catalog()").fetchall()[0]
        con.execute("attach ':memory:' as work")
        con.execute("use work")
        made = snapshot(con, origin, settings, kept)
        with words.in_locale(settings.locale):
            publish(made, ClubWords(settings.name, settings.tension_unit), instant, last)
        con.execute(f'use "{view}"')
        for name in PUBLISHED:
            con.execute(f"create table {name} as from work.{name}")
        con.execute("detach work")

    return str(store.publish(build, now=instant))
