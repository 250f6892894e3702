"""The trial: clubs with known truth in, scores of the product's forecasts beside the rules of thumb out.

At each origin the product sees the whole folder, loaded once, and is told the origin's date; it must use what was dated
up to then alone (calendar rows ahead are plans). `judge_club` gives a `Verdict`, `pool` joins several; a Verdict's
`figures` are the columns of the table. Floors are the project's own aims, per kind of club.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pandas as pd

from tests.trial import metrics, rules_of_thumb
from tests.trial.records import Club, read_club

RANK_DAYS = 14
WEEKS = 4
DRAWS = 2000


class Forecaster(Protocol):
    """What the trial asks of a snapshot of the club at an origin."""

    def rank(self, days: int) -> pd.DataFrame: ...

    def forecast_draws(self, weeks: int, draws: int, seed: int) -> np.ndarray: ...


OpenClub = Callable[[Path], AbstractContextManager[Callable[[date], Forecaster]]]


@dataclass(frozen=True)
class Floors:
    """The least a kind of club must reach; None = not asked."""

    auc: float | None
    ratio: tuple[float, float] = (0.9, 1.1)
    coverage: tuple[float, float] = (0.70, 0.88)
    crps_ratio: float = 0.58
    skill: float | None = None


# by level and kind of club; "" = every other kind, "all" = kinds put together
FLOORS: dict[str, dict[str, Floors]] = {
    "floors": {
        "": Floors(auc=0.82),
        "messy": Floors(auc=0.79),
        "no_racket": Floors(auc=0.70),
        "all": Floors(auc=None),
    },
    "goals": {
        "": Floors(auc=0.86, skill=0.24, coverage=(0.74, 0.86), crps_ratio=0.48),
        "messy": Floors(auc=0.82, skill=0.16),
        "no_racket": Floors(auc=0.70),
        "all": Floors(auc=None),
    },
}


def floors_for(kind: str, level: str = "floors") -> Floors:
    return FLOORS[level].get(kind, FLOORS[level][""])


@dataclass
class Verdict:
    """Forecasts and truths of one club over its origins, or of several clubs: one row a bed, one row a week."""

    name: str
    generator: str
    kind: str
    beds: pd.DataFrame  # club, happened, p_end, days, hours, rule, p_days
    weeks: pd.DataFrame  # club, covered, crps, crps_recent, crps_rule, real, mean
    count_unranked: int = 0  # beds in play that the ranking left out; scored as p_end 0
    is_bound: bool = False  # of the best possible, not of the product: misses no floor

    @property
    def count_clubs(self) -> int:
        return int(self.beds["club"].nunique())

    def mean_auc(self, score: str) -> float:
        """AUC within a club, over all its origins; of several clubs the mean, weighted by the endings."""
        parts = [
            (metrics.auc(rows[score], rows["happened"]), rows["happened"].sum())
            for _, rows in self.beds.groupby("club")
        ]
        parts = [(value, weight) for value, weight in parts if np.isfinite(value)]
        return float(np.average([v for v, _ in parts], weights=[w for _, w in parts])) if parts else float("nan")

    def figures(self) -> dict[str, float]:
        beds, weeks = self.beds, self.weeks
        recent = float(weeks["crps_recent"].sum())
        return {
            "auc": self.mean_auc("p_end"),
            "auc_days": self.mean_auc("days"),
            "auc_hours": self.mean_auc("hours"),
            "auc_rule": self.mean_auc("rule"),
            "skill": metrics.brier_skill(beds["p_end"], beds["happened"]),
            "skill_days": metrics.brier_skill(beds["p_days"], beds["happened"]),
            "ratio": metrics.expected_over_real(beds["p_end"], beds["happened"]),
            "coverage": float(weeks["covered"].mean()),
            "below": float(weeks["below"].mean()),
            "above": float(weeks["above"].mean()),
            "coverage_recent": float(weeks["covered_recent"].mean()),
            "crps": float(weeks["crps"].mean()),
            "crps_ratio": float(weeks["crps"].sum()) / recent if recent > 0 else float("nan"),
            "crps_rule": float(weeks["crps_rule"].sum()) / recent if recent > 0 else float("nan"),
            "jobs": float(weeks["real"].mean()),
            "jobs_ratio": float(weeks["mean"].sum() / max(weeks["real"].sum(), 1)),
            "endings": float(beds["happened"].sum()),
            "count_beds": float(len(beds)),
        }

    def misses(self, level: str = "floors") -> set[str]:
        """Figures below the floor of this kind of club; a figure that cannot be worked out is a miss as well."""
        if self.is_bound:
            return set()
        got, floors = self.figures(), floors_for(self.kind, level)
        good = {
            "auc": floors.auc is None or got["auc"] >= floors.auc,
            "ratio": floors.ratio[0] <= got["ratio"] <= floors.ratio[1],
            "coverage": floors.coverage[0] <= got["coverage"] <= floors.coverage[1],
            "crps_ratio": got["crps_ratio"] <= floors.crps_ratio,
        }
        if floors.skill is not None:
            good["skill"] = got["skill"] >= floors.skill
        return {name for name, is_good in good.items() if not is_good}


def judge_origin(
    club: Club, snapshot: Forecaster, origin: date, seed: int, draws: int
) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """Beds and weeks of one origin, and how many beds the ranking left out."""
    beds = club.beds(origin)
    ranked = snapshot.rank(days=RANK_DAYS)
    if ranked["racket_id"].duplicated().any():
        raise ValueError(f"{club.name}, {origin}: a racket is ranked twice")
    p_end = beds["racket_id"].map(ranked.set_index("racket_id")["p_end"].astype(float))
    count_unranked = int(p_end.isna().sum())
    beds = beds.assign(
        club=club.name,
        origin=origin,
        happened=club.outcome(beds, origin, RANK_DAYS),
        p_end=p_end.fillna(0.0),
        days=rules_of_thumb.days_since_strung(beds, origin),
        hours=rules_of_thumb.raw_hours(club, beds, origin),
        rule=rules_of_thumb.times_a_week(club, beds, origin),
        p_days=rules_of_thumb.calibrated_by_past(club, origin, RANK_DAYS),
    )
    sample = np.asarray(snapshot.forecast_draws(WEEKS, draws, seed))
    if sample.shape != (draws, WEEKS):
        raise ValueError(f"{club.name}, {origin}: forecast_draws gave {sample.shape}, not {(draws, WEEKS)}")
    recent = rules_of_thumb.recent_average(club, origin, WEEKS)
    by_rule = rules_of_thumb.times_a_week_jobs(club, beds, origin, WEEKS)
    rows = []
    for week, real in enumerate(club.jobs_by_week(origin, WEEKS)):
        rows.append(
            {
                "club": club.name,
                "origin": origin,
                "week": week + 1,
                "real": real,
                "mean": float(sample[:, week].mean()),
                "covered": metrics.band_coverage(sample[:, week], real),
                "covered_recent": metrics.band_coverage(recent[:, week], real),
                "below": metrics.band_coverage(sample[:, week], real, 0.0, 0.1),
                "above": metrics.band_coverage(sample[:, week], real, 0.9, 1.0),
                "crps": metrics.crps(sample[:, week], real),
                "crps_recent": metrics.crps(recent[:, week], real),
                "crps_rule": abs(float(by_rule[week]) - real),
            }
        )
    return beds, pd.DataFrame(rows), count_unranked


def judge_club(
    folder: Path, generator: str, kind: str, count_origins: int, open_club: OpenClub, draws: int = DRAWS, seed: int = 0
) -> Verdict:
    """All origins of one club; the product's snapshots come from `open_club`."""
    club = read_club(folder)
    beds, weeks, count_unranked = [], [], 0
    with open_club(club.folder) as snapshot_at:
        for origin in club.origins(count_origins):
            origin_beds, origin_weeks, missing = judge_origin(club, snapshot_at(origin), origin, seed, draws)
            beds.append(origin_beds)
            weeks.append(origin_weeks)
            count_unranked += missing
    return Verdict(
        club.name,
        generator,
        kind,
        pd.concat(beds, ignore_index=True),
        pd.concat(weeks, ignore_index=True),
        count_unranked,
    )


def pool(name: str, verdicts: Iterable[Verdict]) -> Verdict:
    """Several clubs as one: probabilities and weeks are put together, AUC is the mean within clubs."""
    verdicts = list(verdicts)
    kinds, makers = {v.kind for v in verdicts}, {v.generator for v in verdicts}
    return Verdict(
        name=name,
        generator=makers.pop() if len(makers) == 1 else "all",
        kind=kinds.pop() if len(kinds) == 1 else "all",
        beds=pd.concat([v.beds for v in verdicts], ignore_index=True),
        weeks=pd.concat([v.weeks for v in verdicts], ignore_index=True),
        count_unranked=sum(v.count_unranked for v in verdicts),
        is_bound=all(v.is_bound for v in verdicts),
    )


def summary(verdict: Verdict) -> dict[str, Any]:
    """One line of the table as a dict."""
    return {
        "club": verdict.name,
        "generator": verdict.generator,
        "kind": verdict.kind,
        **verdict.figures(),
        "misses": " ".join(sorted(verdict.misses())),
    }
