"""What can go wrong in the store, each with one sentence for the person at the keyboard."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb


def is_unwritten(error: BaseException) -> bool:
    """DuckDB, or the system, could not write: no room, a limit, a medium that failed."""
    if isinstance(error, duckdb.TransactionException):
        return "Failed to commit" in str(error)
    return isinstance(error, (duckdb.IOException, duckdb.OutOfMemoryException, duckdb.FatalException, OSError))


def room_for(error: BaseException) -> str:
    """What to do about it, in words: clearing the disk alone does not bring memory that cannot wait there."""
    if isinstance(error, duckdb.OutOfMemoryException):
        return "make room on the disk or take a machine with more memory"
    return "make room"


class StoreError(Exception):
    """The store cannot do what was asked; the text says what happened, where, and what to do next."""


class StoreBusyError(StoreError):
    """Another process is writing."""


class UnreadableViewError(StoreError):
    """The published view is of another version of the program, damaged or gone: a refresh makes it anew."""


class SettingsError(StoreError):
    """club.toml cannot be read as settings."""


class FileRefusedError(StoreError):
    """A file cannot be read as a file of the contract; nothing of it was loaded."""


@dataclass(frozen=True)
class Refusal:
    """One thing wrong with a row that was typed in; `row` counts from 1 within its file's rows."""

    resource: str
    row: int
    column: str
    value: str
    message: str


class EntryRefusedError(StoreError):
    """Rows that were typed in break the contract; none of the entry was kept. `refusals` says why, row by row."""

    def __init__(self, refusals: tuple[Refusal, ...]) -> None:
        self.refusals = refusals
        super().__init__(" ".join(refusal.message[:1].upper() + refusal.message[1:] for refusal in refusals))
