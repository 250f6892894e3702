"""Many writers at once, each a process of its own: every entry there, once, under an id of its own.

Run as `python -m tests.store.writers --writers 10 --entries 1000`; prints how many came of it and how long it took.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
import time
from pathlib import Path

from pipeline.store import FreshId, Store
from pipeline.store.checkup import check_facts
from pipeline.store.people import Person
from tests.small_club import NOW, write_club
from tests.store.main_module import plain_main

PATIENT_SECONDS = 3600.0


def _write(folder: str, writer: int, count: int) -> None:
    store = Store(folder, wait_seconds=PATIENT_SECONDS)
    who = Person(f"writer {writer}", "coach")
    for place in range(count):
        look = {
            "inspection_id": FreshId("inspections", "I"), "inspected_on": "2026-05-01", "racket_id": "R1",
            "notching": place % 4, "note": f"{writer}-{place}",
        }  # fmt: skip
        store.enter({"inspections": [look]}, by=who, now=NOW)


def run(folder: Path, writers: int, entries: int) -> tuple[int, int, int, list[str]]:
    """Write `entries` inspections by `writers` processes; rows, different notes, different ids, and what is wrong."""
    store = Store(folder / "store")
    store.load(write_club(folder / "club"), now=NOW)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.store.writers"])
    shares = [entries // writers + (place < entries % writers) for place in range(writers)]
    processes = [
        context.Process(target=_write, args=(str(store.folder), place, share)) for place, share in enumerate(shares)
    ]
    with plain_main():
        for process in processes:
            process.start()
    for process in processes:
        process.join()
    failed = [f"writer ended with {process.exitcode}" for process in processes if process.exitcode]
    rows = store.records("inspections")
    by_writer = rows.groupby("recorded_by").size().tolist()
    wrong = [] if sorted(by_writer) == sorted(shares) else [f"rows by writer: {by_writer}"]
    return len(rows), rows.note.nunique(), rows.inspection_id.nunique(), [*failed, *wrong, *check_facts(store).findings]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--writers", type=int, default=10)
    parser.add_argument("--entries", type=int, default=1000)
    asked = parser.parse_args()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        rows, notes, ids, faults = run(Path(folder), asked.writers, asked.entries)
    print(
        f"{asked.entries} entries by {asked.writers} writers: {rows} rows, {notes} different, {ids} ids, "
        f"{len(faults)} faults, {time.monotonic() - begun:.0f} s"
    )
    print("\n".join(faults))
    raise SystemExit(0 if rows == notes == ids == asked.entries and not faults else 1)


if __name__ == "__main__":
    main()
