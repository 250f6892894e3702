"""Many clubs as one lake: what is written, who is left out, and a roll-up that counts what was counted by hand."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pandas as pd
import pytest
import sqlglot
from sqlglot import exp

from pipeline.contract import load_contract
from pipeline.federation.lake import PERSONAL, partition_name, write_lake
from pipeline.federation.roll_up import roll_up, roll_up_text
from pipeline.store import Store, StoreError
from tests.small_club import FILES, NOW, write_club

SECOND = {
    "rackets": FILES["rackets"].replace("2026-01-01", "2025-01-01"),
    "restrings": "restring_id,racket_id,strung_on,mains_string_id,mains_kg,reason,mains_m,crosses_m,stringer\n"
    "J1,R1,2025-12-20,S1,24,first,6,5.5,Kim\nJ2,R1,2026-01-09,S1,24,lost_feel,6,5.5,Kim\nJ3,R1,2026-02-08,S1,24,broke,,,\n",
}


@pytest.fixture(scope="module")
def lake(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clubs in one lake, with the same numbers for other players and rackets."""
    folder = tmp_path_factory.mktemp("lake")
    for name, files in (("Holm Ridge", {}), ("Élan & Co", SECOND)):
        store = Store(folder / f"store of {name}")
        store.load(write_club(folder / f"files of {name}", files), now=NOW)
        write_lake(store, folder / "lake", name)
    return folder / "lake"


def test_parts_lie_by_club_and_season(lake: Path) -> None:
    parts = {path.relative_to(lake).as_posix() for path in lake.rglob("*") if path.is_file()}
    assert "restrings/club=elan-co/season=2025/part-0.parquet" in parts
    assert "restrings/club=elan-co/season=2026/part-0.parquet" in parts
    assert "rackets/club=holm-ridge/part-0.parquet" in parts
    assert not [part for part in parts if not part.endswith("/part-0.parquet")]


def test_no_name_and_no_remark_is_in_the_lake(lake: Path) -> None:
    for path in lake.rglob("*.parquet"):
        with duckdb.connect() as con:
            rows = con.execute(f"from read_parquet('{path}', hive_partitioning=false)")
            columns = {column[0] for column in rows.description or []}
            texts = str(rows.fetchall())
        file = path.relative_to(lake).parts[0]
        assert not columns & {column for resource, column in PERSONAL if resource == file}, path
        assert not [word for word in ("Sample", "Ada", "Kim") if word in texts], path


def test_the_roll_up_counts_what_was_counted_by_hand(lake: Path) -> None:
    table = roll_up(lake).set_index(["club", "season", "material"])
    ours = table.loc[("holm-ridge", 2026, "polyester")]
    # J1 on 1 Feb came out broken on 1 Mar (28 days), J2 is still in; both on R1
    assert (ours["count_restrings"], ours["count_rackets"], ours["count_ended"]) == (2, 1, 1)
    assert (ours["share_broken"], ours["share_dead"], ours["mean_days_in"]) == (1.0, 0.0, 28.0)
    theirs = table.loc[("elan-co", 2025, "polyester")]
    assert (theirs["metres_written"], theirs["share_dead"], theirs["mean_days_in"]) == (11.5, 1.0, 20.0)
    assert table.loc[("elan-co", 2026, "polyester"), "mean_days_in"] == 30.0
    assert pd.isna(table.loc[("holm-ridge", 2026, "multifilament"), "share_broken"])
    assert table["count_restrings"].sum() == 6


def test_the_roll_up_of_one_club_is_what_its_own_records_say(lake: Path, tmp_path: Path) -> None:
    alone = Store(tmp_path / "alone")
    alone.load(write_club(tmp_path / "files"), now=NOW)
    write_lake(alone, tmp_path / "lake", "Holm Ridge")
    both = roll_up(lake)
    pd.testing.assert_frame_equal(
        roll_up(tmp_path / "lake"), both[both["club"] == "holm-ridge"].reset_index(drop=True), check_dtype=False
    )


def test_writing_again_replaces_this_club_alone(lake: Path, tmp_path: Path) -> None:
    store = Store(tmp_path / "store")
    store.load(write_club(tmp_path / "files", SECOND), now=NOW)
    target = tmp_path / "lake"
    write_lake(store, target, "one")
    write_lake(store, target, "two")
    store.strike("restrings", ["J1"], now=NOW)
    assert write_lake(store, target, "one")["restrings"] == 2
    left = {path.relative_to(target).as_posix() for path in (target / "restrings").rglob("*.parquet")}
    assert left == {
        "restrings/club=one/season=2026/part-0.parquet",
        "restrings/club=two/season=2025/part-0.parquet",
        "restrings/club=two/season=2026/part-0.parquet",
    }


def test_every_file_of_the_contract_can_be_written(tmp_path: Path) -> None:
    resources = load_contract().resources
    assert {resource for resource, _ in PERSONAL} <= set(resources)
    assert all(column in {field.name for field in resources[resource].fields} for resource, column in PERSONAL)
    store = Store(tmp_path / "store")
    store.load(write_club(tmp_path / "files"), now=NOW)
    assert set(write_lake(store, tmp_path / "lake", "one")) == set(FILES)


SPARK = "spark"


def test_the_roll_up_reads_as_spark_sql() -> None:
    translated = sqlglot.transpile(
        roll_up_text(), read="duckdb", write=SPARK, unsupported_level=sqlglot.ErrorLevel.RAISE
    )
    assert len(translated) == 1
    parsed = sqlglot.parse_one(translated[0], read=SPARK)
    tables = {table.name for table in parsed.find_all(exp.Table)}
    assert {"restrings", "strings"} <= tables
    assert parsed.named_selects == sqlglot.parse_one(roll_up_text(), read="duckdb").named_selects
    # Spark's DATEDIFF takes the later day first: days in must not come out negative
    differences = [str(node) for node in parsed.find_all(exp.DateDiff)]
    assert len(differences) == 1 and differences[0].index("next_strung_on") < differences[0].index("o.strung_on")


def test_the_spark_text_gives_the_same_numbers_when_read_back(lake: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """There and back again: the Spark text, translated to DuckDB, gives the table that the original gives."""
    there = sqlglot.transpile(roll_up_text(), read="duckdb", write=SPARK)[0]
    back = sqlglot.transpile(there, read=SPARK, write="duckdb")[0]
    before = roll_up(lake)
    monkeypatch.setattr("pipeline.federation.roll_up.roll_up_text", lambda: back)
    pd.testing.assert_frame_equal(roll_up(lake), before, check_dtype=False)


@pytest.mark.parametrize(
    ("club", "name"),
    [("Élan & Co", "elan-co"), ("TC 1899 e.V.", "tc-1899-e-v"), ("../../etc", "etc"), ("a=b/c", "a-b-c")],
)
def test_a_club_s_name_becomes_one_step_of_a_path(club: str, name: str) -> None:
    assert partition_name(club) == name


def test_what_cannot_be_written_or_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="has no letter a path can hold: name it with --club"):
        partition_name("网球")
    with pytest.raises(StoreError, match="holds no restrings: write a club into it first"):
        roll_up(tmp_path)
