"""From the facts to a new view, published in one step.

In: a Store. Out: the version of the view that readers now see. The origin is the last logged day unless given.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import duckdb

from pipeline.fleet.publish import ClubWords, publish
from pipeline.fleet.snapshot import snapshot
from pipeline.sql import last_logged_day
from pipeline.store import Store


def refresh(store: Store, as_of: date | None = None, now: datetime | None = None) -> str | None:
    """Build and publish a new view. Returns its version, or None where nothing has been logged yet.

    now: the instant of publishing (the clock where not given); it says how old the newest log is.
    """
    instant = now or datetime.now(UTC)
    with store.facts() as con:
        last = last_logged_day(con)
    origin = as_of or last
    if origin is None:
        return None
    settings = store.settings

    def build(con: duckdb.DuckDBPyConnection) -> None:
        made = snapshot(con, origin, settings)
        publish(made, ClubWords(settings.name, settings.tension_unit), instant, last)

    return str(store.publish(build, now=instant))
