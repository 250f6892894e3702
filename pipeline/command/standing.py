"""A store in, where it stands out: the model as of a day, and the view rebuilt after something was recorded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING

from pipeline.command import output
from pipeline.store import Store, StoreError

if TYPE_CHECKING:  # what these bring in is slow to import, and most commands do without
    import duckdb

    from pipeline.fleet.snapshot import Snapshot

STALE_DAYS = 14  # from so many days after the last record on, the reader is told


def refresh_view(club: Store) -> str | None:
    """Rebuild what the dashboard reads; its version, or None where nothing dated is on file."""
    from pipeline.refresh import refresh as rebuild

    with output.waiting("Working out where every racket stands"):
        return rebuild(club)


def must_know_squad(club: Store, squad: str) -> None:
    """Raise `StoreError` with the squads on file, unless this is one of them."""
    with club.facts() as con:
        squads = [name for (name,) in con.execute("select distinct squad from facts.players order by squad").fetchall()]
    if squad not in squads:
        raise StoreError(f"no player is in squad {squad}: the squads are {', '.join(squads) or 'not on file'}.")


@contextmanager
def snapshot_of(club: Store, on: date | None) -> Iterator[tuple[Snapshot, date]]:
    """The model as of a day, default the last day on file; raises where no racket is in service then."""
    with club.facts_apart() as con:
        from pipeline.fleet.kept_fit import kept_by_hand, kept_fit
        from pipeline.fleet.snapshot import snapshot
        from pipeline.sql import last_logged_day

        last_day = last_logged_day(con)
        as_of = on or last_day
        if as_of is None or last_day is None:
            raise StoreError(f"{club.folder} has no dated record yet: load restrings, matches or practices first.")
        if (as_of - last_day).days > STALE_DAYS:
            output.say(f"The last record on file is of {last_day}: play and restrings since then are not known.")
        with output.waiting("Working out where every racket stands"):
            # today's answer stands on the fit the dashboard shows; another day learns from what was known then
            made = snapshot(con, as_of, club.settings, kept_fit(club) if on is None else kept_by_hand(club))
        if made.rackets.empty:
            raise StoreError(_why_no_racket(con, as_of))
        yield made, as_of


def _why_no_racket(con: duckdb.DuckDBPyConnection, as_of: date) -> str:
    """A store without a racket in service that day, in words."""
    ((count, first_day),) = con.execute("select count(*), min(in_service_on) from facts.rackets").fetchall()
    if not count:
        return "no racket is on file: load rackets.csv first."
    if first_day > as_of:
        return f"no racket was in service on {as_of}: the first is from {first_day}, so choose a later --on."
    return f"no racket was in service on {as_of}: all on file are retired or not in service yet; choose another --on."
