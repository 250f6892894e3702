"""A store in, what is wrong with it out: every record read through and held against the store's own books.

A finding is a sentence. None means: every block of the file reads, keys are single, ids that are named are there, every
row leads to a load or an act, and the counts of every load are found again among the current and the former rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipeline.contract.resources import Contract, Resource
from pipeline.contract.typed import literal, quoted
from pipeline.store.rejecting import BY_OTHER_FILE
from pipeline.store.store import Store

MOST_NAMED = 3


@dataclass(frozen=True)
class Checkup:
    """What was looked at, and what was found. `count_rows`: current and former rows."""

    count_rows: int
    count_loads: int
    count_acts: int
    findings: tuple[str, ...]


def _values(con: duckdb.DuckDBPyConnection, query: str) -> list[tuple[object, ...]]:
    return con.execute(query).fetchall()


def _some(values: list[object]) -> str:
    return ", ".join(str(value) for value in values[:MOST_NAMED]) + (", ..." if len(values) > MOST_NAMED else "")


def _read_through(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Read every block: a damaged one fails its checksum."""
    findings = []
    tables = _values(
        con,
        "select schema_name, table_name from duckdb_tables() where database_name = 'facts' order by all",
    )
    for schema, table in tables:
        name = f"facts.{quoted(str(schema))}.{quoted(str(table))}"
        try:
            con.execute(f"select bit_xor(hash(t)) from {name} as t").fetchall()
        except duckdb.Error as error:
            findings.append(f"{schema}.{table} cannot be read ({str(error).splitlines()[0]}): restore a backup.")
    return findings


def _keys(con: duckdb.DuckDBPyConnection, resource: Resource) -> list[str]:
    keys = ", ".join(quoted(name) for name in resource.key_columns)
    shown = " || ' ' || ".join(f"coalesce(cast({quoted(name)} as varchar), '')" for name in resource.key)
    twice = _values(
        con,
        f"select {shown} from facts.{quoted(resource.name)} group by {keys}, {shown} having count(*) > 1 order by 1",
    )
    return [f"{resource.file_name} has {len(twice)} keys twice ({_some([v for (v,) in twice])})."] if twice else []


def _names(con: duckdb.DuckDBPyConnection, resource: Resource) -> list[str]:
    findings = []
    for key in resource.foreign_keys:
        field = quoted(key.field)
        lost = _values(
            con,
            f"select distinct {field} from facts.{quoted(resource.name)} where {field} is not null and {field} not in "
            f"(select {quoted(key.target)} from facts.{quoted(key.resource)}) order by 1",
        )
        if lost:
            findings.append(
                f"{resource.file_name} names {len(lost)} values of {key.field} that are in no file "
                f"({_some([v for (v,) in lost])})."
            )
    return findings


def _origins(con: duckdb.DuckDBPyConnection, contract: Contract) -> list[str]:
    """Every row's load, and whatever replaced it, is on the books."""
    rows = " union all ".join(
        f"select '{name}' as resource, load_id as number from facts.{quoted(name)} union all "
        f"select '{name}', unnest([load_id, replaced_by_load]) from facts.history.{quoted(name)}"
        for name in contract.resources
    )
    known = "select load_id from facts.loads union all select act_id from facts.acts"
    # in store version 1 rejects that another file let in got a number of their own and no line on the books
    retried = (
        "select max(number) from (select load_id as number, recorded_by from facts.loads) where recorded_by is null"
    )
    lost = _values(
        con,
        f"select resource, count(*) from ({rows}) where number is not null and number not in ({known}) "
        f"and number > coalesce(({retried}), 0) group by resource order by resource",
    )
    return [f"{count} rows of {name}.csv lead to no load and no act." for name, count in lost]


def _counts(con: duckdb.DuckDBPyConnection, contract: Contract) -> list[str]:
    """What each load said it read and kept is what is there."""
    findings = [
        f"load {number} ({file}) read {read} rows but accounts for {told}."
        for number, file, read, told in _values(
            con,
            "select load_id, file, read, new + corrected + unchanged + rejected as told from facts.loads "
            "where read <> told order by load_id",
        )
    ]
    rows = " union all ".join(
        f"select load_id from facts.{quoted(name)} union all select load_id from facts.history.{quoted(name)}"
        for name in contract.resources
    )
    # a reject that another file let in later is a row of the load it came with, and was not among those it counted
    let_in = (
        "select load_id, count(distinct line_number) as let_in from facts.rejects "
        f"where mended_how = {literal(BY_OTHER_FILE)} group by load_id"
    )
    findings += [
        f"load {number} ({file}) wrote {told} rows, and {found} are there."
        for number, file, told, found in _values(
            con,
            "select l.load_id, l.file, l.new + l.corrected as told, coalesce(r.found, 0) as found "
            f"from facts.loads as l left join (select load_id, count(*) as found from ({rows}) group by load_id) as r "
            f"using (load_id) left join ({let_in}) as m using (load_id) "
            "where coalesce(r.found, 0) not between told and told + coalesce(m.let_in, 0) order by l.load_id",
        )
    ]
    rejected = _values(
        con,
        "select l.load_id, l.file from facts.loads as l join (select load_id, count(distinct line_number) as lines "
        "from facts.rejects group by load_id) as r using (load_id) where r.lines > l.rejected order by l.load_id",
    )
    findings += [
        f"load {number} ({file}) has more rejected lines on the books than it counted." for number, file in rejected
    ]
    return findings


def check_facts(store: Store) -> Checkup:
    """Everything that can be checked of the facts alone. Raises StoreError where they cannot be opened at all."""
    contract = store.contract
    with store.facts() as con:
        findings = _read_through(con)
        if findings:
            return Checkup(0, 0, 0, tuple(findings))
        for resource in contract.resources.values():
            findings += _keys(con, resource) + _names(con, resource)
        findings += _origins(con, contract) + _counts(con, contract)
        total = " + ".join(
            f"(select count(*) from facts.{quoted(name)}) + (select count(*) from facts.history.{quoted(name)})"
            for name in contract.resources
        )
        ((rows, loads, acts),) = con.execute(
            f"select {total}, (select count(*) from facts.loads), (select count(*) from facts.acts)"
        ).fetchall()
    return Checkup(int(rows), int(loads), int(acts), tuple(findings))
