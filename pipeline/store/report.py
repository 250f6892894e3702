"""What a load did: counts of records by file, and the sentences that go with them."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

COUNTS = ("read", "new", "corrected", "unchanged", "rejected")


@dataclass(frozen=True)
class FileReport:
    """One file: `read` records without the header = new + corrected + unchanged + rejected."""

    file: str
    resource: str | None
    load_id: int
    read: int = 0
    new: int = 0
    corrected: int = 0
    unchanged: int = 0
    rejected: int = 0
    refused: str | None = None  # why nothing of the file was loaded
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoadReport:
    """One call of `load`."""

    files: tuple[FileReport, ...] = field(default_factory=tuple)
    count_mended: int = 0  # rejects of earlier loads that no longer stand
    count_questions: int = 0
    entry_id: int | None = None  # of rows typed in: what `Store.undo` takes
    questions: tuple[str, ...] = ()  # of rows typed in: what was kept and is worth a look
    given_ids: tuple[str, ...] = ()  # ids made for `FreshId`s, in the order in which they first stood in the rows

    @property
    def is_usable(self) -> bool:
        """At least one file could be read."""
        return any(file.refused is None for file in self.files)

    @property
    def refused(self) -> tuple[str, ...]:
        """Why files could not be read, a sentence each."""
        return tuple(file.refused for file in self.files if file.refused is not None)

    @property
    def notes(self) -> tuple[str, ...]:
        """Every note of every file, the file named first."""
        return tuple(f"{file.file}: {note}" for file in self.files for note in file.notes)

    def total(self, count: str) -> int:
        """Sum over the files of one of read, new, corrected, unchanged, rejected."""
        return sum(int(getattr(file, count)) for file in self.files)

    def frame(self) -> pd.DataFrame:
        """One row per file: file, read, new, corrected, unchanged, rejected."""
        rows = [[file.file, *(getattr(file, count) for count in COUNTS)] for file in self.files]
        return pd.DataFrame(rows, columns=["file", *COUNTS])
