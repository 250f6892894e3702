"""Small tables in, findings out: our checks and the reference library refuse the same cells.

Source: the Frictionless reference library validates each table by the declared schema. Where ours is kinder (upper
case, `3.0` for 3, decimal comma after a semicolon) or stricter (dates too early or too far ahead, keys across files),
the table holds no such cell.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from frictionless import Package

from pipeline.contract import datapackage
from pipeline.store import Store
from tests.small_club import FILES, NOW, write_club

Cell = tuple[str, int, str]

TABLES: dict[str, dict[str, str]] = {
    "good": {},
    "numbers": {
        "strings": "string_id,string_name,material,gauge_mm,profile,reel_m,reel_price\n"
        "S1,Poly,polyester,1.25,round,200,95.50\nS2,Multi,multifilament,thin,round,12,12\n"
        "S3,Multi,multifilament,2.5,round,0,12\nS4,,multifilament,1.3,oval,12,\n",
        "restrings": "restring_id,racket_id,strung_on,mains_string_id,mains_kg,reason\nJ1,R1,2026-02-01,S1,24,first\n",
    },
    "grades": {
        "inspections": "inspection_id,inspected_on,racket_id,fraying,notching,lost_feel,pitch_hz,broken,frame\n"
        "I1,2026-05-01,R2,0,1,2,560,yes,ok\nI2,2026-05-01,R1,4,-1,3,55,no,watch\nI3,2026-05-01,R1,,two,,x,perhaps,bent\n",
    },
    "dates and scores": {
        "matches": "match_id,player_id,racket_id,played_on,format,minutes,score\n"
        "M1,P1,R1,2026-03-10T17:30,singles,,6-4 3-6 10-8\nM2,P1,R1,10.3.2026,doubles,90,\nM3,P1,R1,,singles,0,\n"
        "M4,P1,R1,2026-03-10,mixed,90,six four\nM5,P1,R1,2026-03-10 17:30:10,singles,721,7-6(4) 6-0\n",
    },
    "ids of other files": {
        "rackets": FILES["rackets"] + "R4,P9,Frame A,16,19,match,2026-01-01\nR5,P2,Frame A,16,19,match,2026-01-01\n",
        "holders": "racket_id,from_on,player_id\nR1,2026-03-01,P2\nR9,2026-03-01,P2\nR2,2026-03-01,P8\n",
    },
}


def _standard_findings(folder: Path, names: list[str]) -> set[Cell]:
    descriptor: dict[str, Any] = datapackage("small", only=names)
    for resource in descriptor["resources"]:  # columns a file lacks are no finding here
        header = (folder / resource["path"]).read_text().splitlines()[0].split(",")
        schema = resource["schema"]
        schema["fields"] = sorted(
            (f for f in schema["fields"] if f["name"] in header), key=lambda field: header.index(field["name"])
        )
        schema["primaryKey"] = [name for name in schema["primaryKey"] if name in header]
        schema["foreignKeys"] = [k for k in schema.get("foreignKeys", []) if k["fields"][0] in header]
    report = Package.from_descriptor(descriptor, basepath=str(folder)).validate()
    found: set[Cell] = set()
    for task in report.tasks:
        for error in task.errors:
            column = getattr(error, "field_name", None) or error.to_descriptor().get("fieldNames", [""])[0]
            found.add((Path(task.place).name, error.to_descriptor()["rowNumber"], column))
    return found


@pytest.mark.parametrize("case", TABLES)
def test_the_same_cells_are_refused(case: str, store: Store, tmp_path: Path) -> None:
    folder = write_club(tmp_path / "club", TABLES[case])
    names = [path.stem for path in folder.glob("*.csv")]
    store.load(folder, now=NOW)
    ours = {(row.file, row.line, row.column) for row in store.rejects().itertuples()}
    assert ours == _standard_findings(folder, names)
    assert bool(ours) == (case != "good")
