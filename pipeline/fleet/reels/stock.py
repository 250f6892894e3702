"""String on the shelf now: the last count, and what came and went since.

In: the relations as known at the origin, the catalogue, metres a job takes by racket. Out: one row a string. A count
is of the evening: jobs and arrivals of its day are in it, unless both have a time of day. Reels and jobs left are
turned into metres. String that a player or sponsor brought, and jobs strung elsewhere, take none.
"""

from __future__ import annotations

from datetime import date

import duckdb
import pandas as pd

from pipeline.fleet.reels.catalogue import Catalogue
from pipeline.fleet.reels.reel_jobs import usable_part
from pipeline.sql import relation_text

PRIOR_M = 300.0  # so many metres of jobs without loss are put beside what the counts say; assumption
MOST_LOSS = 0.5


def string_uses(con: duckdb.DuckDBPyConnection, metres: pd.DataFrame) -> pd.DataFrame:
    """Every part of every bed with its metres: as written down, else as the racket takes."""
    uses = con.execute(relation_text("string_uses")).df()
    by_racket = metres.set_index("racket_id")
    usual = (
        uses["racket_id"]
        .map(by_racket["mains_m"])
        .where(uses["part"] == "mains", uses["racket_id"].map(by_racket["crosses_m"]))
    )
    whole = (uses["part"] == "mains") & (uses["written_m"] > 8.5)
    uses["metres"] = uses["written_m"].where(~whole).fillna(usual).astype(float)
    return uses


def stock_now(
    con: duckdb.DuckDBPyConnection, as_of: date, known: Catalogue, uses: pd.DataFrame, job_m: dict[str, float]
) -> pd.DataFrame:
    """One row a string: string_id, counted_on, counted_m, came_m, went_m, stock_m (never below none), is_short (the
    jobs took more than there was: count again), and, the same for all, loss, the metres gone between counts over those
    the jobs took, and waste, the same beyond the ends that reels lose anyway.
    """
    counts = con.execute(
        "select string_id, counted_on, counted_on_at, metres, reels, jobs_left from facts.stock "
        "where counted_on <= $day order by counted_on, counted_on_at",
        {"day": as_of},
    ).df()
    lengths = con.execute("select string_id, reel_m from facts.strings").df().set_index("string_id")["reel_m"]
    came = con.execute(
        "select string_id, received_on as day, received_on_at as at_time, metres from facts.orders "
        "where received_on <= $day",
        {"day": as_of},
    ).df()
    counts["kind"], came["kind"] = (frame["string_id"].map(known.stands_for) for frame in (counts, came))
    counted = counts["reels"].fillna(0) * counts["string_id"].map(lengths).fillna(0)
    counted += counts["jobs_left"].fillna(0) * counts["kind"].map(job_m).fillna(0)
    counts["counted_m"] = counts["metres"].fillna(counted).astype(float)
    # lengths of one string counted on one day add up
    counts = counts.groupby(["kind", "counted_on"], as_index=False).agg(
        counted_m=("counted_m", "sum"), at_time=("counted_on_at", "max")
    )
    took = uses[uses["takes_stock"]].assign(kind=lambda u: u["string_id"].map(known.stands_for))
    took = took.rename(columns={"strung_on": "day", "strung_on_at": "at_time"})
    loss, waste = _loss(counts, came, took, known, job_m)
    rows = []
    for string_id in known.kinds:
        mine = counts[counts["kind"] == string_id]
        if mine.empty:
            rows.append((string_id, pd.NaT, 0.0, 0.0, 0.0, 0.0, False, loss, waste))
            continue
        last = mine.iloc[-1]
        came_m = _since(came[came["kind"] == string_id], last)
        went_m = _since(took[took["kind"] == string_id], last) * loss
        left = last["counted_m"] + came_m - went_m
        rows.append(
            (string_id, last["counted_on"], last["counted_m"], came_m, went_m, max(left, 0.0), left < -1.0, loss, waste)
        )
    return pd.DataFrame(
        rows,
        columns=["string_id", "counted_on", "counted_m", "came_m", "went_m", "stock_m", "is_short", "loss", "waste"],
    )


def _since(rows: pd.DataFrame, count: pd.Series, until: pd.Series | None = None) -> float:
    """Metres after one count, and up to another."""

    def after(which: pd.Series) -> pd.Series:
        same_day = rows["day"] == which["counted_on"]
        timed = rows["at_time"].notna() & pd.notna(which["at_time"])
        return (rows["day"] > which["counted_on"]) | (same_day & timed & (rows["at_time"] > which["at_time"]))

    chosen = after(count)
    if until is not None:
        chosen &= ~after(until)
    return float(rows.loc[chosen, "metres"].sum())


def _loss(
    counts: pd.DataFrame, came: pd.DataFrame, took: pd.DataFrame, known: Catalogue, job_m: dict[str, float]
) -> tuple[float, float]:
    """Metres gone between counts over the metres the jobs took (string broken on the machine, false cuts, ends), and
    over what they take with the ends of the reels.
    """
    gone = jobs = with_ends = PRIOR_M
    for kind in known.kinds:
        mine = counts[counts["kind"] == kind]
        if len(mine) < 2:
            continue
        first, last = mine.iloc[0], mine.iloc[-1]
        used = _since(took[took["kind"] == kind], first, last)
        lost = first["counted_m"] - last["counted_m"] + _since(came[came["kind"] == kind], first, last)
        if used > 0 and lost > 0:
            part = max((usable_part(p.reel_m, job_m[kind]) for p in known.kinds[kind].packs), default=1.0) or 1.0
            gone, jobs, with_ends = gone + lost, jobs + used, with_ends + used / part
    most = 1.0 + MOST_LOSS
    return float(min(max(gone / jobs, 1.0), most)), float(min(max(gone / with_ends, 1.0), most))


def open_orders(con: duckdb.DuckDBPyConnection, as_of: date, known: Catalogue) -> pd.DataFrame:
    """Orders placed and not received: order_id, string_id (the one that stands for it), ordered_on, expected_on,
    metres, price.
    """
    found = con.execute(
        "select order_id, string_id, ordered_on, expected_on, metres, price::varchar as price from facts.orders "
        "where ordered_on <= $day and (received_on is null or received_on > $day) order by ordered_on, order_id",
        {"day": as_of},
    ).df()
    found["string_id"] = found["string_id"].map(known.stands_for).fillna(found["string_id"])
    return found
