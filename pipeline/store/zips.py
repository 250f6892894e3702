"""Paths as given in, the same paths with every ZIP among them unpacked into a folder of its own for the while out.

Only CSV files come out, each under its bare name. Refused with one sentence: what would unpack to more than a club can
have, names that lead out of the folder, encrypted files, links, two files of one name, and what is no ZIP.
"""

from __future__ import annotations

import contextlib
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath

from pipeline.store.errors import StoreError

MOST_FILES = 500
MOST_BYTES = 4_000_000_000
MOST_TIMES = 250
"""CSV packs to a tenth, seldom to a fiftieth; a file that grows so many times is a trap."""
FREE_BYTES = 10_000_000
"""Below this much a file may grow as it likes."""
CHUNK_BYTES = 1 << 20


def _refused(archive: Path, why: str) -> StoreError:
    return StoreError(f"{archive.name} {why}; nothing was loaded: unpack it yourself and load the CSV files.")


def _members(packed: zipfile.ZipFile, archive: Path) -> list[tuple[zipfile.ZipInfo, str]]:
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
        if entry.file_size > max(FREE_BYTES, MOST_TIMES * entry.compress_size):
            raise _refused(
                archive, f"would unpack {path.name} to {entry.file_size // 1_000_000} MB out of next to nothing"
            )
        if path.name.lower() in found:
            raise _refused(archive, f"holds two files named {path.name}")
        found[path.name.lower()] = (entry, path.name)
    if not found:
        raise _refused(archive, "holds no CSV file")
    if sum(entry.file_size for entry, _ in found.values()) > MOST_BYTES:
        raise _refused(archive, f"would unpack to more than {MOST_BYTES // 1_000_000_000} GB")
    return list(found.values())


def _unpack(archive: Path, folder: Path) -> list[Path]:
    try:
        with zipfile.ZipFile(archive) as packed:
            paths = []
            for entry, name in _members(packed, archive):
                left = entry.file_size
                with packed.open(entry) as inside, (folder / name).open("wb") as out:
                    while chunk := inside.read(CHUNK_BYTES):
                        left -= len(chunk)
                        if left < 0:
                            raise _refused(archive, f"holds more of {name} than it says")
                        out.write(chunk)
                paths.append(folder / name)
            return paths
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise _refused(archive, "is damaged, or no ZIP file") from error


@contextlib.contextmanager
def unpacked(paths: Iterable[Path]) -> Iterator[list[Path]]:
    """The paths, each ZIP file among them replaced by the CSV files in it, which are there within the context."""
    with contextlib.ExitStack() as stack:
        found: list[Path] = []
        for path in paths:
            if path.suffix.lower() == ".zip" and path.is_file():
                try:
                    found += _unpack(path, Path(stack.enter_context(tempfile.TemporaryDirectory())))
                except OSError as error:
                    raise StoreError(f"{path.name} could not be unpacked ({error.strerror or error}).") from error
            else:
                found.append(path)
        yield found
