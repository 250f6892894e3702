"""Benches of a club's size, timed: `nice python -m tests.fleet.bench.at_size`.

In: jobs, days, stringers, how many benches. Out: for each how full it is, the seconds, the gap, whether proven best.
Nothing is asserted.
"""

from __future__ import annotations

import argparse
import time

from pipeline.fleet.bench.solving import solve
from tests.fleet.bench.problems import club_bench


def main() -> None:
    """Print one line a bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name, usual in (("jobs", 120), ("days", 14), ("stringers", 3), ("count", 9)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    parser.add_argument("--seconds", type=float, default=10.0)
    asked = parser.parse_args()
    for seed in range(asked.count):
        fullness = (0.75, 0.9, 1.05)[seed % 3]
        problem = club_bench(100 + seed, asked.jobs, asked.days, asked.stringers, fullness)
        started = time.perf_counter()
        found = solve(problem, asked.seconds)
        spent = time.perf_counter() - started
        proven = "proven best" if found.is_proven else f"within {found.gap:.2%} of the best"
        print(f"bench {seed}: {fullness:.0%} full, {spent:5.1f} s, cost {found.cost:10.1f}, {proven}", flush=True)


if __name__ == "__main__":
    main()
