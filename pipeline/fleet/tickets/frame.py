"""The tickets on the books, with all that the stringer needs.

In: a connection with the clean tables attached as `facts`, a day, the club's unit of tension. Out: one row a ticket
that is not handed back yet: racket and marking, player, frame and pattern, the set-up in force, metres to cut for mains
and crosses, notes and cautions, state and since when. Tensions in kg, lengths in metres.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.bench_minutes import kind_of_bed
from pipeline.fleet.reels.metres import racket_metres
from pipeline.fleet.tickets.cautions import ASK, STOP, TELL, cautions
from pipeline.fleet.tickets.setup import setups_in_force

OPEN = ("due", "booked", "on_bench")
STATES = (*OPEN, "strung", "handed_back")
STATE_WORDS = {
    "due": "due",
    "booked": "booked",
    "on_bench": "on the bench",
    "strung": "strung",
    "handed_back": "handed back",
}
NOTE_DAYS = 120  # an older note of an inspection is not shown

_ROWS = """
with holder as (
    select racket_id, player_id from facts.holders where from_on <= $on
    qualify row_number() over (partition by racket_id order by from_on desc) = 1
),
people as (
    select player_id, player_name, squad, level from facts.players where coalesce(since, $on) <= $on
    qualify row_number() over (partition by player_id order by since desc nulls last) = 1
),
looks as (
    select racket_id,
           arg_max(frame, (inspected_on, line_number)) filter (where frame is not null) as frame_state,
           max(inspected_on) filter (where frame is not null) as frame_seen_on,
           arg_max(note, (inspected_on, line_number))
               filter (where note is not null and inspected_on > $since) as look_note,
           arg_max(grommets, (inspected_on, line_number))
               filter (where grommets is not null and inspected_on > $since) as grommets
    from facts.inspections where inspected_on <= $on group by racket_id
)
select j.job_id, j.racket_id, j.state, j.state_on, j.state_on_at, j.handed_in_on, j.reason, j.due_on, j.stringer,
       j.restring_id, j.loaded_at,
       r.frame, r.marking, r.mains, r.crosses, r.role, r.tension_min_kg, r.tension_max_kg,
       p.player_id, p.player_name, p.squad, p.level,
       l.frame_state, l.frame_seen_on, l.look_note, l.grommets
from facts.jobs as j
left join facts.rackets as r using (racket_id)
left join holder as h on h.racket_id = j.racket_id
left join people as p on p.player_id = case when h.racket_id is not null then h.player_id else r.player_id end
left join looks as l on l.racket_id = j.racket_id
where $all or j.state <> 'handed_back'
order by j.handed_in_on, j.job_id
"""


def tickets(con: duckdb.DuckDBPyConnection, on: date, unit: str = "kg", job_id: str | None = None) -> pd.DataFrame:
    """The tickets as they stand on a day; with a job_id that one alone, whatever its state.

    A ticket whose restring came in by another way (a file, say) shows as strung.
    """
    frame = con.execute(_ROWS, {"on": on, "all": job_id is not None, "since": on - timedelta(days=NOTE_DAYS)}).df()
    if job_id is not None:
        frame = frame[frame["job_id"] == job_id]
    frame = frame.merge(setups_in_force(con, on), on="racket_id", how="left")
    frame = frame.merge(racket_metres(con, on), on="racket_id", how="left")
    strings = (
        con.execute("select string_id, string_name, material, gauge_mm from facts.strings").df().set_index("string_id")
    )
    for part in ("mains", "crosses"):
        ids = frame[f"{part}_string_id"]
        for name, column in (("string", "string_name"), ("material", "material"), ("gauge_mm", "gauge_mm")):
            frame[f"{part}_{name}"] = ids.map(strings[column])
    records = frame.to_dict("records")
    frame["bed_kind"] = [
        kind_of_bed(
            words.text_or_none(row["mains_string_id"]),
            words.text_or_none(row["crosses_string_id"]),
            row["mains_material"],
            row["crosses_material"],
        )
        for row in records
    ]
    found = [cautions(row, unit) for row in records]
    frame["stop"] = [" ".join(c.text for c in each if c.weight == STOP) for each in found]
    frame["ask"] = [" ".join(c.text for c in each if c.weight == ASK) for each in found]
    frame["tell"] = [[c.text for c in each if c.weight == TELL] for each in found]
    frame["notes"] = [_notes(row) for row in records]
    return frame.reset_index(drop=True)


def _notes(row: dict[Any, Any]) -> list[str]:
    """What inspections of the last months wrote down beside the grades."""
    notes = []
    grommets = words.text_or_none(row["grommets"])
    if grommets:
        notes.append(f"Grommets: {grommets}")
    note = words.text_or_none(row["look_note"])
    if note:
        notes.append(note)
    return notes
