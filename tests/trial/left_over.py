"""What a club's records still tell that the ranking does not use: clubs in, a table out.

The ranking is made at many fortnights of a club's past, and gradient boosted trees (Friedman 2001; scikit-learn) are
taught on the earlier ones what became of each racket, with the ranking's own chance, the state of the bed, its player,
its rivals in the bag and its last look before them. Where the trees, who have no theory, rank the last eight origins no
better, there is nothing left in those numbers to be had. `python -m tests.trial.left_over --seeds 101` prints AUC and
Brier skill of the ranking, of the trees, and of the ranking's chances with the slope of their log odds put right.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression

from tests.trial import metrics
from tests.trial.harness import RANK_DAYS
from tests.trial.kinds import NATURE, kinds_of, write_clubs
from tests.trial.product import open_club
from tests.trial.records import Club, read_club

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

EARLIER, JUDGED = 40, 8
WAYS = ("ranking", "trees", "slope")


def log_odds(chance: pd.Series) -> pd.Series:
    kept = chance.clip(1e-4, 1.0 - 1e-4)
    return np.log(kept / (1.0 - kept))


def described(snapshot: Snapshot, beds: pd.DataFrame) -> pd.DataFrame:
    """What the product knows of each bed at its origin; one row a bed of `beds`, NaN where it ranks none."""
    h, learned, ahead = snapshot.estimate.history, snapshot.estimate.learned, snapshot.outlook(42)
    now = ahead.beds
    last, looked = h.last[now.index], h.looked[h.last[now.index]]
    seen = looked >= 0
    means = {k: learned.a[k] / learned.b[k] for k in ("breaks", "goes_dead")}
    known = {
        "p_break": ahead.p_break[:, RANK_DAYS - 1],
        "p_feel": ahead.p_feel[:, RANK_DAYS - 1],
        "x_breaks": learned.exposure.x["breaks"][last],
        "x_dead": learned.exposure.x["goes_dead"][last],
        "more_breaks": ahead.x_breaks[:, RANK_DAYS - 1] - ahead.x_breaks[:, 0],
        "more_dead": ahead.x_dead[:, RANK_DAYS - 1] - ahead.x_dead[:, 0],
        "player_breaks": means["breaks"][now.player],
        "player_dead": means["goes_dead"][now.player],
        "reports": learned.reports[now.player],
        "racket": learned.racket[now.index],
        "family": h.family[now.index],
        "age_hours": now.age_hours,
        "hours": h.hours[last],
        "share": now.share,
        "days_since_look": np.where(seen, h.day[last] - h.day[np.maximum(looked, 0)], np.nan),
        **{f"grade_{s}": np.where(seen, h.grades[last, s], -1) for s in range(h.grades.shape[1])},
    }
    frame = pd.DataFrame(known, index=pd.Index(now.racket_id, name="racket_id"))
    out = frame.reindex(beds["racket_id"].to_numpy()).reset_index(drop=True)
    ranked = snapshot.rank(days=RANK_DAYS).set_index("racket_id")["p_end"].astype(float)
    out["p_end"] = beds["racket_id"].map(ranked).fillna(0.0).to_numpy()
    in_bag = out.groupby(beds["player_id"].to_numpy())
    for name in ("x_dead", "age_hours", "p_end"):
        out[f"place_{name}"] = in_bag[name].rank()
    out["rackets"] = in_bag["p_end"].transform("size")
    return out


def past_forecasts(club: Club) -> pd.DataFrame:
    """Each bed at each of 48 fortnights: what was known, `happened`, `origin`."""
    last = club.origins(JUDGED)
    rows = []
    with open_club(club.folder) as at:
        for n in range(-EARLIER, JUDGED):
            origin = last[0] + timedelta(days=14 * n)
            beds = club.beds(origin).reset_index(drop=True)
            known = described(at(origin), beds)  # type: ignore[arg-type]
            rows.append(known.assign(happened=club.outcome(beds, origin, RANK_DAYS), origin=origin))
    return pd.concat(rows, ignore_index=True)


def known_by(past: pd.DataFrame, origin: date) -> pd.DataFrame:
    """The rows whose fortnight was over on the origin's day."""
    return past[pd.to_datetime(past["origin"]) + pd.Timedelta(days=RANK_DAYS) <= pd.Timestamp(origin)]


def taught(before: pd.DataFrame, now: pd.DataFrame) -> dict[str, np.ndarray]:
    """way -> (n,) chances of the rows of `now`, those of trees and slope learned from `before`."""
    y = before["happened"].to_numpy(dtype=int)
    # a number that is the same everywhere, or nowhere known, is none to the trees
    numbers = [c for c in before.columns if c not in ("happened", "origin") and before[c].nunique() > 1]
    trees = HistGradientBoostingClassifier(
        max_depth=3, learning_rate=0.05, max_iter=120, min_samples_leaf=40, l2_regularization=5.0, random_state=0
    ).fit(before[numbers], y)
    slope = LogisticRegression().fit(log_odds(before["p_end"]).to_frame(), y)
    return {
        "ranking": now["p_end"].to_numpy(dtype=float),
        "trees": trees.predict_proba(now[numbers])[:, 1],
        "slope": slope.predict_proba(log_odds(now["p_end"]).to_frame())[:, 1],
    }


def scores(past: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """way -> AUC and Brier skill over the last eight origins of a club."""
    told: dict[str, list[np.ndarray]] = {way: [] for way in WAYS}
    came = []
    for origin in sorted(past["origin"].unique())[-JUDGED:]:
        now = past[past["origin"] == origin]
        came.append(now["happened"].to_numpy(dtype=float))
        for way, chances in taught(known_by(past, origin), now).items():
            told[way].append(chances)
    y = np.concatenate(came)
    return {
        way: (metrics.auc(np.concatenate(p), y), metrics.brier_skill(np.concatenate(p), y)) for way, p in told.items()
    }


def line(name: str, got: dict[str, tuple[float, float]]) -> str:
    return f"{name:<24}" + "".join(f"{auc:9.3f}{skill:8.3f}" for auc, skill in got.values())


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.trial.left_over", description=__doc__)
    parser.add_argument("--generators", nargs="+", default=list(NATURE), choices=list(NATURE))
    parser.add_argument("--kinds", nargs="+", default=["clean"])
    parser.add_argument("--seeds", nargs="+", type=int, default=[101])
    options = parser.parse_args(arguments)
    print(f"{'':<24}" + "".join(f"{way:>17}" for way in WAYS))
    print(f"{'club':<24}" + f"{'AUC':>9}{'skill':>8}" * len(WAYS), flush=True)
    every = []
    with tempfile.TemporaryDirectory() as scratch:
        for maker in options.generators:
            kinds = [k for k in options.kinds if k in kinds_of(maker)]
            for folder in write_clubs(Path(scratch), [maker], kinds, options.seeds):
                every.append(scores(past_forecasts(read_club(folder))))
                print(line(folder.name, every[-1]), flush=True)
    mean = {way: tuple(np.mean([got[way] for got in every], axis=0)) for way in WAYS}
    print(line("mean of the clubs", mean))  # type: ignore[arg-type]
    return 0


if __name__ == "__main__":
    sys.exit(main())
