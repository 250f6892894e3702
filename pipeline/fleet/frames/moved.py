"""What moved a racket's date, and how much tension is left: the two explanations beside the curves of a racket.

In: a view's tables `bed_breakdown` (hours of play, step by step) and `tension_left` (per cent with its band), the
racket's row of the ranking. Out: steps ready to draw, with a sentence; the sentence on tension.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Row, has_table

SMALL_HOURS = 0.25  # steps smaller than this are drawn as one
END_WORDS = {"breaks": "to breaking", "goes_dead": "to being handed in as dead"}


@dataclass(frozen=True)
class MovedDate:
    """steps: label, hours, start, end (hours of play; a step runs from start to end). total_hours: where it ends up.
    played_hours: what is behind the bed. limit: which end it speaks of."""

    steps: pd.DataFrame
    total_hours: float
    played_hours: float
    limit: str
    sentence: str

    @property
    def in_words(self) -> str:
        """The steps one by one, for those who do not see the chart."""
        steps = [f"{row['label']} {signed_hours(row['hours'])}" for row in self.steps.to_dict("records")]
        total = words.number(self.total_hours, 1)
        return f"Hours of play, step by step: {', '.join(steps)}; together {total}. {self.sentence}"


def signed_hours(hours: float) -> str:
    """'+1.0', '−9.5': what a step adds or takes, one decimal; '0.0' without a sign where that leaves nothing."""
    shown = round(hours, 1)
    sign = "+" if shown > 0 else "\u2212" if shown < 0 else ""
    return sign + words.number(abs(shown), 1)


def moved_date(con: duckdb.DuckDBPyConnection, row: Row) -> MovedDate | None:
    """The steps of one racket, or None where it has none."""
    if row["status"] != "in_play" or not has_table(con, "bed_breakdown"):
        return None
    found = con.execute(
        'select "limit", label, hours from bed_breakdown where racket_id = $id order by "order"',
        {"id": row["racket_id"]},
    ).df()
    if found.empty:
        return None
    total, played, limit = float(found["hours"].sum()), float(row["hours_played"]), str(found["limit"].iloc[0])
    steps = _drawn(found)
    steps["end"] = steps["hours"].cumsum()
    steps["start"] = steps["end"] - steps["hours"]
    left = max(total - played, 0.0)
    return MovedDate(steps, total, played, limit, _sentence(steps, total, played, left, limit))


def _drawn(found: pd.DataFrame) -> pd.DataFrame:
    """The first step, every step of some size, and the small ones together, so that they still add up."""
    steps = list(zip(found["label"].astype(str), found["hours"].astype(float), strict=True))
    kept = [step for place, step in enumerate(steps) if place == 0 or abs(step[1]) >= SMALL_HOURS]
    rest = sum(hours for _, hours in steps) - sum(hours for _, hours in kept)
    if len(kept) < len(steps):
        kept.append(("everything else", rest))
    return pd.DataFrame(kept, columns=["label", "hours"])


def _sentence(steps: pd.DataFrame, total: float, played: float, left: float, limit: str) -> str:
    """Where it ends up and what moved it most."""
    behind = words.hours(round(played, 1))
    text = f"About {words.hours(round(total, 1))} of play {END_WORDS[limit]}, {behind} of them behind it"
    text += f": about {words.hours(round(left, 1))} to go." if left >= 0.05 else ": it is due."
    moved = list(zip(steps["label"].iloc[1:], steps["hours"].iloc[1:].astype(float), strict=True))
    if moved:
        label, hours = max(moved, key=lambda step: abs(step[1]))
        way = "added" if hours > 0 else "taken"
        text += f" Most was {way} by {label}: about {words.hours(round(abs(hours), 1))}."
    return text


def tension_sentence(con: duckdb.DuckDBPyConnection, row: Row) -> str:
    """How much of the tension is left, against the bed a day after stringing, with its band where it is known."""
    if words.is_missing(row["tension_left_pct"]) or row["status"] not in ("in_play", "in_shop"):
        return ""
    left, band, source = float(row["tension_left_pct"]), "", ""
    if has_table(con, "tension_left"):
        found = con.execute(
            "select tension_left_pct, p10, p90, source from tension_left where racket_id = $id",
            {"id": row["racket_id"]},
        ).fetchall()
        if found:
            ((left, low, high, how),) = found
            band = f" {words.percent_band(low / 100, high / 100)}"
            source = ", from the pitch of the tapped bed" if how == "pitch" else ", by its play and age"
    return f"Tension left: about {round(left)} %{band} of what the bed had a day after stringing{source}."
