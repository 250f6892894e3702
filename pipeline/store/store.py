"""A folder in, the club's store out: everything the rest of the project may do with what people recorded.

The folder holds facts.duckdb (what people recorded; precious), view-<version>.duckdb with its pointer (derived; may be
rebuilt), club.toml (settings), a lock and a rotating log without personal names. Instants are UTC.
"""

from __future__ import annotations

import contextlib
import logging
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.contract.resources import load_contract
from pipeline.contract.typed import literal
from pipeline.store import publishing, writer_lock
from pipeline.store.errors import StoreBusyError, StoreError
from pipeline.store.exporting import export_files
from pipeline.store.loading import Occasion, Progress, files_to_load, land_files, load_landed
from pipeline.store.log_file import store_logger
from pipeline.store.migrations import migrate, refuse_newer, schema_version
from pipeline.store.report import LoadReport
from pipeline.store.settings import ClubSettings, read_settings, write_default
from pipeline.store.striking import strike

FACTS = "facts.duckdb"
OPEN_WAIT_SECONDS = 8.0
OPEN_TRY_SECONDS = 0.2


def _command() -> str:
    """The running command, for the note beside the lock: the program's name and its first word, no values."""
    words = [Path(sys.argv[0]).name, *(word for word in sys.argv[1:2] if word.isalpha())]
    return " ".join(word for word in words if word) or "python"


class Store:
    """The store in one folder. Nothing is read or made before it is needed."""

    def __init__(self, folder: str | Path, wait_seconds: float = writer_lock.WAIT_SECONDS) -> None:
        self.folder = Path(folder)
        self.wait_seconds = wait_seconds
        self.contract = load_contract()

    def __repr__(self) -> str:
        return f"Store({str(self.folder)!r})"

    @property
    def facts_path(self) -> Path:
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
        """Hold the store's one writer's lock; waits a few seconds, then says who holds it."""
        started = (now or datetime.now(UTC)).replace(tzinfo=None)
        return writer_lock.writing(self.folder, _command(), started, self.wait_seconds)

    def is_free(self) -> bool:
        """No process writes to the store at this moment."""
        return not self.folder.exists() or writer_lock.is_free(self.folder)

    def holder(self) -> str:
        """Who writes at this moment, in words."""
        return writer_lock.holder(self.folder)

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
            with contextlib.suppress(duckdb.TransactionException):  # a commit that failed has ended it already
                con.rollback()
            if isinstance(error, (duckdb.IOException, duckdb.OutOfMemoryException)):
                reason = str(error).splitlines()[0]
                raise StoreError(
                    f"{self.folder} could not be written ({reason}), so nothing of this was kept: make room."
                ) from error
            raise
        con.execute("checkpoint")

    def _instants(self, now: datetime | None, load_day: date | None) -> Occasion:
        """The instant in UTC without a zone, as stored, and the club's day at that instant."""
        moment = now or datetime.now(UTC)
        aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        day = load_day or aware.astimezone(ZoneInfo(self.settings.time_zone)).date()
        return Occasion(aware.astimezone(UTC).replace(tzinfo=None), day)

    def load(
        self,
        paths: str | Path | Iterable[str | Path],
        now: datetime | None = None,
        progress: Progress | None = None,
        load_day: date | None = None,
    ) -> LoadReport:
        """Load a folder or files; all of it is kept, or nothing.

        A naive `now` is taken as UTC. `load_day` (default: the club's day at `now`) is what dates are held against.
        """
        given = [paths] if isinstance(paths, (str, Path)) else list(paths)
        files = files_to_load([Path(path) for path in given], self.contract)
        self.create()
        occasion = self._instants(now, load_day)
        with self._writing_facts(occasion.now) as con:
            arrivals = land_files(con, files, self.contract, progress)
            with self._transaction(con):
                report = load_landed(con, arrivals, self.contract, occasion, progress)
        for file in report.files:
            self.log.info(
                "loaded %s: read %d, new %d, corrected %d, unchanged %d, rejected %d%s",
                file.resource or "a file of no resource", file.read, file.new, file.corrected, file.unchanged,
                file.rejected, ", refused" if file.refused else "",
            )  # fmt: skip
        return report

    def strike(self, file: str, key: Sequence[str], now: datetime | None = None) -> str:
        """Take back one recorded row, which stays in the history; the row in words."""
        self._must_exist()
        occasion = self._instants(now, None)
        with self._writing_facts(occasion.now) as con, self._transaction(con):
            shown = strike(con, self.contract, file, key, occasion.now)
        self.log.info("struck one row of %s", file.lower().removesuffix(".csv"))
        return shown

    @contextlib.contextmanager
    def facts(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection in memory with the facts attached read-only as `facts`; keep it short, writers wait for it."""
        self._must_exist()
        with self._reading():
            con = self._open(self.facts_path, attach_as="facts")
            try:
                con.execute("use memory")
                refuse_newer(schema_version_of(con), str(self.facts_path))
                yield con
            finally:
                con.close()

    @contextlib.contextmanager
    def _reading(self) -> Iterator[None]:
        """Keep writers out while the facts are read; a folder that cannot be written to has none."""
        with contextlib.ExitStack() as stack:
            try:
                stack.enter_context(self.writing())
            except StoreBusyError:
                raise
            except StoreError:
                self.log.info("reading without a lock: the folder cannot be written to")
            yield

    def rejects(self, with_mended: bool = False) -> pd.DataFrame:
        """What was refused and how to mend it: file, line, column, value, message, when; mended rows if asked for."""
        mended = ", mended_at, mended_how" if with_mended else ""
        where = "" if with_mended else "where mended_at is null"
        return self._frame(
            'select file, line_number as line, column_name as "column", value, message, load_id, loaded_at'
            f"{mended} from facts.rejects {where} order by load_id, line_number, column_name"
        )

    def questions(self) -> pd.DataFrame:
        """What was kept and is worth a look: file, line, column, value, message, and when."""
        return self._frame(
            'select file, line_number as line, column_name as "column", value, message, load_id, loaded_at '
            "from facts.questions order by load_id, line_number, column_name"
        )

    def loads(self) -> pd.DataFrame:
        """Every file ever given to the store, with its counts."""
        return self._frame("select * from facts.loads order by load_id")

    def history(self, resource: str) -> pd.DataFrame:
        """The rows of one file that were replaced or struck, oldest first."""
        if resource not in self.contract.resources:
            raise StoreError(f"there is no file {resource!r}: it is one of {', '.join(self.contract.resources)}.")
        return self._frame(f'select * from facts.history."{resource}" order by replaced_at, line_number')

    def _frame(self, query: str) -> pd.DataFrame:
        with self.facts() as con:
            return con.execute(query).df()

    def export(self, folder: str | Path, is_replacing: bool = False) -> dict[str, int]:
        """Write the current facts as contract CSV files; the count of rows by file. Replaces files only if told to."""
        target = Path(folder)
        there = [r.file_name for r in self.contract.resources.values() if (target / r.file_name).exists()]
        if there and not is_replacing:
            raise StoreError(f"{target} already holds {', '.join(there)}: export to another folder, or add --replace.")
        try:
            with self.facts() as con:
                return export_files(con, target, self.contract)
        except OSError as error:
            raise StoreError(
                f"{target} cannot be written to ({error.strerror or error}): choose another folder."
            ) from error

    def publish(self, build: publishing.Builder, now: datetime | None = None) -> str:
        """Build and publish a new view; `build` gets a connection to the new file with `facts` attached read-only."""
        self._must_exist()
        moment = self._instants(now, None).now
        with self.writing(moment):
            version = publishing.publish(self.folder, self.facts_path, build, moment)
        self.log.info("published view %d", version)
        return str(version)

    @property
    def view_version(self) -> str | None:
        """The published view's version; None before the first."""
        version = publishing.current_version(self.folder)
        return None if version is None else str(version)

    def view(self) -> duckdb.DuckDBPyConnection:
        """A cursor on the published view; close it after use."""
        return publishing.view_cursor(self.folder)


def schema_version_of(con: duckdb.DuckDBPyConnection) -> int:
    """The version of the store attached as `facts`."""
    con.execute("use facts")
    try:
        return schema_version(con)
    finally:
        con.execute("use memory")
