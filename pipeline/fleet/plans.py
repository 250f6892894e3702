"""Plans worked out on request and kept beside the view they belong to: the bench's, the reels', a what-if.

In: a Store, a plan's name, the version of the view it was made from. Out: the plan as one JSON document, or None where
none is kept for that version. Such a file is derived: it may be deleted, and one that is damaged, of another version or
of another version of the program counts as not there. `plan_snapshot` gives the model on the published fit, so that a
plan, the ranking and the forecast show one set of numbers.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.store import Store, StoreError
from pipeline.store.publishing import view_path

if TYPE_CHECKING:
    from pipeline.fleet.snapshot import Snapshot

FORMAT = 1
_NAME = re.compile(r"^[a-z0-9][a-z0-9-]{0,60}$")
_turns: dict[tuple[str, str], threading.Lock] = {}


def plan_path(store: Store, name: str) -> Path:
    """Where a plan of that name is kept; a name is lower-case letters, digits and hyphens."""
    if not _NAME.match(name):
        raise ValueError(f"A plan's name is lower-case letters, digits and hyphens; {name!r} was given.")
    return store.folder / f"plan-{name}.json"


@contextmanager
def turn(store: Store, name: str) -> Iterator[None]:
    """One at a time in this process works out a plan of that name: whoever waited finds it kept, if it is for the
    same view. Side by side each would take longer than all of them in turn.
    """
    with _turns.setdefault((str(store.folder.resolve()), name), threading.Lock()):
        yield


def kept(store: Store, name: str, view_version: str | None) -> dict[str, Any] | None:
    """The document kept under that name for that version of the view, or None."""
    try:
        found = json.loads(plan_path(store, name).read_text(encoding="utf-8"))
    except (OSError, ValueError):  # not there, not readable, cut off, or not JSON: the plan is simply made anew
        return None
    if not isinstance(found, dict) or found.get("format") != FORMAT or view_version is None:
        return None
    document = found.get("document")
    return document if found.get("view_version") == view_version and isinstance(document, dict) else None


def still_stands(store: Store, view_version: str | None) -> bool:
    """Whether the view of that version is the published one and there: what was worked out from one that has gone since
    (a newer one came, a player was forgotten) is not kept."""
    if view_version is None or store.view_version != view_version:
        return False
    return view_path(store.folder, int(view_version)).exists()


def keep(store: Store, name: str, view_version: str | None, document: dict[str, Any]) -> None:
    """Write the document in one step: a reader sees the old file or the new one, never half."""
    path = plan_path(store, name)
    text = json.dumps({"format": FORMAT, "view_version": view_version, "document": document}, allow_nan=False)
    try:
        handle, fresh = tempfile.mkstemp(prefix=path.stem, suffix=".new", dir=store.folder)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(fresh).replace(path)
        except BaseException:
            Path(fresh).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written ({error.strerror or error}), so the plan is not kept: check the permissions of "
            "the folder."
        ) from error


@contextmanager
def plan_snapshot(store: Store) -> Iterator[Snapshot]:
    """The model as of the published view's day, on the fit the view stands on."""
    from pipeline.fleet.kept_fit import kept_fit
    from pipeline.fleet.snapshot import snapshot

    if store.view_version is None:
        raise StoreError(f"{store.folder} has no view yet: load the club's files first (racket-fleet load FOLDER).")
    with closing(store.view()) as view:
        row = view.execute("select value from meta where key = 'as_of'").fetchone()
    if row is None:
        raise StoreError(f"{store.folder} has a view without a day: run racket-fleet refresh.")
    fit = kept_fit(store)
    with store.facts_apart() as con:
        yield snapshot(con, date.fromisoformat(row[0]), store.settings, fit)
