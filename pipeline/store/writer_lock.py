"""One writer at a time: a file lock in the store's folder, and beside it a note of who holds it.

Readers of the facts take it too, since DuckDB lets a reader shut a writer out; readers of the view do not need it.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.store.errors import StoreBusyError, StoreError

LOCK_NAME = "writer.lock"
HOLDER_NAME = "writer.json"
WAIT_SECONDS = 8.0

_held = threading.local()


def _note_holder(folder: Path, command: str, now: datetime) -> None:
    note = {"pid": os.getpid(), "command": command, "since": now.isoformat(timespec="seconds")}
    (folder / HOLDER_NAME).write_text(json.dumps(note), encoding="utf-8")


def holder(folder: Path) -> str:
    """Who holds the lock, in words, as far as the note beside it says."""
    try:
        note = json.loads((folder / HOLDER_NAME).read_text(encoding="utf-8"))
        return f"`{note['command']}` (process {note['pid']}, since {note['since'].replace('T', ' ')})"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process, which left no note of itself"


def is_free(folder: Path) -> bool:
    """Nobody writes at this moment."""
    try:
        with FileLock(folder / LOCK_NAME, timeout=0):
            return True
    except Timeout:
        return False


@contextlib.contextmanager
def writing(folder: Path, command: str, now: datetime, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Hold the store's lock; within one thread it may be taken again. Raises `StoreBusyError` after the wait."""
    key = str(folder.resolve())
    depths: dict[str, int] = _held.__dict__.setdefault("depths", {})
    if depths.get(key, 0):
        depths[key] += 1
        try:
            yield
        finally:
            depths[key] -= 1
        return
    lock = FileLock(folder / LOCK_NAME, timeout=wait_seconds, thread_local=False)
    try:
        lock.acquire()
    except Timeout:
        raise StoreBusyError(
            f"{folder} is in use by {holder(folder)}: wait until it has finished, then try again."
        ) from None
    except OSError as error:
        raise _not_writable(folder, error) from error
    try:
        _note_holder(folder, command, now)
    except OSError as error:  # a lock of earlier is there and open to us, the folder is not
        lock.release()
        raise _not_writable(folder, error) from error
    try:
        depths[key] = 1
        yield
    finally:
        depths[key] = 0
        (folder / HOLDER_NAME).unlink(missing_ok=True)
        lock.release()


def _not_writable(folder: Path, error: OSError) -> StoreError:
    return StoreError(f"{folder} cannot be written to ({error.strerror or error}): check its permissions.")
