"""A club's own sheet and the way to read it that a person confirmed in, rows of the contract recorded out.

They go through the same checks and the same transaction as a file of the contract; line numbers are the sheet's. The
confirmed way is remembered in the store by the set of headings. Ids are made where the sheet has none.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline.contract.resources import Contract
from pipeline.store import sheet_proposal
from pipeline.store.entering import put_rows
from pipeline.store.errors import StoreError
from pipeline.store.landing import Landed
from pipeline.store.loading import Arrival, load_landed
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.report import LoadReport
from pipeline.store.scan import ScannedFile
from pipeline.store.sheet_guesses import Directory, plain_heading
from pipeline.store.sheet_proposal import PARTNER, Proposal, SheetMap, headings_key
from pipeline.store.sheet_values import READINGS, pair
from pipeline.store.sheet_words import IDS
from pipeline.store.sheets import Sheet
from pipeline.store.store import Store

ID_HEX_DIGITS = 8


def _check(sheet: Sheet, confirmed: SheetMap, contract: Contract) -> None:
    if confirmed.resource not in contract.resources:
        raise StoreError(f"there is no file {confirmed.resource!r}: it is one of {', '.join(contract.resources)}.")
    resource = contract.resources[confirmed.resource]
    known = {f.name for f in resource.fields}
    targets = [name for name in confirmed.fields.values() if name]
    targets += [
        PARTNER[name]
        for heading, name in confirmed.fields.items()
        if confirmed.readings.get(heading) == "pair" and name in PARTNER
    ]
    wrong = [name for name in (*targets, *confirmed.constants, *confirmed.values) if name not in known]
    if wrong:
        raise StoreError(f"{resource.file_name} has no column {wrong[0]!r}: choose one of {', '.join(sorted(known))}.")
    twice = [name for name, count in Counter(targets).items() if count > 1]
    if twice:
        raise StoreError(f"two columns of {sheet.name} were to fill {twice[0]}: leave one of them out.")
    if not targets:
        raise StoreError(f"no column of {sheet.name} is used: choose what its columns are.")
    for way in confirmed.readings.values():
        if way not in READINGS:
            raise StoreError(f"there is no way of reading {way!r}: it is one of {', '.join(READINGS)}.")


def _made_id(letter: str, parts: list[str], seen: Counter[str]) -> str:
    """The same id for the same parts; the second row of the same parts gets one of its own, by its place."""
    words = chr(31).join(plain_heading(part) for part in parts)
    seen[words] += 1
    place = f"{chr(30)}{seen[words]}" if seen[words] > 1 else ""
    return f"{letter}-{hashlib.sha256((words + place).encode()).hexdigest()[:ID_HEX_DIGITS]}"


def contract_rows(sheet: Sheet, confirmed: SheetMap, contract: Contract) -> list[dict[str, str]]:
    """The sheet's rows under the contract's columns, as text, in the sheet's order."""
    _check(sheet, confirmed, contract)
    resource = contract.resources[confirmed.resource]
    plan = [
        (place, name, confirmed.readings.get(heading, "as it is"), confirmed.values.get(name, {}))
        for place, heading in enumerate(sheet.headings)
        if (name := confirmed.fields.get(heading, ""))
    ]
    rows = []
    seen: Counter[str] = Counter()
    makes_ids = resource.name in IDS and not any(name == resource.key[0] for _, name, _, _ in plan)
    makes_ids = makes_ids and resource.key[0] not in confirmed.constants
    for cells in sheet.rows:
        row = dict(confirmed.constants)
        for place, name, way, values in plan:
            given = cells[place]
            if given.strip() in values:
                row[name] = values[given.strip()]
            elif way == "pair" and name in PARTNER:
                row[name], second = pair(given)
                if second:
                    row[PARTNER[name]] = second
            elif given.strip() or name not in row:
                row[name] = READINGS[way](given)
        if makes_ids:
            letter, parts = IDS[resource.name]
            row[resource.key[0]] = _made_id(letter, [row.get(part, "") for part in parts], seen)
        rows.append(row)
    return rows


def directory(con: duckdb.DuckDBPyConnection) -> Directory:
    """The names that the store (attached as `facts`) knows players, rackets and strings by."""
    names: dict[str, dict[str, tuple[str, ...]]] = {"players": {}, "rackets": {}, "strings": {}}
    for resource, query in (
        (
            "players",
            "select player_id, arg_max(player_name, coalesce(since, date '1900-01-01')) from facts.players group by 1",
        ),
        ("strings", "select string_id, string_name from facts.strings"),
    ):
        names[resource] = {key: (name,) for key, name in con.execute(query).fetchall()}
    rackets = con.execute(
        "select racket_id, marking, frame, player_id from facts.rackets where retired_on is null"
    ).fetchall()
    for racket_id, marking, frame, player_id in rackets:
        player = names["players"].get(player_id, ("",))[0]
        words = [f"{player} {marking}" if player and marking else "", player, marking or "", frame or ""]
        names["rackets"][racket_id] = tuple(word for word in words if word)
    return Directory(names)


def _remembered(
    con: duckdb.DuckDBPyConnection, sheet: Sheet, contract: Contract, resource: str | None
) -> SheetMap | None:
    rows = con.execute(
        "select map from facts.sheet_maps where headings = $headings and ($resource is null or resource = $resource) "
        "order by saved_at desc, rowid desc limit 1",
        {"headings": headings_key(sheet), "resource": resource},
    ).fetchall()
    kept = SheetMap.from_json(rows[0][0]) if rows else None
    return kept if kept is not None and kept.resource in contract.resources else None


def propose(store: Store, sheet: Sheet, resource: str | None = None) -> Proposal:
    """How the store would read the sheet; nothing is written. A way confirmed before for these headings goes first."""
    if not store.exists:
        return sheet_proposal.propose(sheet, store.contract, Directory(), resource)
    with store.facts() as con:
        kept = _remembered(con, sheet, store.contract, resource)
        return sheet_proposal.propose(sheet, store.contract, directory(con), resource, kept)


def load_sheet(
    store: Store,
    sheet: Sheet,
    confirmed: SheetMap,
    by: Person = LOCAL,
    now: datetime | None = None,
    load_day: date | None = None,
) -> LoadReport:
    """Load a sheet as confirmed, and remember the way for sheets of these headings; all in one transaction."""
    require(by, "load")
    require(by, f"record:{confirmed.resource}" if confirmed.resource in store.contract.resources else "load")
    rows = contract_rows(sheet, confirmed, store.contract)
    resource = store.contract.resources[confirmed.resource]
    columns = tuple(f.name for f in resource.fields)
    with store.changing(by, now, load_day) as (con, occasion):
        put_rows(con, "sheet_rows", columns, rows)
        con.execute(
            "update sheet_rows set line_number = n.line from (select unnest($lines::bigint[]) as line, "
            "generate_subscripts($lines::bigint[], 1) as place) as n where sheet_rows.line_number = n.place",
            {"lines": list(sheet.lines)},
        )
        file = ScannedFile(Path(sheet.name), resource, ",", columns, (), max(sheet.lines, default=0), False, 1)
        arrival = Arrival(file.path, resource, Landed(file, "sheet_rows", "sheet_rows", len(rows), ()))
        report = load_landed(con, [arrival], store.contract, occasion)
        con.execute(
            "insert into sheet_maps values ($headings, $resource, $map, $now, $by)",
            {
                "headings": headings_key(sheet), "resource": resource.name, "map": confirmed.to_json(),
                "now": occasion.now, "by": occasion.by,
            },
        )  # fmt: skip
    store.log.info("loaded a sheet as %s: read %d, rejected %d", resource.name, len(rows), report.total("rejected"))
    return report
