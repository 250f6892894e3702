"""How long learning takes, and how much memory: `python -m tests.bench.learning`.

In: the sample academy, and a made-up history of 500 players over 5 years (rackets played in turn, four sessions a week,
beds that end at a drawn life), as the arrays that learning reads. Out, on standard output: seconds and the peak of
memory. Learning is all of it: the trade's posterior, the held-out weeks, the fit with its bands, the posterior again.
Nothing is asserted.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Sequence

import numpy as np
import pandas as pd

from pipeline.wear.adoption import adopt, shapes_of, weights_of
from pipeline.wear.held_out import reweighted
from pipeline.wear.history import CAUSES, History, Play
from pipeline.wear.learning import Shapes, learn
from pipeline.wear.reference import SESSION_WEIGHTS, session_weight_rows

FIRST_DAY = 18_000
MIXTURES = (("polyester", "polyester"), ("multifilament", "multifilament"), ("polyester", "multifilament"))


def large_history(count_players: int, years: float, seed: int = 0) -> History:
    """Two rackets a player, each played every third day or so; lives of a law of their own."""
    rng = np.random.default_rng(seed)
    span, rackets = int(365 * years), 2 * count_players
    play = rng.random((rackets, span)) < 0.29
    hours = np.where(play, rng.uniform(0.6, 2.0, play.shape), 0.0)
    life = rng.gamma(6.0, 2.5, (rackets, 4 * span // 10))
    racket, day = np.nonzero(play)
    worn = np.cumsum(hours, axis=1)[racket, day]
    ends = np.cumsum(life, axis=1)
    bed_of_racket = np.concatenate([np.searchsorted(ends[r], worn[racket == r]) for r in range(rackets)])
    key = racket.astype(np.int64) * 100_000 + bed_of_racket
    _, first, bed, count = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    n, last = len(first), first + count - 1
    player = racket[first] // 2
    is_last = np.append(racket[first][1:] != racket[first][:-1], True)
    cause = np.where(is_last, 0, rng.choice([1, 2, 2, 4], n))
    mixture = player % len(MIXTURES)
    mains = np.array([m for m, _ in MIXTURES], dtype=object)[mixture]
    crosses = np.array([c for _, c in MIXTURES], dtype=object)[mixture]
    strung = np.where(first == 0, 0, day[np.maximum(first - 1, 0)])
    strung = np.where(strung > day[first], 0, strung)
    so_far = np.cumsum(hours[racket, day])
    so_far = so_far - (so_far[first] - hours[racket, day][first])[bed]
    beds = pd.DataFrame(
        {
            "bed_id": np.arange(n), "racket_id": racket[first], "player_id": player, "cause": np.array(CAUSES)[cause],
            "mains_material": mains, "crosses_material": crosses, "family": mains + "/" + crosses,
            "mains_gauge_mm": 1.25, "mains_profile": "round", "density_per_cm2": 16 * 19 / 632.0,
            "is_string_known": True, "teaches_abrasion": True,
        }
    )  # fmt: skip
    family, families = pd.factorize(beds["family"])
    levels = {f: pd.Categorical(rng.choice(list(v), len(day)), categories=list(v)) for f, v in SESSION_WEIGHTS.items()}
    h = History(
        beds=beds, first=first, last=last, bed=bed, day=FIRST_DAY + day, age_hours=(day - strung[bed]) * 24.0 + 12.0,
        hours=so_far, abrasion=so_far, playability=so_far, share_variance=np.zeros(len(day)),
        grades=np.full((len(day), 4), -1), looked=np.full(len(day), -1), player=player, racket=racket[first],
        squad=player % 8, family=family, cause=cause, players=tuple(map(str, range(count_players))),
        squads=tuple("ABCDEFGH"), families=tuple(families), as_of_day=FIRST_DAY + span,
        play=Play(np.arange(len(day)), hours[racket, day], levels),
    )  # fmt: skip
    return reweighted(h, {(f, level): (a, p) for f, level, a, p in session_weight_rows()})


def learn_all(h: History) -> tuple[int, float]:
    """Everything that learning does; how many limits were adopted, and seconds of processor time."""
    start = time.process_time()
    fits, _ = adopt(h, learn(h))
    if fits:
        learn(reweighted(h, {row[:2]: row[2:] for row in weights_of(fits)}), shapes_of(fits, Shapes()))
    return len(fits), time.process_time() - start


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.learning", description=__doc__.splitlines()[0])
    parser.add_argument("--players", type=int, default=500)
    parser.add_argument("--years", type=float, default=5.0)
    options = parser.parse_args(arguments)
    for count_players, years in ((40, 1.4), (options.players, options.years)):
        h = large_history(count_players, years)
        adopted, seconds = learn_all(h)
        peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(
            f"{count_players} players x {years:g} years: {h.n_beds:,} beds, {len(h.day):,} days of play, {adopted} "
            f"limits adopted: {seconds:.1f} s of processor, peak {peak_gb:.2f} GB",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
