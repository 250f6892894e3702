"""A folder in, its facts file out: locked, opened, read, or written to in one transaction at the current version.

What the rest of the project may do with what is in it stands in `store.py`, which builds on this.
"""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.contract.resources import load_contract
from pipeline.contract.typed import literal, quoted
from pipeline.store import lock
from pipeline.store.errors import StoreBusyError, StoreError, is_unwritten, room_for
from pipeline.store.loading import Occasion
from pipeline.store.log_file import store_logger
from pipeline.store.migrations import MIGRATIONS, migrate, refuse_newer, schema_version
from pipeline.store.people import LOCAL, Person
from pipeline.store.settings import ClubSettings, read_settings, write_default

FACTS = "facts.duckdb"
COPY_NAME = "facts.building-"
OPEN_WAIT_SECONDS = 8.0
OPEN_TRY_SECONDS = 0.2


def _log_of(path: Path) -> Path:
    """Where DuckDB keeps what was committed to a file and is not in it yet."""
    return path.with_name(f"{path.name}.wal")


def _let_go(*paths: Path) -> None:
    """Take the names of files away, where the system lets go of what is open; else the next writer does."""
    for path in paths:
        with contextlib.suppress(PermissionError):
            path.unlink(missing_ok=True)


def _command() -> str:
    """The running command, for the note beside the lock: the program's name and its first word, no values."""
    words = [Path(sys.argv[0]).name, *(word for word in sys.argv[1:2] if word.isalpha())]
    return " ".join(word for word in words if word) or "python"


def _noted(now: datetime | None) -> datetime:
    """The instant that the note of who holds the lock gives, without a zone."""
    return (now or datetime.now(UTC)).replace(tzinfo=None)


class FactsFile:
    """The facts in one folder. Nothing is read or made before it is needed."""

    def __init__(self, folder: str | Path, wait_seconds: float = lock.WAIT_SECONDS) -> None:
        self.folder = Path(folder)
        self.wait_seconds = wait_seconds
        self.contract = load_contract()

    def __repr__(self) -> str:
        return f"{type(self).__name__}({str(self.folder)!r})"

    @property
    def facts_path(self) -> Path:
        """Where the facts lie."""
        return self.folder / FACTS

    @property
    def exists(self) -> bool:
        """Something has been recorded here."""
        return self.facts_path.exists()

    @property
    def settings(self) -> ClubSettings:
        """The club's settings as club.toml has them now."""
        return read_settings(self.folder)

    @property
    def log(self) -> logging.Logger:
        """The store's log, without names."""
        return store_logger(self.folder)

    def _must_exist(self) -> None:
        if not self.exists:
            raise StoreError(
                f"{self.folder} holds no store yet: load the club's files first (racket-fleet load FOLDER)."
            )

    def create(self, name: str | None = None) -> None:
        """Make the folder and its settings file if they are not there."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_default(self.folder, name)
        except OSError as error:
            raise StoreError(
                f"{self.folder} cannot be written to ({error.strerror or error}): check its permissions."
            ) from error

    def writing(self, now: datetime | None = None) -> contextlib.AbstractContextManager[None]:
        """Hold the store alone; waits a few seconds, then says who holds it."""
        return lock.writing(self.folder, _command(), _noted(now), self.wait_seconds)

    def publishing(self, now: datetime) -> contextlib.AbstractContextManager[None]:
        """Keep other makers of views out, beside those who write or read; waits as `writing` does."""
        return lock.publishing(self.folder, _command(), _noted(now), self.wait_seconds)

    def is_free(self) -> bool:
        """No process writes to the facts, reads them or makes a view at this moment."""
        return not self.folder.exists() or lock.is_free(self.folder)

    def holder(self) -> str:
        """Who writes, reads or makes a view at this moment, in words."""
        return lock.holder(self.folder)

    def _open(self, path: Path, attach_as: str | None = None) -> duckdb.DuckDBPyConnection:
        """Open the facts, to write, or attached read-only in a database in memory; waits while others hold them."""
        give_up_at = time.monotonic() + OPEN_WAIT_SECONDS
        while True:
            try:
                if attach_as is None:
                    return duckdb.connect(str(path))
                con = duckdb.connect()
                con.execute(f"attach {literal(str(path))} as {attach_as} (read_only)")
                return con
            except (duckdb.IOException, duckdb.BinderException, duckdb.ConnectionException) as error:
                is_shared = "lock" in str(error).lower() or "already" in str(error) or "configuration" in str(error)
                if not is_shared:
                    raise StoreError(f"{path} cannot be opened: {str(error).splitlines()[0]}") from error
                if time.monotonic() > give_up_at:
                    raise StoreBusyError(
                        f"{path} is open in another program: close it there, then try again."
                    ) from error
            except duckdb.Error as error:
                raise StoreError(f"{path} cannot be opened: {str(error).splitlines()[0]}") from error
            time.sleep(OPEN_TRY_SECONDS)

    @contextlib.contextmanager
    def _writing_facts(self, now: datetime) -> Iterator[duckdb.DuckDBPyConnection]:
        """The one connection that writes to the facts, under the lock."""
        with self.writing(now):
            _let_go(*self.folder.glob(f"{COPY_NAME}*"))  # of one that was killed: nobody copies now
            con = self._open(self.facts_path)
            try:
                yield con
            finally:
                con.close()

    @contextlib.contextmanager
    def _transaction(self, con: duckdb.DuckDBPyConnection) -> Iterator[None]:
        """One transaction on the facts at the current version: all of it is kept, or nothing."""
        con.begin()
        try:
            migrate(con, str(self.facts_path))
            yield
            con.commit()
        except BaseException as error:
            with contextlib.suppress(duckdb.Error):  # a commit that failed has ended it already
                con.rollback()
            if is_unwritten(error):
                reason = str(error).splitlines()[0]
                raise StoreError(
                    f"{self.folder} could not be written ({reason}), so nothing of this was kept: {room_for(error)}."
                ) from error
            raise
        try:
            con.execute("checkpoint")
        except duckdb.Error as error:  # what was committed stays in the write-ahead log, which the next opening reads
            self.log.warning("kept, but not yet moved into the main file: %s", str(error).splitlines()[0])

    @contextlib.contextmanager
    def changing(
        self, by: Person, now: datetime | None = None, load_day: date | None = None
    ) -> Iterator[tuple[duckdb.DuckDBPyConnection, Occasion]]:
        """One transaction on the facts, under the lock, for code of this package that has asked `require` already."""
        self.create()
        occasion = self._instants(now, load_day, by)
        with self._writing_facts(occasion.now) as con, self._transaction(con):
            yield con, occasion

    @contextlib.contextmanager
    def closed_facts(self) -> Iterator[dict[str, int]]:
        """Keep the facts file whole, closed and locked, so that it can be copied; gives the current rows by file."""
        with self.writing():
            con = self._open(self.facts_path)
            try:
                with self._transaction(con):
                    names = ", ".join(f"(select count(*) from main.{quoted(name)})" for name in self.contract.resources)
                    (row,) = con.execute(f"select {names}").fetchall()
                con.execute("checkpoint")
            except duckdb.Error as error:
                raise StoreError(f"{self.facts_path} cannot be read: {str(error).splitlines()[0]}") from error
            finally:
                con.close()
            yield dict(zip(self.contract.resources, map(int, row), strict=True))

    def attach_copy(self, con: duckdb.DuckDBPyConnection) -> None:
        """Attach a copy of the facts as they are now as `facts`, for long reading: nobody waits for who reads a copy.

        The copy has no name any more when this returns, so that it goes with the connection, however that ends.
        """
        handle, name = tempfile.mkstemp(prefix=COPY_NAME, dir=self.folder)
        os.close(handle)
        copy = Path(name)
        try:
            with self._reading():
                shutil.copyfile(self.facts_path, copy)
                if _log_of(self.facts_path).exists():
                    shutil.copyfile(_log_of(self.facts_path), _log_of(copy))
                con.execute(f"attach {literal(name)} as facts (read_only)")
        finally:
            _let_go(copy, _log_of(copy))

    @contextlib.contextmanager
    def facts_apart(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """As `facts`, but of a copy, so that it may take long; of the facts themselves where no copy can be made."""
        with self.facts():
            pass  # brings a store of an older program up to date
        con = duckdb.connect()
        try:
            try:
                self.attach_copy(con)
            except OSError as error:
                self.log.info("reading the facts themselves, no copy: %s", error.strerror or error)
                with self.facts() as themselves:
                    yield themselves
            else:
                yield con
        finally:
            con.close()

    def _instants(self, now: datetime | None, load_day: date | None, by: Person = LOCAL) -> Occasion:
        """The instant in UTC without a zone, as stored, the club's day at that instant, and who."""
        moment = now or datetime.now(UTC)
        aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        day = load_day or aware.astimezone(ZoneInfo(self.settings.time_zone)).date()
        return Occasion(aware.astimezone(UTC).replace(tzinfo=None), day, by.name)

    @contextlib.contextmanager
    def facts(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection in memory with the facts attached read-only as `facts`; keep it short, writers wait for it."""
        self._must_exist()
        is_current = False
        while not is_current:
            with self._reading():
                con = self._open(self.facts_path, attach_as="facts")
                try:
                    version = schema_version_of(con)
                    refuse_newer(version, str(self.facts_path))
                    is_current = version >= MIGRATIONS[-1].number
                    if is_current:
                        con.execute("use memory")
                        yield con
                finally:
                    con.close()
            if not is_current:
                self._bring_up_to_date(version)

    def _bring_up_to_date(self, version: int) -> None:
        """Migrate a store of an older program, so that it can be read."""
        try:
            with self._writing_facts(datetime.now(UTC)) as con, self._transaction(con):
                pass
        except StoreBusyError:
            raise
        except StoreError as error:
            raise StoreError(
                f"{self.facts_path} was written by an older program (store version {version}) and cannot be brought up "
                f"to date here ({error}): copy the folder to a place you can write to."
            ) from error
        self.log.info("brought the store from version %d to %d", version, MIGRATIONS[-1].number)

    @contextlib.contextmanager
    def _reading(self) -> Iterator[None]:
        """Keep writers out while the facts are read; a folder that cannot be written to has none."""
        with contextlib.ExitStack() as stack:
            try:
                stack.enter_context(lock.reading(self.folder, _command(), _noted(None), self.wait_seconds))
            except StoreBusyError:
                raise
            except StoreError:
                self.log.info("reading without a lock: the folder cannot be written to")
            yield

    def _frame(self, query: str) -> pd.DataFrame:
        with self.facts() as con:
            return con.execute(query).df()


def schema_version_of(con: duckdb.DuckDBPyConnection) -> int:
    """The version of the store attached as `facts`."""
    con.execute("use facts")
    try:
        return schema_version(con)
    finally:
        con.execute("use memory")
