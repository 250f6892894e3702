"""A small text and its path in, the file out in one step.

A reader finds the old file or the new one, never half of one, and so does whoever comes after a killed process.
"""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def write_whole(path: Path, text: str, is_private: bool = False) -> None:
    """Write a text into a file beside its place, see it onto the disk, and put it there.

    is_private: readable by its owner alone. Raises OSError, and then leaves the file as it was and nothing beside it.
    """
    fresh = path.with_name(f"{path.name}.{secrets.token_hex(4)}.new")
    try:
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600 if is_private else 0o666)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
