"""A folder in, the club's store out: everything the rest of the project may do with what people recorded.

The folder holds facts.duckdb (what people recorded; precious), view-<version>.duckdb with its pointer (derived; may be
rebuilt), club.toml (settings), a lock and a rotating log without personal names. Instants are UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.contract.typed import quoted
from pipeline.store import books, entering, publishing, undoing
from pipeline.store.errors import StoreError
from pipeline.store.exporting import export_files
from pipeline.store.facts_file import FactsFile
from pipeline.store.loading import Progress, files_to_load, land_files, load_landed
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.report import LoadReport
from pipeline.store.striking import strike
from pipeline.store.zips import unpacked


class Store(FactsFile):
    """The store in one folder: what may be recorded in it, read from it and published of it."""

    def load(
        self,
        paths: str | Path | Iterable[str | Path],
        now: datetime | None = None,
        progress: Progress | None = None,
        load_day: date | None = None,
        by: Person = LOCAL,
        origins: Mapping[Path, str] | None = None,
    ) -> LoadReport:
        """Load a folder, files or ZIPs of them; all of it is kept, or nothing.

        A naive `now` is taken as UTC. `load_day` (default: the club's day at `now`) is what dates are held against.
        `origins`: for paths of copies, the words for where each came from, to be noted in place of the path.
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
                arrivals = land_files(con, files, self.contract, progress, there | dict(origins or {}))
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
        """Build and publish a new view of the facts as they are now, while others write on.

        `build` gets a connection to the new file with a copy of the facts attached read-only as `facts`.
        """
        self._must_exist()
        moment = self._instants(now, None).now
        with self.publishing(moment):
            version = publishing.publish(self.folder, self.attach_copy, build, moment)
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
