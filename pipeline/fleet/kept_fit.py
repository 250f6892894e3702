"""The fit that the published view stands on, so that commands, pages and plans show one set of numbers.

In: a Store. Out: Kept, or None where there is none that can be read.
"""

from __future__ import annotations

import duckdb

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
        view = store.view(is_any_format=True)  # a view of an older program may still hold a fit that serves
    except StoreError:
        return None  # the view's file was deleted, as it may be at any time: this refresh makes it anew
    try:
        if not view.execute("select 1 from duckdb_tables() where table_name = 'fitted'").fetchone():
            return None
        row = view.execute("select kept from fitted").fetchone()
        kept = Kept.from_json(row[0]) if row else None
        return None if kept is None or kept.by_hand else kept
    except (ValueError, duckdb.BinderException):
        return None  # a fit of another version of the program: the next refresh makes its own
    finally:
        view.close()
