"""Paths as given in, the same paths with every ZIP among them unpacked into a folder of its own for the while out.

Only CSV files come out, each under its bare name. Refused with one sentence: what would unpack to more than a club can
have, names that lead out of the folder or are no text, encrypted files, links, two files of one name, files packed in
unusual ways, and what is no ZIP.
"""

from __future__ import annotations

import contextlib
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePath, PurePosixPath
from typing import BinaryIO

from pipeline.store.errors import StoreError

MOST_FILES = 500
MOST_BYTES = 4_000_000_000
MOST_TIMES = 250
"""CSV packs to a tenth, seldom to a fiftieth; a file that grows so many times is a trap."""
FREE_BYTES = 10_000_000
"""Below this much a file may grow as it likes."""
CHUNK_BYTES = 1 << 20
BROKEN = (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError, zlib.error)
"""What reading a damaged ZIP may raise."""
USUAL_WAYS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""The other ways may ask for gigabytes of memory to unpack a few bytes."""


def _refused(archive: PurePath, why: str) -> StoreError:
    return StoreError(f"{archive.name} {why}; nothing was loaded: unpack it yourself and load the CSV files.")


def _members(packed: zipfile.ZipFile, archive: PurePath, most_bytes: int) -> list[tuple[zipfile.ZipInfo, str]]:
    """The CSV files in it, each with its bare name."""
    found: dict[str, tuple[zipfile.ZipInfo, str]] = {}
    entries = packed.infolist()
    if len(entries) > MOST_FILES:
        raise _refused(archive, f"holds {len(entries)} files (at most {MOST_FILES})")
    for entry in entries:
        path = PurePosixPath(entry.filename.replace("\\", "/"))
        if path.is_absolute() or ".." in path.parts or ":" in entry.filename or "\0" in entry.orig_filename:
            raise _refused(archive, "holds a file whose name leads out of its folder")
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise _refused(archive, f"holds a link ({path.name})")
        is_own = not entry.is_dir() and "__MACOSX" not in path.parts and not path.name.startswith(".")
        if not is_own or path.suffix.lower() != ".csv":
            continue
        if entry.flag_bits & 1:
            raise _refused(archive, "is locked with a password")
        if entry.compress_type not in USUAL_WAYS:
            raise _refused(archive, "is packed in a way other than the usual one")
        if entry.file_size > max(FREE_BYTES, MOST_TIMES * entry.compress_size):
            raise _refused(
                archive, f"would unpack {path.name} to {entry.file_size // 1_000_000} MB out of next to nothing"
            )
        if path.name.lower() in found:
            raise _refused(archive, f"holds two files named {path.name}")
        found[path.name.lower()] = (entry, path.name)
    if not found:
        raise _refused(archive, "holds no CSV file")
    if sum(entry.file_size for entry, _ in found.values()) > most_bytes:
        raise _refused(archive, f"would unpack to more than {most_bytes // 1_000_000:,} MB")
    return list(found.values())


@dataclass(frozen=True)
class Unpacked:
    """What came out of one ZIP: its CSV files, each with the words for where it came from, and names left aside."""

    files: dict[Path, str]
    aside: tuple[str, ...]


def unpack(data: Path | BinaryIO, archive: PurePath, folder: Path, most_bytes: int = MOST_BYTES) -> Unpacked:
    """Write the CSV files of a ZIP, at most `most_bytes` in all, into `folder`; `archive`: its path or name, for words.

    Raises `StoreError`, one sentence, for what is not taken.
    """
    files: dict[Path, str] = {}
    try:
        with zipfile.ZipFile(data) as packed:
            members = _members(packed, archive, most_bytes)
            for entry, name in members:
                left = entry.file_size
                with packed.open(entry) as inside, (folder / name).open("wb") as out:
                    while chunk := inside.read(CHUNK_BYTES):
                        left -= len(chunk)
                        if left < 0:
                            raise _refused(archive, f"holds more of {name} than it says")
                        out.write(chunk)
                files[folder / name] = f"{archive}: {entry.filename}"
            wanted = {entry.filename for entry, _ in members}
            aside = [e.filename for e in packed.infolist() if not e.is_dir() and e.filename not in wanted]
            return Unpacked(files, tuple(PurePosixPath(name).name for name in aside))
    except BROKEN as error:
        raise _refused(archive, "is damaged, or no ZIP file") from error
    except OSError as error:
        raise StoreError(f"{archive.name} could not be unpacked ({error.strerror or error}).") from error


@contextlib.contextmanager
def unpacked(paths: Iterable[Path]) -> Iterator[dict[Path, str]]:
    """The paths, each ZIP file among them replaced by the CSV files in it, which are there within the context.

    Each with the words for where it came from: the path itself, or the ZIP's path and the name within it.
    """
    with contextlib.ExitStack() as stack:
        found: dict[Path, str] = {}
        for path in paths:
            if path.suffix.lower() == ".zip" and path.is_file():
                found |= unpack(path, path, Path(stack.enter_context(tempfile.TemporaryDirectory()))).files
            else:
                found[path] = str(path)
        yield found
