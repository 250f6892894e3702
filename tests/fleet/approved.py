"""One small club worked out whole, as numbers and words that a person has looked through: `approved.csv`.

In: nothing. Out: every published table of the club, what was learned from it, what a fit makes of another one and how
the forecasts of the last weeks held up, one row a number: table, row, column, value. After a wanted change of the model
`python -m tests.fleet.approved` writes the file anew; its difference is then read like any other change. What can be
stated as a worked example is tested as one, elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from pipeline.fleet.backtest import backtest
from pipeline.fleet.publish import ClubWords, publish
from pipeline.fleet.record_table import measures
from pipeline.fleet.snapshot import Snapshot, snapshot
from pipeline.wear.adoption import adopt, problem_of
from pipeline.wear.estimate import estimate, trade_by_hand
from pipeline.wear.fitting import fit
from pipeline.wear.learning import LIMITS, Learned
from tests.fleet.clubs import ORIGIN, academy, hand_in, plan
from tests.sql.club_rows import put, rackets

FILE = Path(__file__).with_name("approved.csv")
NOW = datetime(2026, 3, 30, 7, 0, tzinfo=UTC)
DIGITS = 9
Number = tuple[str, str, str, object]
# table -> the columns that tell its rows apart
PLAIN = ("player_name", "frame", "marking", "mains", "crosses", "head_cm2", "tension_min_kg", "tension_max_kg", "role")
KEYS = {
    "ranking": ["racket_id"],
    "forecast_weeks": ["week"],
    "forecast_strings": ["week", "string_id"],
    "match_ready": ["event", "player_id"],
    "look_first": ["racket_id"],
    "bed_breakdown": ["racket_id", "limit", "order"],
    "tension_left": ["racket_id"],
    "beds": ["bed_id"],
    "meta": ["key"],
}


def day(n: int) -> str:
    """The n-th day after the origin."""
    return str(ORIGIN + timedelta(days=n))


def club() -> duckdb.DuckDBPyConnection:
    """Six players with two rackets each: looks of every sign, readings of the pitch, hybrids and strings not written
    down, endings of every kind, matches, a ticket, a closed day, events ahead."""
    con = academy(players=6, weeks=20, seed=3)
    put(con, "strings", [{"string_id": "gut", "string_name": "Gut", "material": "natural_gut", "gauge_mm": 1.3,
                          "profile": "round"}])  # fmt: skip
    con.execute("update facts.players set level = 'national' where player_id = 'P01'")
    con.execute("update facts.players set level = 'club' where player_id = 'P02'")
    numbered = (
        "select restring_id, row_number() over (order by strung_on, restring_id) as n, reason from facts.restrings"
    )
    for n, change in enumerate(
        (
            "reason = 'unknown'", "reason = 'scheduled'", "reason = 'inspection'",
            "crosses_string_id = 'multi', crosses_kg = 21.5", "mains_string_id = null", "broke_where = 'edge'",
            "mains_string_id = 'poly_shaped'", "crosses_string_id = 'gut', crosses_kg = 22",
        )
    ):  # fmt: skip
        con.execute(
            f"update facts.restrings set {change} where restring_id in "
            f"(select restring_id from ({numbered}) where reason <> 'first' and n % 9 = {n})"
        )
    con.execute(
        f"update facts.restrings as r set ended_on = strung_on - (n % 4)::integer from ({numbered}) as k "
        "where k.restring_id = r.restring_id and r.reason in ('broke', 'lost_feel') and n % 2 = 0"
    )
    seen = "select inspection_id, row_number() over (order by inspected_on, inspection_id) as n from facts.inspections"
    for n, change in enumerate(
        ("fraying = notching, notching = null", "misalignment = notching", "lost_feel = notching", "lost_feel = 0")
    ):
        con.execute(
            f"update facts.inspections set {change} where inspection_id in "
            f"(select inspection_id from ({seen}) where n % 5 = {n})"
        )
    readings = [("P00-1", -9, 540.0), ("P02-1", -30, 588.0), ("P02-1", -2, 552.0), ("P04-2", -3, 566.0)]
    put(
        con, "inspections",
        [{"inspection_id": f"H{i}", "inspected_on": day(on), "racket_id": r, "pitch_hz": hz}
         for i, (r, on, hz) in enumerate(readings)],
    )  # fmt: skip
    put(
        con, "inspections",
        [{"inspection_id": f"L{r}", "inspected_on": day(-on), "racket_id": r, "notching": g, "misalignment": 3 - g}
         for on, (r, g) in enumerate((("P01-2", 3), ("P03-1", 1), ("P05-1", 0), ("P05-2", 2)))],
    )  # fmt: skip
    put(
        con, "matches",
        [{"match_id": f"M{i}", "player_id": f"P0{i % 6}", "racket_id": f"P0{i % 6}-1", "played_on": day(-3 * i - 1),
          "format": ("singles", "doubles")[i % 2], "minutes": 70.0 + i, "surface": ("clay", "hard", "sand")[i % 3]}
         for i in range(30)],
    )  # fmt: skip
    hand_in(con, "P01-1", "lost_feel", ORIGIN - timedelta(days=2))
    hand_in(con, "P03-2", "broke", ORIGIN)
    rackets(con, ("P02-9", "P02"))
    plan(con, ORIGIN + timedelta(days=4), activity="singles", event="Spring Cup", fresh_rackets=2)
    plan(con, ORIGIN + timedelta(days=11), activity="doubles", event="Long Cup", until_on=day(13))
    for squad in ("U16", "U18"):
        for closed in (-20, 5):
            plan(con, ORIGIN + timedelta(days=closed), activity="closed", squad=squad)
    put(con, "bench", [{"bench_on": day(d), "stringer": "S", "minutes": 60} for d in range(-20, 8)])
    return con


def numbers() -> list[Number]:
    """Every number and word, in a fixed order."""
    con = club()
    made = snapshot(con, ORIGIN, kept=trade_by_hand(date(2026, 3, 1), "Kim"))
    rows = [*_of_learned(made.estimate.learned), *_of_snapshot(made)]
    publish(made, ClubWords("Testers", "lb"), NOW, ORIGIN)
    for table, keys in KEYS.items():
        rows += _of_frame(table, con.execute(f"from {table}").df(), keys)
    bed_days = con.execute("select * from bed_days where kind = 'planned' and day - $1 in (1, 9, 30)", [ORIGIN]).df()
    rows += _of_frame("bed_days", bed_days, ["racket_id", "day"])
    known = con.execute("select name, value, value_p05, value_p95 from parameters where evidence <> ''").df()
    rows += _of_frame("parameters", known, ["name"])
    return [*rows, *_of_backtest()]


def fitted() -> list[Number]:
    """What a fit makes of a club that has taught enough, and how its held-out weeks judged it."""
    con = academy(players=8, weeks=30)
    played = "select practice_id, row_number() over (order by practice_id) as n from facts.practices"
    for n, change in enumerate(("surface = 'clay'", "intensity = 'hard', activity = 'rally'", "activity = 'serve'")):
        con.execute(
            f"update facts.practices set {change} where practice_id in (select practice_id from ({played}) "
            f"where n % 5 = {n})"
        )
    con.execute("update facts.players set level = 'national' where player_id in ('P01', 'P04')")
    con.execute("update facts.restrings set mains_string_id = 'poly_thick' where racket_id like 'P02%'")
    con.execute("update facts.restrings set mains_string_id = 'poly_shaped' where racket_id like 'P04%'")
    found = estimate(con, ORIGIN, is_fitting=False)
    _, compared = adopt(found.history, found.learned)
    rows: list[Number] = []
    for c in compared:
        rows += [("held out", c.limit, name, getattr(c, name)) for name in
                 ("weeks", "endings", "trade", "fitted", "steepness", "is_adopted")]  # fmt: skip
    for limit in LIMITS:
        f = fit(problem_of(found.history, found.learned, limit))
        rows += [("fit", limit, name, getattr(f, name)) for name in
                 ("shape", "strength", "rest_scale", "log_likelihood", "trade_log_likelihood", "endings")]  # fmt: skip
        rows += [("fit", limit, " ".join(name), w) for name, w in f.weights.items()]
        rows += [("fit", limit, name, w) for name, w in f.bed_effects.items()]
        rows += [("fit", limit, f"spread of {name}", w) for name, w in f.spreads.items()]
        rows += [("fit", limit, f"family {i}", float(w)) for i, w in enumerate(f.family)]
    return rows


def _of_learned(learned: Learned) -> Iterator[Number]:
    for limit in ("breaks", "goes_dead"):
        for name in ("family", "a", "b", "looks", "look_endings", "endings_family"):
            values = np.ravel(getattr(learned, name)[limit])
            yield from (("learned", f"{name} {limit}", str(i), float(v)) for i, v in enumerate(values))
        yield from (
            ("learned", f"baseline {limit}", str(i), float(v)) for i, v in enumerate(learned.baseline[limit].slopes)
        )
        level = learned.level[limit]
        yield from (("learned", f"level {limit}", n, getattr(level, n)) for n in ("level", "spread", "discount"))
    for name in ("squad", "age", "wear", "player"):
        yield from (("learned", f"other {name}", str(i), float(v)) for i, v in enumerate(getattr(learned.other, name)))
    yield "learned", "mishits", "a hour", learned.mishit_per_hour
    yield from (("learned", "reports", str(i), float(v)) for i, v in enumerate(learned.reports))
    yield from (("learned", "causes", str(i), float(v)) for i, v in enumerate(learned.responsibility.sum(axis=0)))
    yield from (("learned", "rackets", str(i), float(v)) for i, v in enumerate(learned.racket))


def _of_snapshot(s: Snapshot) -> Iterator[Number]:
    for limit, level in s.past.levels.items():
        yield from (("levels", limit, n, getattr(level, n)) for n in ("level", "spread", "discount"))
    yield "snapshot", "", "spread", s.spread
    yield "snapshot", "", "first jobs a week", s.first_jobs_a_week
    for name in ("after_wear", "after_other", "unseen", "keeps_closed", "open_from"):
        values = np.asarray(getattr(s.way, name), dtype=float)
        yield from (("way", name, n, float(v)) for n, v in (("sum", values.sum()), ("max", values.max())))
    for name in ("spread_level", "spread_week", "spread_club"):
        yield "play", name, "", float(np.sum(getattr(s.play, name)))
    for name in ("over", "over_days"):
        yield from (("takeover", name, str(i), float(v)) for i, v in enumerate(getattr(s.takeover, name)))


def _of_backtest() -> list[Number]:
    made = backtest(academy(players=6, weeks=20, seed=3), ORIGIN, 4, draws=200)
    return [
        *_of_frame("track record", measures(made), ["measure"]),
        *_of_frame("fortnights", made.rackets.drop(columns=["bed_id"]), ["origin", "racket_id"]),
        *_of_frame("weeks", made.weeks, ["starts_on"]),
    ]


def _of_frame(table: str, frame: pd.DataFrame, keys: list[str]) -> list[Number]:
    return [
        (table, " ".join(str(row[k])[:40] for k in keys), str(name), value)
        for row in frame.sort_values(keys).to_dict("records")
        for name, value in row.items()
        if name not in (*keys, *PLAIN) and not (value is None or value is pd.NaT or value != value)
    ]


def as_frame(rows: list[Number]) -> pd.DataFrame:
    """As text, numbers to DIGITS digits: what the file holds."""
    shown = [
        (*row[:3], f"{float(row[3]):.{DIGITS}g}" if isinstance(row[3], (int, float, np.number)) else str(row[3]))
        for row in rows
    ]
    return pd.DataFrame(shown, columns=["table", "row", "column", "value"], dtype=str)


if __name__ == "__main__":
    as_frame([*numbers(), *fitted()]).to_csv(FILE, index=False)
