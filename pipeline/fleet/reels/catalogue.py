"""The strings as they can be bought: what is one string sold in several lengths, and the cheapest way to so many jobs.

In: a connection with the clean tables attached as `facts`. Out: a Catalogue. Two rows of strings.csv with the same
name, material, gauge and profile are one string in two lengths (reel, half reel, set); its first row stands for it.
Metres and money; what is left at the end of a reel is too short for a job and lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import duckdb

from pipeline.fleet.reels.reel_jobs import jobs_in

DEFAULT_LEAD_DAYS = 7  # where neither strings.csv nor the club's orders say; assumption
MOST_JOBS = 4000  # the search for the cheapest lengths stops here; beyond it the cheapest length by the job is bought


@dataclass(frozen=True)
class Pack:
    """One length a string is sold in."""

    string_id: str
    reel_m: float
    price: Decimal


@dataclass(frozen=True)
class Bought:
    """So many of one length."""

    pack: Pack
    count: int

    @property
    def metres(self) -> float:
        """Metres bought."""
        return self.pack.reel_m * self.count

    @property
    def cost(self) -> Decimal:
        """Money paid."""
        return self.pack.price * self.count


@dataclass(frozen=True)
class Kind:
    """One string: the id that stands for it, its name, the lengths it is sold in, the days it takes to come."""

    string_id: str
    name: str
    packs: tuple[Pack, ...]
    lead_days: int | None


@dataclass(frozen=True)
class Catalogue:
    """kinds: by the id that stands for a string. stands_for: string_id -> that id."""

    kinds: dict[str, Kind]
    stands_for: dict[str, str]


def catalogue(con: duckdb.DuckDBPyConnection) -> Catalogue:
    """All strings on file."""
    rows = con.execute(
        "select string_id, string_name, material, gauge_mm, coalesce(profile, 'round') as profile, reel_m, reel_price, "
        "lead_days from facts.strings order by string_id"
    ).fetchall()
    same: dict[tuple[object, ...], list[tuple[object, ...]]] = {}
    for row in rows:
        same.setdefault((str(row[1]).strip().casefold(), row[2], row[3], row[4]), []).append(row)
    kinds: dict[str, Kind] = {}
    stands_for: dict[str, str] = {}
    for lengths in same.values():
        first = str(lengths[0][0])
        packs = tuple(
            Pack(str(row[0]), float(str(row[5])), Decimal(str(row[6])))
            for row in lengths
            if row[5] is not None and row[6] is not None
        )
        leads = [int(str(row[7])) for row in lengths if row[7] is not None]
        kinds[first] = Kind(first, str(lengths[0][1]), packs, leads[0] if leads else None)
        stands_for |= {str(row[0]): first for row in lengths}
    return Catalogue(kinds, stands_for)


def cheapest(packs: tuple[Pack, ...], jobs: int, job_m: float) -> tuple[Bought, ...]:
    """Fewest money for at least so many jobs, exactly (a search over jobs covered); empty where none is long enough.

    >>> reel, half = Pack("S1", 200, Decimal(128)), Pack("S1H", 100, Decimal(70))
    >>> [(b.pack.string_id, b.count) for b in cheapest((reel, half), 20, 11.5)]
    [('S1', 1), ('S1H', 1)]
    """
    useful = [(pack, jobs_in(pack.reel_m, job_m)) for pack in packs]
    useful = [(pack, each) for pack, each in useful if each > 0]
    if not useful or jobs <= 0:
        return ()
    counts: dict[int, int] = {}
    if jobs > MOST_JOBS:
        best = min(range(len(useful)), key=lambda i: useful[i][0].price / useful[i][1])
        counts[best] = math.ceil(jobs / useful[best][1])
    else:
        cost: list[tuple[Decimal, float]] = [(Decimal(0), 0.0)]  # money, then metres, for at least so many jobs
        chosen = [0]
        for need in range(1, jobs + 1):
            options = []
            for i, (pack, each) in enumerate(useful):
                money, metres = cost[max(need - each, 0)]
                options.append(((money + pack.price, metres + pack.reel_m), i))
            found, i = min(options)
            cost.append(found)
            chosen.append(i)
        need = jobs
        while need > 0:
            i = chosen[need]
            counts[i] = counts.get(i, 0) + 1
            need -= useful[i][1]
    return tuple(Bought(useful[i][0], count) for i, count in sorted(counts.items()))


def price_per_metre(packs: tuple[Pack, ...], job_m: float) -> float:
    """Money a metre in the frame, the lost ends paid for; by the cheapest length a job. NaN where none will do."""
    each = [float(p.price) / (jobs_in(p.reel_m, job_m) * job_m) for p in packs if jobs_in(p.reel_m, job_m) > 0]
    return min(each, default=math.nan)
