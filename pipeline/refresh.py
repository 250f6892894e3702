"""From the facts to a new view, published in one step.

In: a Store. Out: the version of the view that readers now see. The origin is the last logged day unless given.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import duckdb

from pipeline.fleet import words
from pipeline.fleet.kept_fit import kept_by_hand, kept_fit
from pipeline.fleet.publish import PUBLISHED, ClubWords, publish
from pipeline.fleet.snapshot import snapshot
from pipeline.sql import last_logged_day
from pipeline.store import Store


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
