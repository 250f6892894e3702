"""A few hundred mutated files: no traceback, every count adds up. The long run is `python -m tests.store.fuzz`."""

from __future__ import annotations

from pathlib import Path

from tests.store.fuzz import MUTATIONS, run


def test_mutated_files_never_end_in_a_traceback_and_their_counts_add_up(tmp_path: Path) -> None:
    counts, faults = run(240, seed=20261125, folder=tmp_path, say=lambda line: None)
    assert faults == []
    assert counts["files"] == 240 and counts["loaded"] > 80 and counts["rejected rows"] > 20, counts
    assert len(MUTATIONS) >= 20
