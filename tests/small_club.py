"""A club of two players and three rackets as CSV texts, small enough to read, and the means to write them."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from pipeline.contract import Resource, template_csv

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)

FILES: dict[str, str] = {
    "players": "player_id,player_name,squad,level,spin\nP1,Ada Sample,U16,regional,heavy\nP2,Bo Sample,U16,club,flat\n",
    "rackets": "racket_id,player_id,frame,mains,crosses,role,in_service_on\n"
    "R1,P1,Frame A,16,19,match,2026-01-01\nR2,P1,Frame A,16,19,match,2026-01-01\nR3,,Frame B,18,20,loan,2026-01-01\n",
    "strings": "string_id,string_name,material,gauge_mm,profile,reel_m,reel_price\n"
    "S1,Poly,polyester,1.25,round,200,95.50\nS2,Multi,multifilament,1.3,round,12,12\n",
    "restrings": "restring_id,racket_id,strung_on,mains_string_id,mains_kg,reason\n"
    "J1,R1,2026-02-01,S1,24,first\nJ2,R1,2026-03-01,S1,23.5,broke\nJ3,R2,2026-02-01,S2,25,first\n",
    "matches": "match_id,player_id,racket_id,played_on,format,minutes,score\n"
    "M1,P1,R1,2026-02-10,singles,90,\nM2,P1,R1,2026-03-10T17:30,singles,,6-4 3-6 7-6(4)\n",
}


def example_row(resource: Resource) -> dict[str, str]:
    """The contract's own example of a row, its dates brought to where they agree with one another."""
    header, example = csv.reader(template_csv(resource, with_example=True).splitlines())
    row = dict(zip(header, example, strict=True))
    row |= {name: "2026-05-01" for name in row if name.endswith("_on")}
    row |= {name: "2026-05-01T09:30" for name in row if name in ("played_on", "planned_on", "inspected_on")}
    return row | {name: "" for name in row if name.endswith("_lb") or name == "since"}


def write_file(folder: Path, name: str, text: str | bytes) -> Path:
    """Write one CSV file exactly as given; `name` without .csv."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / (name if name.lower().endswith(".csv") else f"{name}.csv")
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def write_club(folder: Path, files: Mapping[str, str | bytes] | None = None) -> Path:
    """Write the small club, with some of its files replaced or added."""
    for name, text in {**FILES, **(files or {})}.items():
        write_file(folder, name, text)
    return folder
