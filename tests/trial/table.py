"""The trial's table: every club, then pooled by generator and by kind. `python -m tests.trial.table --help`.

Columns: beds and endings scored; AUC of the 14-day p_end beside days since strung, raw hours and the times-a-week rule;
Brier skill beside that of days since strung (its chances learned from the club's past); endings expected over real;
weekly jobs: mean a week, forecast mean over real, share of weeks within the 80 % band by randomised PIT, share below
and above it, and the share that the recent average's own band covers; CRPS, and CRPS over that of the recent average
beside the same for the times-a-week rule. `!` marks a figure that misses its floor.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import pandas as pd

from tests.trial.best_possible import BUILDERS, best_opener
from tests.trial.harness import DRAWS, FLOORS, Verdict, judge_club, pool, summary
from tests.trial.kinds import NATURE, RECORDING, kinds_of, write_clubs
from tests.trial.product import open_club

# figure, heading, decimals
COLUMNS = [
    ("count_beds", "beds", 0),
    ("endings", "ended", 0),
    ("auc", "AUC", 3),
    ("auc_days", "days", 3),
    ("auc_hours", "hours", 3),
    ("auc_rule", "rule", 3),
    ("skill", "skill", 3),
    ("skill_days", "days", 3),
    ("ratio", "exp/real", 3),
    ("jobs", "jobs/wk", 1),
    ("jobs_ratio", "fc/real", 2),
    ("coverage", "cover80", 3),
    ("below", "below", 2),
    ("above", "above", 2),
    ("coverage_recent", "recent", 3),
    ("crps", "CRPS", 2),
    ("crps_ratio", "/recent", 3),
    ("crps_rule", "rule", 2),
]
NAME_WIDTH = 34


def heading() -> str:
    return f"{'club':<{NAME_WIDTH}}" + "".join(f"{title:>9}" for _, title, _ in COLUMNS)


def line(verdict: Verdict, level: str = "floors") -> str:
    """One row of the table."""
    figures, misses = verdict.figures(), verdict.misses(level)
    cells = [f"{figures[name]:.{digits}f}{'!' if name in misses else ' '}" for name, _, digits in COLUMNS]
    note = f"  {verdict.count_unranked} beds not ranked" if verdict.count_unranked else ""
    return f"{verdict.name:<{NAME_WIDTH}}" + "".join(f"{cell:>9}" for cell in cells) + note


def pooled(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """By generator, by generator and kind where there are several clubs, by kind, and all."""
    lines = [
        pool(f"all {g}", [v for v in verdicts if v.generator == g])
        for g in dict.fromkeys(v.generator for v in verdicts)
    ]
    for kind in dict.fromkeys(v.kind for v in verdicts):
        of_kind = [v for v in verdicts if v.kind == kind]
        lines.append(pool(f"kind {kind} ({len(of_kind)} clubs)", of_kind))
    return [*lines, pool(f"all {len(verdicts)} clubs", verdicts)]


def kind_of(folder: Path) -> tuple[str, str]:
    """Generator and kind from a folder named <generator>-<kind>-<seed>; "other" and "default" if it is not."""
    parts = folder.name.split("-")
    return (parts[0], "-".join(parts[1:-1])) if len(parts) >= 3 else ("other", "default")


def _judge(task: tuple[Path, int, int, int]) -> list[Verdict]:
    """The product's verdict, and the best possible one where futures are asked for and the club's maker is at hand."""
    folder, origins, draws, futures = task
    generator, kind = kind_of(folder)
    verdicts = [judge_club(folder, generator, kind, origins, open_club, draws)]
    if futures and generator in BUILDERS and kind in kinds_of(generator):
        opener = best_opener(generator, kind, int(folder.name.rsplit("-", 1)[1]), futures)
        best = judge_club(folder, generator, kind, origins, opener, draws)
        best.name, best.is_bound = "  best possible", True
        verdicts.append(best)
    return verdicts


def report(verdicts: Sequence[Verdict], level: str) -> list[Verdict]:
    """Print the pooled lines and say which miss a floor."""
    together = pooled([v for v in verdicts if not v.is_bound])
    for verdict in together:
        print(line(verdict, level))
    if bounds := [v for v in verdicts if v.is_bound]:
        print(line(pool(f"  best possible ({len(bounds)} clubs)", bounds)))
    short = [v.name for v in together if v.misses(level)]
    print(f"\n{level} missed by: {'; '.join(short)}" if short else f"\nevery pooled line reaches its {level}")
    return together


def main(arguments: Sequence[str] | None = None) -> int:
    kinds = list(dict.fromkeys([*RECORDING, *sorted({k for n in NATURE.values() for k in n})]))
    parser = argparse.ArgumentParser(
        prog="python -m tests.trial.table", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--clubs",
        nargs="+",
        type=Path,
        help="folders of clubs already written (each with <name>-truth beside it); else they are made afresh",
    )
    parser.add_argument("--generators", nargs="+", default=list(NATURE), choices=list(NATURE))
    parser.add_argument(
        "--kinds",
        nargs="+",
        default=["clean", "default", "messy", "no_racket"],
        choices=[*kinds, "every"],
        metavar="KIND",
        help=f"of {', '.join(kinds)}; or every",
    )
    parser.add_argument("--seeds", nargs="+", type=int, default=[1])
    parser.add_argument("--origins", type=int, default=8, help="origins a club, two weeks apart")
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--best", type=int, default=0, metavar="FUTURES", help="also the best possible, from so many")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument(
        "--quick",
        action="store_true",
        help="clean and messy only, three origins, 500 draws: a smoke test, not a verdict",
    )
    parser.add_argument("--level", default="floors", choices=list(FLOORS), help="which figures `!` marks")
    parser.add_argument("--csv", type=Path, help="also write the lines to this file")
    options = parser.parse_args(arguments)
    if options.quick:
        options.kinds, options.origins, options.draws = ["clean", "messy"], 3, 500
    with tempfile.TemporaryDirectory() as scratch:
        wanted = kinds if "every" in options.kinds else options.kinds
        folders = options.clubs or write_clubs(Path(scratch), options.generators, wanted, options.seeds)
        folders = [f for f in folders if f.is_dir() and not f.name.endswith("-truth")]
        if not folders:
            print("no club to judge: give folders with --clubs, each with its -truth folder beside it", file=sys.stderr)
            return 2
        print(heading(), flush=True)
        tasks = [(f, options.origins, options.draws, options.best) for f in folders]
        verdicts = []
        with ProcessPoolExecutor(options.processes) if options.processes > 1 else nullcontext() as workers:
            for judged in workers.map(_judge, tasks) if workers else map(_judge, tasks):
                verdicts += judged
                print("\n".join(line(v, options.level) for v in judged), flush=True)
    print()
    together = report(verdicts, options.level)
    if options.csv:
        pd.DataFrame([summary(v) for v in [*verdicts, *together]]).to_csv(options.csv, index=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
