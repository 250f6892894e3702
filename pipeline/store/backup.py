"""A store in, one archive with all that people recorded out; and such an archive in, the store out, checked both ways.

The archive is a ZIP of facts.duckdb (every record with its history, rejects, bookings and who wrote them), club.toml
(settings, and who may log in), learned.json (trade values chosen by hand) and manifest.json with the SHA-256 sum and
size of each. The view is left out, since it is worked out anew. So are passcodes, sign-ins and the log-in's secret: an
archive lies about for years, and restoring it would let in again whoever was shut out since.
"""

from __future__ import annotations

import hashlib
import json
import lzma
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from pipeline import __version__
from pipeline.contract.typed import literal, quoted
from pipeline.store.errors import StoreError
from pipeline.store.facts_file import FACTS
from pipeline.store.migrations import refuse_newer, schema_version
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.publishing import sync_file, sync_folder
from pipeline.store.settings import FILE_NAME, LEARNED_NAME, parse_settings
from pipeline.store.store import Store
from pipeline.store.zips import BROKEN

MANIFEST = "manifest.json"
BESIDE = (FILE_NAME, LEARNED_NAME)  # what people decided, in files of its own beside the facts
FORMAT = 1
CHUNK_BYTES = 1 << 20
MOST_MANIFEST_BYTES = 100_000
HALF_MADE = ".restoring"


@dataclass(frozen=True)
class BackedUp:
    """What an archive holds: current rows by file, bytes, and when it was made (UTC)."""

    counts: dict[str, int]
    size_bytes: int
    made_at: str


def _sum_of(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()


def count_rows(con: duckdb.DuckDBPyConnection, store: Store, catalog: str) -> dict[str, int]:
    """Current rows by file of the contract."""
    counts = {}
    for name in store.contract.resources:
        (count,) = con.execute(f"select count(*) from {catalog}.{quoted(name)}").fetchall()[0]
        counts[name] = int(count)
    return counts


def backup(
    store: Store, target: Path, by: Person = LOCAL, now: datetime | None = None, is_replacing: bool = False
) -> BackedUp:
    """Write the archive, read it back and compare; the file appears only when that was well.

    Holds the store alone meanwhile.
    """
    require(by, "backup")
    if not store.exists:
        raise StoreError(f"{store.folder} holds no store yet, so there is nothing to back up.")
    if target.exists() and not is_replacing:
        raise StoreError(f"{target} is there already: choose another name, or add --replace.")
    made_at = (now or datetime.now(UTC)).isoformat(timespec="seconds")
    fresh = target.with_name(target.name + ".new")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with store.closed_facts() as counts:
            files = {FACTS: store.facts_path}
            files |= {name: store.folder / name for name in BESIDE if (store.folder / name).exists()}
            manifest: dict[str, Any] = {
                "format": FORMAT, "made_at": made_at, "made_by": by.name, "program": __version__, "counts": counts,
                "files": {
                    name: {"sha256": _sum_of(path), "bytes": path.stat().st_size} for name, path in files.items()
                },
            }  # fmt: skip
            with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
                archive.writestr(MANIFEST, json.dumps(manifest, indent=2))
                for name, path in files.items():
                    archive.write(path, name)
        sync_file(fresh)
        _verify(fresh)
        fresh.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise StoreError(
            f"{target} could not be written ({error.strerror or error}), so there is no backup: choose another place."
        ) from error
    finally:
        if fresh.exists():
            fresh.unlink()
    store.log.info("backed up")
    return BackedUp(counts, target.stat().st_size, made_at)


def _refused(archive: Path, why: str) -> StoreError:
    return StoreError(f"{archive} {why}; nothing was restored: take another backup.")


def _manifest(packed: zipfile.ZipFile, archive: Path) -> dict[str, Any]:
    names = packed.namelist()
    strange = [name for name in names if name not in (MANIFEST, FACTS, *BESIDE)]
    if MANIFEST not in names or FACTS not in names or strange or len(set(names)) != len(names):
        raise _refused(archive, "is not a backup of racket-fleet")
    if packed.getinfo(MANIFEST).file_size > MOST_MANIFEST_BYTES:
        raise _refused(archive, "is not a backup of racket-fleet")
    try:
        manifest = json.loads(packed.read(MANIFEST))
        if manifest["format"] > FORMAT:
            raise _refused(archive, f"was made by a newer program ({manifest['program']}): update racket-fleet")
        told = {name: (about["sha256"], int(about["bytes"])) for name, about in manifest["files"].items()}
        counts = {str(name): int(count) for name, count in manifest["counts"].items()}
        made_at = str(manifest["made_at"])
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _refused(archive, "has a damaged manifest") from error
    if set(told) != set(names) - {MANIFEST}:
        raise _refused(archive, "has a manifest that names other files than it holds")
    return {"files": told, "counts": counts, "made_at": made_at}


def _unpack(packed: zipfile.ZipFile, name: str, told: tuple[str, int], target: Path | None, archive: Path) -> None:
    """Read one file through, holding its size and sum against the manifest; write it to `target` if there is one."""
    digest, count = hashlib.sha256(), 0
    out = target.open("wb") if target else None
    try:
        with packed.open(name) as inside:
            while chunk := inside.read(CHUNK_BYTES):
                count += len(chunk)
                if count > told[1]:
                    break
                digest.update(chunk)
                if out:
                    out.write(chunk)
    finally:
        if out:
            out.close()
    if (digest.hexdigest(), count) != told:
        raise _refused(archive, f"is damaged: {name} in it is not what was backed up")


@contextmanager
def _opened(archive: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(archive) as packed:
            yield packed
    except (*BROKEN, lzma.LZMAError) as error:
        raise _refused(archive, "is damaged, or no backup") from error
    except OSError as error:
        raise StoreError(f"{archive} cannot be read ({error.strerror or error}): check the path.") from error


def _verify(archive: Path) -> dict[str, Any]:
    with _opened(archive) as packed:
        manifest = _manifest(packed, archive)
        for name, told in manifest["files"].items():
            _unpack(packed, name, told, None, archive)
    return manifest


def verify_backup(archive: Path) -> BackedUp:
    """Read an archive through and hold it against its sums; raises StoreError where it is damaged."""
    manifest = _verify(archive)
    return BackedUp(manifest["counts"], archive.stat().st_size, manifest["made_at"])


def restore(archive: Path, folder: Path, by: Person = LOCAL) -> BackedUp:
    """Make the store of an archive in a folder that holds none. It appears whole, or not at all."""
    require(by, "restore")
    store = Store(folder)
    if any((folder / name).exists() for name in (FACTS, FACTS + ".wal", *BESIDE)):
        raise StoreError(
            f"{folder} holds a store already, and it stays: restore to an empty folder, then rename the two."
        )
    half = folder / HALF_MADE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with store.writing():
            shutil.rmtree(half, ignore_errors=True)
            half.mkdir()
            try:
                with _opened(archive) as packed:
                    manifest = _manifest(packed, archive)
                    for name, told in manifest["files"].items():
                        _unpack(packed, name, told, half / name, archive)
                _try_out(half, store, manifest["counts"], archive)
                for name in (name for name in BESIDE if name in manifest["files"]):
                    sync_file(half / name)
                    (half / name).replace(folder / name)
                sync_file(half / FACTS)
                (half / FACTS).replace(folder / FACTS)  # the last step: from here on there is a store
                sync_folder(folder)
            finally:
                shutil.rmtree(half, ignore_errors=True)
    except OSError as error:
        raise StoreError(
            f"{folder} could not be written ({error.strerror or error}), so nothing was restored: choose another place."
        ) from error
    store.log.info("restored from a backup")
    return BackedUp(manifest["counts"], archive.stat().st_size, manifest["made_at"])


def _try_out(half: Path, store: Store, told: dict[str, int], archive: Path) -> None:
    """Open what was unpacked: it is a store this program knows, with the rows that the manifest tells, and settings."""
    try:
        con = duckdb.connect()
        try:
            con.execute(f"attach {literal(str(half / FACTS))} as facts (read_only)")
            con.execute("use facts")
            refuse_newer(schema_version(con), str(archive))
            counts = count_rows(con, store, "facts")
        finally:
            con.close()
    except duckdb.Error as error:
        raise _refused(archive, f"holds facts that cannot be opened ({str(error).splitlines()[0]})") from error
    if counts != told:
        raise _refused(archive, "holds other counts of rows than its manifest tells")
    if (half / FILE_NAME).exists():
        parse_settings((half / FILE_NAME).read_text(encoding="utf-8-sig"))
