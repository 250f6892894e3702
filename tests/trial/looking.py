"""What looking at the rackets is worth, and what careless grades cost: clubs in, a table out.

The same club three times, with one truth: as it is, with every match racket looked at each fortnight, and with the same
looks but grades written down at random. `python -m tests.trial.looking --seeds 1 2` prints AUC and Brier skill of the
14-day p_end for each, and by how much they differ from the club as it is.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.trial.harness import Verdict, judge_club, pool
from tests.trial.kinds import NATURE, kinds_of, write_clubs
from tests.trial.product import open_club

WAYS = ("clean", "inspected", "misgraded")
DRAWS = 200  # the weekly jobs are not at stake here


def line(name: str, by_way: dict[str, Verdict]) -> str:
    """One row: AUC and skill of the club as it is, then of each way of looking with the difference."""
    usual = by_way["clean"].figures()
    cells = [f"{name:<24}{usual['auc']:8.3f}{usual['skill']:8.3f}"]
    for way in WAYS[1:]:
        got = by_way[way].figures()
        for figure, width in (("auc", 9), ("skill", 8)):
            cells.append(f"{got[figure]:{width}.3f} ({got[figure] - usual[figure]:+.3f})")
    return "".join(cells)


def main(arguments: Sequence[str] | None = None) -> int:
    makers = [g for g in NATURE if set(WAYS) <= set(kinds_of(g))]
    parser = argparse.ArgumentParser(prog="python -m tests.trial.looking", description=__doc__)
    parser.add_argument("--generators", nargs="+", default=makers, choices=makers)
    parser.add_argument("--seeds", nargs="+", type=int, default=[1])
    parser.add_argument("--origins", type=int, default=8)
    options = parser.parse_args(arguments)
    print(f"{'':<24}{'as it is':>16}{'looked at each fortnight':>33}{'graded at random':>34}")
    print(f"{'club':<24}{'AUC':>8}{'skill':>8}" + f"{'AUC':>9}{'':9}{'skill':>8}{'':9}" * 2, flush=True)
    together: dict[str, list[Verdict]] = {way: [] for way in WAYS}
    with tempfile.TemporaryDirectory() as scratch:
        for maker in options.generators:
            for seed in options.seeds:
                made = write_clubs(Path(scratch), [maker], WAYS, [seed])
                by_way = {
                    way: judge_club(folder, maker, way, options.origins, open_club, DRAWS)
                    for way, folder in zip(WAYS, made, strict=True)
                }
                for way in WAYS:
                    together[way].append(by_way[way])
                print(line(f"{maker} {seed}", by_way), flush=True)
    print(line("together", {way: pool(way, verdicts) for way, verdicts in together.items()}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
