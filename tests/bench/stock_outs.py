"""How often each string would run out if ordered at its reorder point: `python -m tests.bench.stock_outs`.

In: the sample academy, a service level. Out: by string, the reorder point from one simulation of the fleet, the share
of the draws of another that use more before the order comes, and the same for a reorder point that takes demand for a
normal curve. Prints; asserts nothing.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.fleet.plans import plan_snapshot
from pipeline.fleet.reels.catalogue import catalogue
from pipeline.fleet.reels.demand import club_share, demand
from pipeline.fleet.reels.lead_time import lead_times
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.reels.ordering import by_day, reorder_point, reorder_quantile
from pipeline.fleet.reels.stock import string_uses
from pipeline.sql import relation_text
from tests.dashboard.sample_store import make_sample_store

WEEKS = 6


def main() -> None:
    """Work it out and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--service", type=float, default=0.95)
    parser.add_argument("--draws", type=int, default=4000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, plan_snapshot(make_sample_store(Path(folder) / "club")) as s:
        known, metres = catalogue(s.con), racket_metres(s.con, s.as_of)
        strung = s.con.execute(relation_text("racket_strings")).df()
        from_club = club_share(string_uses(s.con, metres), s.rackets, pd.Timestamp(s.as_of))
        leads = lead_times(s.con, s.as_of, known)
        used: list[dict[str, np.ndarray]] = []
        for seed in (1, 2):
            rng = np.random.default_rng(seed)
            made = s.simulate(WEEKS, asked.draws, seed)
            need = demand(made, s.rackets, strung, metres, known, from_club, 1.0, rng)
            row = np.arange(asked.draws)
            used.append(
                {
                    string_id: by_day(weekly)[row, np.minimum(leads.draws(string_id, asked.draws, rng), 7 * WEEKS)]
                    for string_id, weekly in zip(need.strings, need.metres, strict=True)
                    if weekly.any()
                }
            )
    error = np.sqrt(2 * asked.service * (1 - asked.service) / asked.draws)
    print(f"wanted {1 - asked.service:.3f}, standard error {error:.4f}, {asked.draws} draws twice")
    print("string  reorder_m  runs_out  runs_out_normal")
    for string_id, first in used[0].items():
        point = reorder_quantile(first, asked.service)
        normal = reorder_point(float(first.mean()), float(first.std()), asked.service)
        other = used[1][string_id]
        print(f"{string_id:6}  {point:9.1f}  {(other > point + 1e-9).mean():8.4f}  {(other > normal).mean():15.4f}")


if __name__ == "__main__":
    main()
