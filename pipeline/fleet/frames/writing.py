"""What the page Write down reads: what there is to choose from, what was written down, one row and its history.

In: a connection with the facts attached as `facts`. Out: a `Known` for the forms; rows of one file to correct; the
register of a squad; the grid of a paper inspection sheet. Tensions in the club's unit.
"""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.contract import load_contract
from pipeline.fleet import words
from pipeline.fleet.frames.forms import Known

USUAL_DAYS = 90  # of play, to say which racket a player usually takes
ROWS_LISTED = 300  # the newest rows of a file, to choose one from
GRADES = ("fraying", "notching", "misalignment", "lost_feel")
GRID_COLUMNS = ("racket_id", "player", *GRADES, "pitch_hz", "broken", "note")


def known(con: duckdb.DuckDBPyConnection, unit: str, today: date) -> Known:
    """Everything the forms offer and propose, as of today."""
    players = con.execute(
        "select player_id, last(player_name order by since nulls first), last(squad order by since nulls first) "
        "from facts.players group by player_id having coalesce(max(left_on), date '9999-01-01') >= $today order by 2",
        {"today": today},
    ).fetchall()
    held = con.execute(
        "select r.racket_id, coalesce(h.player_id, r.player_id), r.role, r.marking from facts.rackets r left join "
        "(select racket_id, last(player_id order by from_on) as player_id, true as is_told from facts.holders "
        "where from_on <= $today group by racket_id) h using (racket_id) "
        "where coalesce(r.retired_on, date '9999-01-01') >= $today "
        "order by case r.role when 'match' then 0 when 'spare' then 1 else 2 end, r.racket_id",
        {"today": today},
    ).fetchall()
    names = {player: name for player, name, _ in players}
    holds: dict[str, tuple[str, ...]] = {}
    for racket, player, *_ in held:
        if player is not None:
            holds[player] = (*holds.get(player, ()), racket)
    usual = {player: rackets[0] for player, rackets in holds.items()}
    usual |= {player: racket for player, racket in _most_played(con, today) if racket in holds.get(player, ())}
    squads: dict[str, tuple[str, ...]] = {}
    for player, _, squad in players:
        squads[squad] = (*squads.get(squad, ()), player)
    return Known(
        players={player: f"{name}, {squad}" for player, name, squad in players},
        rackets={racket: _racket_words(racket, names.get(player), marking) for racket, player, _, marking in held},
        strings=dict(con.sql("select string_id, string_name from facts.strings order by 2").fetchall()),
        squads=tuple(sorted(squads)),
        stringers=_listed(con, "select stringer from facts.restrings union select stringer from facts.bench"),
        events=_listed(con, "select event from facts.calendar union select event from facts.matches"),
        usual_racket=usual,
        holds=holds,
        next_set_up=_set_ups(con, unit, {racket: player for racket, player, *_ in held}),
        squad_players=squads,
    )


def _racket_words(racket: str, player: str | None, marking: str | None) -> str:
    return " · ".join(part for part in (racket, player or "the club's", marking and f"marked “{marking}”") if part)


def _listed(con: duckdb.DuckDBPyConnection, query: str) -> tuple[str, ...]:
    rows = con.sql(f"select * from ({query}) where stringer is not null order by 1"
                   if "stringer" in query else
                   f"select * from ({query}) where event is not null order by 1").fetchall()  # fmt: skip
    return tuple(row[0] for row in rows)


def _most_played(con: duckdb.DuckDBPyConnection, today: date) -> list[tuple[str, str]]:
    """The racket each player has most often been written down with of late."""
    return con.execute(
        "select player_id, arg_max(racket_id, (uses, racket_id)) from ("
        "select player_id, racket_id, count(*) as uses from ("
        "select player_id, racket_id, played_on from facts.practices union all "
        "select player_id, racket_id, played_on from facts.matches) "
        "where player_id is not null and racket_id is not null and played_on > $today - $days group by all"
        ") group by player_id order by player_id",
        {"today": today, "days": USUAL_DAYS},
    ).fetchall()


def _set_ups(con: duckdb.DuckDBPyConnection, unit: str, holder: dict[str, str | None]) -> dict[str, dict[str, Any]]:
    """What to string next by racket: its own set-up, its player's, else as last time; tension in the club's unit."""
    columns = "mains_string_id, crosses_string_id, mains_kg, mains_lb, crosses_kg, crosses_lb"
    last = con.sql(f"select racket_id, {columns} from facts.restrings order by strung_on, restring_id").fetchall()
    told = con.sql(f"select racket_id, player_id, {columns} from facts.setups order by from_on").fetchall()
    by_racket = {row[0]: row[1:] for row in last}
    by_player = {row[1]: row[2:] for row in told if row[0] is None}
    own = {row[0]: row[2:] for row in told if row[0] is not None}
    found = {}
    for racket, player in holder.items():
        values = own.get(racket) or by_player.get(player) or by_racket.get(racket)
        if values is None:
            continue
        mains, crosses, mains_kg, mains_lb, crosses_kg, crosses_lb = values
        found[racket] = {
            "mains_string_id": mains,
            "crosses_string_id": crosses or mains,
            f"mains_{unit}": _in_unit(mains_kg, mains_lb, unit),
            f"crosses_{unit}": _in_unit(crosses_kg, crosses_lb, unit) or _in_unit(mains_kg, mains_lb, unit),
        }
    return found


def _in_unit(kg: float | None, lb: float | None, unit: str) -> float | None:
    if unit == "lb":
        return lb if lb is not None else None if kg is None else round(kg * words.KG_TO_LB, 1)
    return kg if kg is not None else None if lb is None else round(lb / words.KG_TO_LB, 1)


def rows_to_correct(con: duckdb.DuckDBPyConnection, resource: str) -> pd.DataFrame:
    """The newest rows of one file, every value as text under the contract's names, with words to choose one by."""
    declared = load_contract().resources[resource]
    shown = ", ".join(
        f'coalesce(strftime("{f.instant_name}", \'%Y-%m-%dT%H:%M\'), strftime("{f.name}", \'%Y-%m-%d\')) as "{f.name}"'
        if f.kind == "date"
        else f'"{f.name}"'
        for f in declared.fields
    )
    found = con.sql(
        f'select {shown} from facts."{resource}" order by loaded_at desc, line_number desc limit {ROWS_LISTED}'
    ).df()
    found = found.astype(object).where(found.notna(), None)
    found.insert(0, "words", [_row_words(row) for row in found.to_dict("records")])
    return found


def _row_words(row: dict[Any, Any]) -> str:
    return " · ".join(str(value) for value in row.values() if value is not None and str(value).strip())


def inspection_grid(known: Known, squad: str | None) -> pd.DataFrame:
    """An empty sheet: one row a racket of the squad's players, as on the paper."""
    players = known.squad_players.get(squad, ()) if squad else tuple(known.players)
    rows = [
        (racket, known.players[player].split(",")[0]) for player in players for racket in known.holds.get(player, ())
    ]
    grid = pd.DataFrame(rows, columns=["racket_id", "player"])
    for column in GRID_COLUMNS[2:]:
        grid[column] = False if column == "broken" else None
    for column in GRADES:
        grid[column] = grid[column].astype(object)
    grid["pitch_hz"] = grid["pitch_hz"].astype(float)
    grid["note"] = grid["note"].astype(object)
    return grid


def grid_rows(grid: pd.DataFrame, inspected_on: str) -> list[dict[str, Any]]:
    """The rows of inspections.csv that a filled-in sheet stands for; rows with nothing in them are left out."""
    filled = []
    for row in grid.to_dict("records"):
        values = {
            name: int(row[name][0]) if name in GRADES else row[name]
            for name in GRID_COLUMNS[2:]
            if not words.is_missing(row[name]) and row[name] not in ("", False)
        }
        if values:
            if "broken" in values:
                values["broken"] = "yes"
            filled.append({"racket_id": row["racket_id"], "inspected_on": inspected_on} | values)
    return filled


def count_filled(grid: pd.DataFrame) -> int:
    """How many rackets of the sheet have something written beside them."""
    return len(grid_rows(grid, ""))


def title(last_log_on: date | None) -> str:
    """How far the records reach."""
    if last_log_on is None:
        return "Nothing is on file yet: write down the first"
    return f"The records reach {words.day_unbroken(last_log_on)}; write down what came since"


def entries_table(entries: pd.DataFrame, time_zone: str) -> pd.DataFrame:
    """Entries by hand, newest first, in words and in the club's time."""
    at = pd.to_datetime(entries["at"]).dt.tz_localize("UTC").dt.tz_convert(ZoneInfo(time_zone))
    said = [
        f"{words.day(moment)}, {moment:%H:%M}: {what}" + (f" ({by})" if by and by != "local" else "")
        for moment, what, by in zip(at, entries["what"], entries["by"].fillna(""), strict=True)
    ]
    return pd.DataFrame({"entry_id": entries["entry_id"], "words": said, "is_undone": entries["is_undone"]})


def history_of(history: pd.DataFrame, resource: str, recorded: dict[str, Any]) -> pd.DataFrame:
    """What one row held before, newest first."""
    declared = load_contract().resources[resource]
    same = pd.Series(True, index=history.index)
    for name in declared.key:
        kept = history[name]
        shown = pd.to_datetime(kept).dt.strftime("%Y-%m-%d") if declared.field(name).kind == "date" else kept
        told = recorded.get(name)
        same &= shown.isna() if told is None else shown.astype(str) == str(told)[: 10 if shown is not kept else None]
    columns = [field.name for field in declared.fields]
    found = history.loc[same, ["replaced_at", "replaced_by", *columns]].iloc[::-1]
    kept_columns = [name for name in found.columns if found[name].notna().any()]
    return found[kept_columns].rename(columns={"replaced_at": "until", "replaced_by": "changed by"})
