"""One writer or any number of readers at a time: a lock in the store's folder, and beside it a note of who holds it.

Readers of the facts take it too, since DuckDB lets a reader shut a writer out, and since a process with several readers
loses DuckDB's own lock as soon as one of them closes (POSIX file locks are the process's). Makers of a view take turns
at a lock of their own, since they work from a copy. Readers of the view need no lock.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from filelock import BaseFileLock, FileLock, ReadWriteLock, Timeout

from pipeline.store.errors import StoreBusyError, StoreError

LOCK_NAME = "store.lock"
PUBLISHING_NAME = "publishing.lock"
HOLDER_NAME = "holder.json"
PUBLISHER_NAME = "publisher.json"
WAIT_SECONDS = 8.0

_held = threading.local()


def _note_holder(place: Path, command: str, now: datetime) -> bool:
    """Leave a note of who holds a lock, where there is none; whether it was left."""
    note = {"pid": os.getpid(), "command": command, "since": now.isoformat(timespec="seconds")}
    try:
        with place.open("x", encoding="utf-8") as file:
            json.dump(note, file)
    except FileExistsError:
        return False
    return True


def holder(folder: Path, names: tuple[str, ...] = (HOLDER_NAME, PUBLISHER_NAME)) -> str:
    """Who holds a lock, in words, as far as the notes beside them say; the first note that is there."""
    for name in names:
        try:
            note = json.loads((folder / name).read_text(encoding="utf-8"))
            return f"`{note['command']}` (process {note['pid']}, since {note['since'].replace('T', ' ')})"
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return "another process, which left no note of itself"


def is_free(folder: Path) -> bool:
    """Nobody writes to the facts, reads them or makes a view at this moment."""
    lock = ReadWriteLock(folder / LOCK_NAME, is_singleton=False)
    try:
        with FileLock(folder / PUBLISHING_NAME, timeout=0), lock.write_lock(timeout=0):
            return True
    except Timeout:
        return False
    finally:
        lock.close()


@contextlib.contextmanager
def writing(folder: Path, command: str, now: datetime, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Hold the store alone; within one thread it may be taken again. Raises `StoreBusyError` after the wait."""
    with _holding(folder, True, command, now, wait_seconds):
        yield


@contextlib.contextmanager
def reading(folder: Path, command: str, now: datetime, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Keep writers out, beside other readers; within one thread it may be taken again, by its writer too."""
    with _holding(folder, False, command, now, wait_seconds):
        yield


@contextlib.contextmanager
def publishing(folder: Path, command: str, now: datetime, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Keep other makers of views out, beside whoever writes to the facts or reads them.

    It comes before the facts' lock: whoever holds that one already is refused, or two would wait for each other.
    """
    if str(folder.resolve()) in _held.__dict__.get("alone", {}):
        raise RuntimeError(f"who writes to {folder} or reads it cannot make a view before that is over")
    turn = FileLock(folder / PUBLISHING_NAME, timeout=wait_seconds, thread_local=False)
    _acquire(folder, turn, PUBLISHER_NAME)
    note = folder / PUBLISHER_NAME
    try:
        note.unlink(missing_ok=True)  # of one that was killed
        _note_holder(note, command, now)
        yield
    finally:
        note.unlink(missing_ok=True)
        turn.release()


def _acquire(folder: Path, lock: BaseFileLock | ReadWriteLock, note: str, is_alone: bool = False) -> None:
    try:
        if isinstance(lock, BaseFileLock):
            lock.acquire()
        elif is_alone:
            lock.acquire_write()
        else:
            lock.acquire_read()
    except Timeout:
        raise StoreBusyError(
            f"{folder} is in use by {holder(folder, (note,))}: wait until it has finished, then try again."
        ) from None
    except OSError as error:
        raise _not_writable(folder, error) from error
    except sqlite3.Error as error:
        raise StoreError(f"{folder} cannot be written to ({error}): check its permissions.") from error


@contextlib.contextmanager
def _holding(folder: Path, is_alone: bool, command: str, now: datetime, wait_seconds: float) -> Iterator[None]:
    key = str(folder.resolve())
    held: dict[str, bool] = _held.__dict__.setdefault("alone", {})
    if key in held:
        if is_alone and not held[key]:
            raise RuntimeError(f"who reads the facts in {folder} cannot write to them before the reading is over")
        yield
        return
    try:
        lock = ReadWriteLock(folder / LOCK_NAME, timeout=wait_seconds, is_singleton=False)
    except OSError as error:
        raise _not_writable(folder, error) from error
    except sqlite3.Error as error:
        raise StoreError(f"{folder} cannot be written to ({error}): check its permissions.") from error
    with contextlib.closing(lock):
        _acquire(folder, lock, HOLDER_NAME, is_alone)
        is_noted = False
        try:
            if is_alone:  # a note that is there now is of a process that was killed
                (folder / HOLDER_NAME).unlink(missing_ok=True)
            is_noted = _note_holder(folder / HOLDER_NAME, command, now)
            held[key] = is_alone
            yield
        except OSError as error:  # a lock of earlier is there and open to us, the folder is not
            if key in held:
                raise
            raise _not_writable(folder, error) from error
        finally:
            held.pop(key, None)
            if is_noted:
                (folder / HOLDER_NAME).unlink(missing_ok=True)
            lock.release()


def _not_writable(folder: Path, error: OSError) -> StoreError:
    return StoreError(f"{folder} cannot be written to ({error.strerror or error}): check its permissions.")
