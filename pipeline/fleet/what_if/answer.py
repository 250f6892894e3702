"""The answer to a what-if: what would change, each with a band of its own, and the cheapest point to restring.

In: a Snapshot, a Question, the club's settings. Out: Answer. Both ways are simulated with the same random numbers, so
the band of a change is that of the change and not of two forecasts. Bands are the 10 and 90 % points of the draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from pipeline.fleet.bench_minutes import bench_times, kind_of_bed
from pipeline.fleet.reels.catalogue import Catalogue, catalogue, price_per_metre
from pipeline.fleet.reels.demand import club_share
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.reels.stock import stock_now, string_uses
from pipeline.fleet.snapshot import Snapshot
from pipeline.fleet.what_if.age_replacement import CheapestPoint, cheapest_seen
from pipeline.fleet.what_if.question import Compared, Question, compared
from pipeline.fleet.what_if.simulator import BREAKS, Outcome, Scenario, simulate_scenario
from pipeline.store import StoreError
from pipeline.store.settings import ClubSettings

DRAWS, POINT_DRAWS, POINT_WEEKS = 400, 120, 78
MOST_CELLS = 6e6  # rackets x draws x weeks of one simulation: more rackets are drawn less often
MATCH_COST = 5.0  # a break in a match costs as much as so many jobs, unless asked otherwise; assumption
CSV_COLUMNS = ("measure", "unit", "now", "then", "change", "change_p10", "change_p90")
MEASURES = ("restrings", "bench", "string", "cost", "dead_play", "breaks", "match_breaks")


@dataclass(frozen=True)
class Answer:
    """table: CSV_COLUMNS, one row a measure (MEASURES), means over the draws and the band of the change. whose: the
    rackets in words. is_new_family: the materials were hardly strung here, so the band is wide. point: the cheapest
    hours to restring at, as strung now, for match_cost.
    """

    as_of: date
    weeks: int
    count_rackets: int
    table: pd.DataFrame
    is_new_family: bool
    point: CheapestPoint | None
    match_cost: float


def what_if(
    s: Snapshot,
    asked: Question,
    settings: ClubSettings,
    draws: int = DRAWS,
    seed: int = 0,
    match_cost: float | None = None,
) -> Answer:
    """Compare. match_cost: also look for the cheapest point, where a break in a match costs so many jobs."""
    both = compared(s, asked, settings.ready_days_before_match)
    draws = int(max(60, min(draws, MOST_CELLS / (len(both.rackets) * asked.weeks))))
    costs = _costs(s, both)
    now = simulate_scenario(s, both.rackets, both.now, both.events, asked.weeks, draws, seed)
    then = simulate_scenario(s, both.rackets, both.then, both.events, asked.weeks, draws, seed)
    share = match_share(s, both.rackets)
    a, b = _measures(now, costs["now"], share), _measures(then, costs["then"], share)
    units = {
        "restrings": "jobs", "bench": "h", "string": "m", "cost": settings.currency, "dead_play": "share",
        "breaks": "beds", "match_breaks": "beds",
    }  # fmt: skip
    rows = []
    for name in MEASURES:
        change = b[name] - a[name]
        low, high = np.quantile(change, [0.1, 0.9])
        rows.append(
            (
                name,
                units[name],
                float(a[name].mean()),
                float(b[name].mean()),
                float(change.mean()),
                float(low),
                float(high),
            )
        )
    point = None if match_cost is None else cheapest_point(s, both, settings, match_cost, seed=seed)
    return Answer(
        s.as_of,
        asked.weeks,
        len(both.rackets),
        pd.DataFrame(rows, columns=list(CSV_COLUMNS)),
        _is_new_family(s, both.then),
        point,
        MATCH_COST if match_cost is None else match_cost,
    )


def cheapest_point(
    s: Snapshot,
    both: Compared,
    settings: ClubSettings,
    match_cost: float,
    draws: int = POINT_DRAWS,
    weeks: int = POINT_WEEKS,
    seed: int = 0,
) -> CheapestPoint:
    """Hours on a bed after which to restring at least cost, as strung now: a job costs 1, a break 1 and match_cost
    times the chance that it falls into a match; lost feel is a job like any other.
    """
    if match_cost < 0:
        raise StoreError(f"a break in a match cannot cost {match_cost:g} jobs: give 0 or more.")
    draws = int(max(30, min(draws, MOST_CELLS / (len(both.rackets) * weeks))))
    made = simulate_scenario(s, both.rackets, both.now, both.events, weeks, draws, seed + 1)
    share = float(np.average(match_share(s, both.rackets), weights=np.maximum(made.breaks.sum(axis=1), 1e-9)))
    return cheapest_seen(
        made.life_hours, made.life_cause >= 0, made.life_cause == BREAKS, 1.0, 1.0 + match_cost * share
    )


def match_share(s: Snapshot, rackets: pd.DataFrame) -> np.ndarray:
    """(rackets,) part of the player's abrasion hours of the last year that were matches; else the club's."""
    found = s.con.execute(
        """
        select player_id, sum(abrasion_hours) as every,
               sum(abrasion_hours) filter (where source = 'match') as in_matches
        from session_hours where played_on > (select as_of from origin) - 365 group by player_id
        """
    ).df()
    total = float(found["every"].sum())
    usual = float(found["in_matches"].fillna(0).sum()) / total if total > 0 else 0.0
    found = found[found["every"] > 0]
    share = (found["in_matches"].fillna(0) / found["every"]).set_axis(found["player_id"])
    return np.asarray(rackets["player_id"].map(share).fillna(usual), dtype=float)


def _measures(made: Outcome, cost: dict[str, np.ndarray], share: np.ndarray) -> dict[str, np.ndarray]:
    """Each measure by draw."""
    return {
        "restrings": made.jobs.sum(axis=0),
        "bench": (made.jobs * cost["minutes"][:, None]).sum(axis=0) / 60.0,
        "string": (made.jobs * cost["metres"][:, None]).sum(axis=0),
        "cost": (made.jobs * cost["money"][:, None]).sum(axis=0),
        "dead_play": made.dead_hours.sum(axis=0) / np.maximum(made.hours.sum(axis=0), 1e-9),
        "breaks": made.breaks.sum(axis=0),
        "match_breaks": (made.breaks * share[:, None]).sum(axis=0),
    }


def _costs(s: Snapshot, both: Compared) -> dict[str, dict[str, np.ndarray]]:
    """Minutes, metres and money of one job, by racket, as now and then; the club's own string and bench alone cost."""
    known = catalogue(s.con)
    metres = racket_metres(s.con, s.as_of)
    uses = string_uses(s.con, metres)
    by_racket = metres.set_index("racket_id").reindex(both.rackets["racket_id"])
    total = float((by_racket["mains_m"] + by_racket["crosses_m"]).mean())
    stock = stock_now(s.con, s.as_of, known, uses, dict.fromkeys(known.kinds, total))
    waste = float(stock["waste"].max()) if len(stock) else 1.0
    from_club = club_share(uses, both.rackets, pd.Timestamp(s.as_of))
    times = bench_times(s.con)
    out = {}
    for name, strung, scenario in (
        ("now", both.strung_now, both.now),
        ("then", both.strung_then, both.then),
    ):
        beds = scenario.strung.beds
        kinds = [
            kind_of_bed(m, c, mm, cm)
            for m, c, mm, cm in zip(
                strung["mains_string_id"],
                strung["crosses_string_id"],
                beds["mains_material"],
                beds["crosses_material"],
                strict=True,
            )
        ]  # fmt: skip
        money = _money(known, strung, by_racket["mains_m"].to_numpy(), by_racket["crosses_m"].to_numpy())
        out[name] = {
            "minutes": np.array([times.minutes(kind) for kind in kinds]),
            "metres": (by_racket["mains_m"] + by_racket["crosses_m"]).to_numpy(dtype=float) * from_club * waste,
            "money": money * from_club * waste,
        }
    return out


def _money(known: Catalogue, strung: pd.DataFrame, mains_m: np.ndarray, crosses_m: np.ndarray) -> np.ndarray:
    out = np.zeros(len(strung))
    price: dict[tuple[str, float], float] = {}
    for row, (mains, crosses) in enumerate(zip(strung["mains_string_id"], strung["crosses_string_id"], strict=True)):
        parts = [(known.stands_for.get(mains), mains_m[row]), (known.stands_for.get(crosses), crosses_m[row])]
        if parts[0][0] == parts[1][0]:
            parts = [(parts[0][0], mains_m[row] + crosses_m[row])]
        for kind, metres in parts:
            if kind is None:
                continue
            key = (kind, round(float(metres), 1))
            if key not in price:
                price[key] = price_per_metre(known.kinds[kind].packs, key[1])
                if np.isnan(price[key]):
                    raise StoreError(
                        f"no length of {known.kinds[kind].name} on file is long enough for {key[1]:g} m, so its "
                        "cost is not known: mend reel_m in strings.csv."
                    )
            out[row] += metres * price[key]
    return out


def _is_new_family(s: Snapshot, scenario: Scenario) -> bool:
    """Whether the materials have ended fewer than ten beds here."""
    h = s.estimate.history
    wanted = set(scenario.strung.beds["family"])
    counts = h.beds.loc[h.beds["cause"].isin(["breaks", "goes_dead"]), "family"].value_counts()
    return any(int(counts.get(family, 0)) < 10 for family in wanted)
