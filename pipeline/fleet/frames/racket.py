"""What the page of one racket shows: where its bed stands, both wear curves, and the history behind them.

In: a view (`ranking`, `bed_days`, `bed_sessions`, `inspections_seen`, `beds`, `events`, `bed_breakdown`,
`tension_left`), a racket_id, today. Out: one `Racket` of sentences and frames. Life used is a fraction in the view and
a percentage here; play in hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Club, Row, club
from pipeline.fleet.frames.moved import MovedDate, moved_date, tension_sentence

SIGNS = {"fraying": "Fraying", "notching": "Notching", "misalignment": "Strings out of line", "lost_feel": "Lost feel"}
DEFAULT_PATTERN = (16, 19)  # drawn where the frame's own pattern is not on file (common practice)


@dataclass(frozen=True)
class BedPicture:
    """What the drawn string bed is to show: the frame's pattern and the grades of the last look."""

    count_mains: int
    count_crosses: int
    fraying: int = 0
    notching: int = 0
    misalignment: int = 0
    is_broken: bool = False
    caption: str = ""
    description: str = ""


@dataclass(frozen=True)
class Racket:
    """Everything on the page of one racket."""

    racket_id: str
    title: str
    club: Club
    byline: str
    why: str
    note: str
    standing: pd.DataFrame
    tension_left: str
    moved: MovedDate | None
    wear: pd.DataFrame
    events: pd.DataFrame
    inspections: pd.DataFrame
    sessions: pd.DataFrame
    sessions_note: str
    earlier_beds: pd.DataFrame
    picture: BedPicture
    can_be_looked_at: bool
    wear_in_words: str


def racket(con: duckdb.DuckDBPyConnection, racket_id: str, today: date) -> Racket | None:
    """The page of one racket; None when the view holds no racket of that number."""
    the_club = club(con, today)
    found = _rows(con, "ranking", "racket_id = $id", "rank", racket_id).to_dict("records")
    if not found:
        return None
    row = found[0]
    as_of = the_club.as_of
    looks = _rows(con, "inspections_seen", "racket_id = $id", "inspected_on", racket_id)
    sessions = _sessions(con, racket_id, row, as_of)
    wear = _rows(con, "bed_days", "racket_id = $id", "day, kind desc", racket_id)
    wear["day"] = pd.to_datetime(wear["day"])
    looks["inspected_on"] = pd.to_datetime(looks["inspected_on"])
    return Racket(
        racket_id=racket_id,
        title=_title(row, as_of),
        club=the_club,
        byline=_byline(row, the_club),
        why=words.plain(words.sentence(row["why"])),
        note=_note(row),
        standing=_standing(row),
        tension_left=tension_sentence(con, row),
        moved=moved_date(con, row),
        wear=wear,
        events=_events(con, row, wear),
        inspections=_inspections(looks, row["bed_id"]),
        sessions=sessions,
        sessions_note=_sessions_note(con, racket_id),
        earlier_beds=_earlier_beds(con, racket_id, row["bed_id"], the_club),
        picture=_picture(row, looks, as_of),
        can_be_looked_at=row["status"] == "in_play",
        wear_in_words=_wear_in_words(wear, as_of),
    )


def _rows(con: duckdb.DuckDBPyConnection, table: str, where: str, order: str, racket_id: str) -> pd.DataFrame:
    return con.execute(f"from {table} where {where} order by {order}", {"id": racket_id}).df()


def _title(row: Row, as_of: date) -> str:
    """Where the bed stands, as one sentence."""
    name = words.plain(row["racket_id"])
    if row["status"] == "broken" and words.is_missing(row["handed_in_on"]):
        return f"{name} is broken: hand it in for restringing"
    if row["status"] == "broken":
        return f"{name} is broken and waits at the bench"
    if row["status"] == "in_shop":
        return f"{name} is at the bench"
    if row["status"] == "no_bed":
        return f"{name} has no restring on file"
    limit = words.LIMIT_WORDS.get(row["limit_first"], "likely to be due")
    if row["limit_first"] == "goes_dead" and (row["dead_used"] or 0) >= 1:
        return f"{name} is past its life: the strings are likely dead"
    if words.whole_days(row["days_left_p50"]) >= words.DAYS_CAP:
        return f"{name} is not likely to be due within a year"
    title = f"{name} is {limit} about {words.day_unbroken(row['due_on'], as_of)}"
    due, event = words.as_date(row["due_on"]), words.as_date(row["next_event_on"])
    if due and event:
        side = "before" if due <= event else "after"
        title += f", {side} {words.plain(row['next_event'])} on {words.day_unbroken(event, as_of)}"
    return title


def _byline(row: Row, the_club: Club) -> str:
    parts = [row["player_name"], row["squad"], row["role"] and f"{row['role']} racket"]
    if not words.is_missing(row["marking"]) and row["marking"]:
        parts.append(f"marked “{row['marking']}”")
    parts.append(row["frame"])
    if not words.is_missing(row.get("mains")):
        parts.append(f"{int(row['mains'])} × {int(row['crosses'])}")
    if row["status"] != "no_bed":
        parts.append(row["string_label"])
        parts.append(words.tension(row["mains_kg"], row["crosses_kg"], the_club.tension_unit))
        parts.append(f"strung {words.day(row['strung_on'], the_club.as_of)}")
        parts.append(f"about {words.hours(row['hours_played'])} of play")
    return " · ".join(words.plain(part) for part in parts if part and not words.is_missing(part))


def _note(row: Row) -> str:
    if row["status"] == "no_bed":
        return (
            "Nothing is known of the strings in this racket, so no date can be given. Add its last restring to "
            "restrings.csv (restring_id, racket_id, strung_on, strings, tension, reason) and load it on Records."
        )
    if row["status"] == "broken":
        return (
            "After a break cut the whole bed out at once, from the centre outwards and evenly: a half-strung frame is "
            "pulled out of shape. Wear eye protection (common practice)."
        )
    return ""


def _standing(row: Row) -> pd.DataFrame:
    """One line a limit: life used with its band and, while the bed is in play, the chance within 14 days."""
    if row["status"] == "no_bed":
        return pd.DataFrame()
    lines = []
    for shape, limit, used, chance in (
        ("◆", "breaks", "break_used", "p_break"),
        ("●", "goes dead", "dead_used", "p_feel"),
    ):
        line = {"Limit": f"{shape} {limit}", "Life used": f"about {words.percent(row[used])}"}
        if row["status"] == "in_play":
            line["Life used"] += f" {words.percent_band(row[f'{used}_p10'], row[f'{used}_p90'])}"
            line["Chance to end it within 14 days"] = words.percent(row[chance])
        lines.append(line)
    return pd.DataFrame(lines)


def _wear_in_words(wear: pd.DataFrame, as_of: date) -> str:
    """The chart for those who do not see it: where each curve stands today and where the planned play takes it."""
    if wear.empty:
        return "No play on this bed is on file."
    played, last = wear[wear["kind"] == "played"], wear.iloc[-1]
    now = played.iloc[-1] if len(played) else wear.iloc[0]
    parts = [
        f"towards {name} {words.percent(now[column])} {words.percent_band(now[f'{column}_p10'], now[f'{column}_p90'])}"
        f", by {words.day(last['day'], as_of)} about {words.percent(last[column])}"
        for name, column in (("breaking", "break_used"), ("going dead", "dead_used"))
    ]
    return f"Life used by date. Today {'; '.join(parts)} under the planned play. At 100 % half of such beds have ended."


def _events(con: duckdb.DuckDBPyConnection, row: Row, wear: pd.DataFrame) -> pd.DataFrame:
    """Events of the player or the squad inside the days that the curves cover."""
    if wear.empty:
        return pd.DataFrame({"planned_on": [], "until": [], "label": []})
    found = con.execute(
        "select event as label, planned_on, coalesce(until_on, planned_on) as until from events "
        "where (squad = $squad or player_id = $player) and planned_on between $first and $last order by planned_on",
        {
            "squad": row["squad"],
            "player": row["player_id"],
            "first": wear["day"].min().date(),
            "last": wear["day"].max().date(),
        },
    ).df()
    found[["planned_on", "until"]] = found[["planned_on", "until"]].apply(pd.to_datetime)
    return found


def _inspections(looks: pd.DataFrame, bed_id: str) -> pd.DataFrame:
    """Every look at this racket, newest first, grades in words."""
    newest = looks.sort_values("inspected_on", ascending=False)
    table = pd.DataFrame({"Looked at": newest["inspected_on"].dt.date})
    for column, label in SIGNS.items():
        table[label] = ["" if words.is_missing(value) else words.grade(value) for value in newest[column]]
    if newest["said_by_name"].notna().any():
        table["Said by"] = newest["said_by_name"].fillna("").to_numpy()
    table["Pitch, Hz"] = newest["pitch_hz"].astype(float).round().astype("Int64")
    table["Note"] = [_look_note(row) for row in newest.to_dict("records")]
    table = table.drop(columns=[name for name in ("Pitch, Hz", "Note") if table[name].replace("", None).isna().all()])
    table["is_this_bed"] = (newest["bed_id"] == bed_id).to_numpy()
    return table.reset_index(drop=True)


def _said_by(name: object) -> str:
    """Whose word it is that a bed lost its feel, or has not; empty where nobody's."""
    return "" if words.is_missing(name) else f", said by {name}"


def _look_note(row: Row) -> str:
    parts = ["broken" if row["broken"] is True else "", words.from_code(row["frame"]), words.from_code(row["note"])]
    if parts[1] in ("", "ok"):
        parts[1] = ""
    elif parts[1]:
        parts[1] = f"frame: {parts[1]}"
    return ", ".join(part for part in parts if part)


def _sessions(con: duckdb.DuckDBPyConnection, racket_id: str, row: Row, as_of: date) -> pd.DataFrame:
    """Play on the current bed, newest first; `share` says how much of a session is thought to be this racket's."""
    found = _rows(con, "bed_sessions", "racket_id = $id", "played_on desc", racket_id)
    return pd.DataFrame(
        {
            "Played": pd.to_datetime(found["played_on"]).dt.date,
            "What": [_session_words(line) for line in found.to_dict("records")],
            "Minutes on it": found["minutes"].astype(float).round().astype("Int64"),
            "Share": [
                f"about {words.percent(line['share'])}" if line["is_shared"] else "all"
                for line in found.to_dict("records")
            ],
            "Wear, h": found["abrasion_hours"].astype(float).round(1),
            "Surface": [words.from_code(value) for value in found["surface"]],
            "Event": [words.from_code(value) for value in found["event"]],
        }
    ).drop(columns=[] if found["event"].fillna("").ne("").any() else ["Event"])


def _session_words(line: Row) -> str:
    parts = [words.from_code(line["activity"]), words.from_code(line["intensity"])]
    return f"{line['source']}: " + ", ".join(part for part in parts if part and part not in ("normal", "match"))


def _sessions_note(con: duckdb.DuckDBPyConnection, racket_id: str) -> str:
    total, shared = con.execute(
        "select count(*), count(*) filter (where is_shared) from bed_sessions where racket_id = $id", {"id": racket_id}
    ).fetchall()[0]
    if not total:
        return "No play on this bed is on file. Load matches.csv or practices.csv to see what wore it."
    if not shared:
        return f"{words.count(total, 'session')} on this bed, each logged with this racket."
    if total == 1:
        which = "It named no racket"
    elif shared == total:
        which = "None of them named a racket"
    else:
        which = f"{shared} of them named no racket"
    return (
        f"{words.count(total, 'session')} on this bed. {which}, so {words.verb(shared, 'it is', 'they are')} shared "
        "out over the player's rackets; that widens the band."
    )


def _earlier_beds(con: duckdb.DuckDBPyConnection, racket_id: str, bed_id: str | None, the_club: Club) -> pd.DataFrame:
    """Beds before the one in the frame, newest first: how long each lasted and why it came out."""
    found = _rows(con, "beds", "racket_id = $id and ended_on is not null", "strung_on desc", racket_id)
    found = found[found["bed_id"] != bed_id].reset_index(drop=True)
    lines = found.to_dict("records")
    return pd.DataFrame(
        {
            "Strung": pd.to_datetime(found["strung_on"]).dt.date,
            "Came out": pd.to_datetime(found["ended_on"]).dt.date,
            "Why": [_ending_words(line) for line in lines],
            "Hours played": found["hours_played"].astype(float).round(1),
            "Towards breaking": (100 * found["break_used"].astype(float)).round().astype("Int64"),
            "Towards dead": (100 * found["dead_used"].astype(float)).round().astype("Int64"),
            "String": found["string_label"].fillna("not recorded"),
            "Tension": [words.tension(line["mains_kg"], line["crosses_kg"], the_club.tension_unit) for line in lines],
            "Stringer": found["stringer"].fillna(""),
            "cause": found["cause"].fillna("unknown"),
        }
    )


def _ending_words(line: Row) -> str:
    """Why a bed came out: the shape of what ended it and the reason that was written down."""
    shape = words.CAUSE_SHAPES.get(line["cause"], "?")
    if line["cause"] == "mishit":
        return f"{shape} {words.CAUSE_WORDS['mishit']}"
    reason = words.REASON_WORDS.get(line["reason"] or "unknown", words.from_code(line["reason"]))
    return f"{shape} {reason}{_said_by(line['said_by_name'])}"


def _picture(row: Row, looks: pd.DataFrame, as_of: date) -> BedPicture:
    mains, crosses = DEFAULT_PATTERN
    if not words.is_missing(row.get("mains")) and not words.is_missing(row.get("crosses")):
        mains, crosses = int(row["mains"]), int(row["crosses"])
    pattern = f"String bed of {mains} mains and {crosses} crosses"
    own = looks[looks["bed_id"] == row["bed_id"]] if row["status"] != "no_bed" else looks.head(0)
    is_broken = row["status"] == "broken"
    if own.empty:
        caption = "This bed has not been looked at yet: drawn without signs."
        return BedPicture(mains, crosses, is_broken=is_broken, caption=caption, description=f"{pattern}. {caption}")
    last = own.iloc[-1].to_dict()
    grades = {
        sign: 0 if words.is_missing(last[sign]) else int(last[sign]) for sign in ("fraying", "notching", "misalignment")
    }
    shown = [
        f"{label.lower()} {words.grade(last[sign])}"
        for sign, label in SIGNS.items()
        if not words.is_missing(last[sign])
    ]
    caption = f"Last look, {words.day(last['inspected_on'], as_of)}: {', '.join(shown) or 'no sign graded'}."
    return BedPicture(
        mains, crosses, **grades, is_broken=is_broken, caption=caption, description=f"{pattern}. {caption}"
    )
