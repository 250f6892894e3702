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
from pipeline.contract.typed import literal, quoted
from pipeline.store import books, entering, publishing, undoing, writer_lock
from pipeline.store.errors import StoreBusyError, StoreError, is_unwritten
from pipeline.store.exporting import export_files
from pipeline.store.loading import Occasion, Progress, files_to_load, land_files, load_landed
from pipeline.store.log_file import store_logger
from pipeline.store.migrations import MIGRATIONS, migrate, refuse_newer, schema_version
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.report import LoadReport
from pipeline.store.settings import ClubSettings, read_settings, write_default
from pipeline.store.striking import strike
from pipeline.store.zips import unpacked

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
            with contextlib.suppress(duckdb.Error):  # a commit that failed has ended it already
                con.rollback()
            if is_unwritten(error):
                reason = str(error).splitlines()[0]
                raise StoreError(
                    f"{self.folder} could not be written ({reason}), so nothing of this was kept: make room."
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

    def _instants(self, now: datetime | None, load_day: date | None, by: Person = LOCAL) -> Occasion:
        """The instant in UTC without a zone, as stored, the club's day at that instant, and who."""
        moment = now or datetime.now(UTC)
        aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        day = load_day or aware.astimezone(ZoneInfo(self.settings.time_zone)).date()
        return Occasion(aware.astimezone(UTC).replace(tzinfo=None), day, by.name)

    def load(
        self,
        paths: str | Path | Iterable[str | Path],
        now: datetime | None = None,
        progress: Progress | None = None,
        load_day: date | None = None,
        by: Person = LOCAL,
    ) -> LoadReport:
        """Load a folder, files or ZIPs of them; all of it is kept, or nothing.

        A naive `now` is taken as UTC. `load_day` (default: the club's day at `now`) is what dates are held against.
        """
        require(by, "load")
        given = [paths] if isinstance(paths, (str, Path)) else list(paths)
        with unpacked([Path(path) for path in given]) as there:
            files = files_to_load(there, self.contract)
            for resource in filter(None, (self.contract.resource_of_file(path.name) for path in files)):
                require(by, f"record:{resource.name}")
            self.create()
            occasion = self._instants(now, load_day, by)
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

    def enter(
        self, rows: entering.Rows, by: Person = LOCAL, now: datetime | None = None, load_day: date | None = None
    ) -> LoadReport:
        """Write down rows as a form gives them, by resource name; all of them are kept, or none.

        Raises `EntryRefusedError` with what is wrong, row by row. A row with the key of a recorded row corrects it and
        keeps the columns that are not given. A `FreshId` as value becomes the next free id.
        """
        for name in rows:
            require(by, f"record:{name}" if name in self.contract.resources else "load")
        with self.changing(by, now, load_day) as (con, occasion):
            report = entering.enter(con, self.contract, rows, occasion)
        for file in report.files:
            self.log.info(
                "typed in %s: new %d, corrected %d, unchanged %d",
                file.resource,
                file.new,
                file.corrected,
                file.unchanged,
            )
        return report

    def undo(self, entry_id: int, by: Person = LOCAL, now: datetime | None = None) -> str:
        """Take an entry (or a strike) back: new rows go, corrected ones are as they were; what was done, in words."""
        require(by, "strike")
        self._must_exist()
        with self.changing(by, now) as (con, occasion):
            for resource in undoing.resources_of(con, self.contract, entry_id):
                require(by, f"record:{resource.name}")
            said = undoing.undo(con, self.contract, entry_id, occasion.now, occasion.by)
        self.log.info("undid entry %d", entry_id)
        return said

    def entries(self, limit: int = 50) -> pd.DataFrame:
        """What was written by hand, newest first: entry_id, at (UTC), by, what, kind (entry or strike), is_undone."""
        return self._frame(
            'select act_id as entry_id, acted_at as "at", recorded_by as "by", what, kind, '
            "undone_by_act is not null as is_undone from facts.acts where kind in ('entry', 'strike') "
            f"order by act_id desc limit {int(limit)}"
        )

    def new_id(self, resource: str, prefix: str) -> str:
        """The next free id of a file, such as P0041; to write with it, rather put a `FreshId` in the rows."""
        self._must_know(resource)
        if not self.exists:
            return f"{prefix}{1:0{entering.ID_DIGITS}d}"
        with self.facts() as con:
            return entering.new_id(con, self.contract.resources[resource], prefix, catalog="facts")

    def strike(self, file: str, key: Sequence[str], now: datetime | None = None, by: Person = LOCAL) -> str:
        """Take back one recorded row, which stays in the history; the row in words."""
        require(by, "strike")
        name = file.lower().removesuffix(".csv")
        require(by, f"record:{name}" if name in self.contract.resources else "strike")
        self._must_exist()
        with self.changing(by, now) as (con, occasion):
            shown = strike(con, self.contract, file, key, occasion.now, occasion.by)
        self.log.info("struck one row of %s", file.lower().removesuffix(".csv"))
        return shown

    @contextlib.contextmanager
    def facts(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection in memory with the facts attached read-only as `facts`; keep it short, writers wait for it."""
        self._must_exist()
        with self._reading():
            con = self._open(self.facts_path, attach_as="facts")
            try:
                version = schema_version_of(con)
                refuse_newer(version, str(self.facts_path))
                if version < MIGRATIONS[-1].number:
                    con.close()
                    self._bring_up_to_date(version)
                    con = self._open(self.facts_path, attach_as="facts")
                con.execute("use memory")
                yield con
            finally:
                con.close()

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

    def last_act(self) -> int:
        """The number of the last load or act: a view that was published after it holds all that is recorded."""
        with self.facts() as con:
            (number,) = con.execute(f"select coalesce(max(number), 0) from {books.WHO}").fetchall()[0]
        return int(number)

    def history(self, resource: str) -> pd.DataFrame:
        """The rows of one file that were replaced or struck, oldest first, with who wrote and who replaced each."""
        self._must_know(resource)
        return self._frame(
            f"select h.*, w.recorded_by, r.recorded_by as replaced_by from facts.history.{quoted(resource)} as h "
            f"left join {books.WHO} as w on w.number = h.load_id "
            f"left join {books.WHO} as r on r.number = h.replaced_by_load order by h.replaced_at, h.line_number"
        )

    def records(self, resource: str) -> pd.DataFrame:
        """The current rows of one file in the order of their keys, with who wrote each (recorded_by)."""
        self._must_know(resource)
        order = ", ".join(quoted(name) for name in self.contract.resources[resource].key_columns)
        return self._frame(
            f"select c.*, w.recorded_by from facts.{quoted(resource)} as c "
            f"left join {books.WHO} as w on w.number = c.load_id order by {order}"
        )

    def _must_know(self, resource: str) -> None:
        if resource not in self.contract.resources:
            raise StoreError(f"there is no file {resource!r}: it is one of {', '.join(self.contract.resources)}.")

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

    def view(self, is_any_format: bool = False) -> duckdb.DuckDBPyConnection:
        """A cursor on the published view; close it after use. Raises UnreadableViewError where a refresh is needed."""
        return publishing.view_cursor(self.folder, is_any_format)


def schema_version_of(con: duckdb.DuckDBPyConnection) -> int:
    """The version of the store attached as `facts`."""
    con.execute("use facts")
    try:
        return schema_version(con)
    finally:
        con.execute("use memory")
