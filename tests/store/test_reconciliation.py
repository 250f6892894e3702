"""Whatever the file holds, every record of it is accounted for: properties over made-up files."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.store import Store
from tests.small_club import FILES, NOW, write_file

FEW = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)

CELLS = st.one_of(
    st.sampled_from(
        ["", "P1", "P2", "P3", "U16", "club", "flat", "heavy", "regional", "x", " P1 ", "Ada", "-1", "2026-01-01"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12),
)
RECORDS = st.lists(st.lists(CELLS, min_size=1, max_size=7), max_size=12)
HEADER = FILES["players"].splitlines()[0].split(",")


def _text(records: list[list[str]], delimiter: str, line_end: str) -> str:
    text = io.StringIO()
    # a bare carriage return ends a line for a reader; the writer quotes it only where line_end holds one
    quoting = csv.QUOTE_MINIMAL if "\r" in line_end else csv.QUOTE_ALL
    csv.writer(text, delimiter=delimiter, lineterminator=line_end, quoting=quoting).writerows([HEADER, *records])
    return text.getvalue()


def _is_record(cells: list[str]) -> bool:
    return len(cells) > 1 or bool(cells[0].strip())


@FEW
@given(RECORDS, st.sampled_from(",;"), st.sampled_from(["\n", "\r\n"]))
def test_accepted_and_rejected_are_the_records_of_the_file(
    records: list[list[str]], delimiter: str, line_end: str
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "store")
        path = write_file(Path(folder), "players", _text(records, delimiter, line_end))
        (file,) = store.load(path, now=NOW).files
        assert file.refused is None
        assert file.read == len([record for record in records if _is_record(record)])
        assert file.new + file.corrected + file.unchanged + file.rejected == file.read
        assert store.rejects()[["line"]].drop_duplicates().shape[0] == file.rejected
        again = store.load(path, now=NOW).files[0]
        assert (again.new, again.corrected, again.rejected) == (0, 0, file.rejected)


@FEW
@given(st.binary(max_size=400))
def test_any_bytes_are_loaded_or_refused_never_a_fault(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "store")
        for start in (b"", FILES["players"].encode()):
            (file,) = store.load(write_file(Path(folder), "players", start + content), now=NOW).files
            assert file.refused or file.new + file.unchanged + file.corrected + file.rejected == file.read


@FEW
@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=30), max_size=8))
def test_names_go_round_exactly(names: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        records = [[f"P{place}", name, "U16", "club", "flat"] for place, name in enumerate(names)]
        store = Store(Path(folder) / "store")
        report = store.load(write_file(Path(folder), "players", _text(records, ",", "\r\n")), now=NOW)
        with store.facts() as con:
            kept = dict(con.execute("select player_id, player_name from facts.players").fetchall())
        assert report.total("rejected") == len(names) - len(kept)
        for player_id, name in kept.items():
            assert name == names[int(player_id[1:])]
