"""What the page Inspect shows: one racket's bed and signs, where it stands, and what a look changed.

In: a view (`ranking`, `inspections_seen`, `look_first`), a racket_id, today. Out: one `Inspect`; and from two
`Standing`s, the one before a look was written down and the one after it, a `LookChanged`. Life used is a fraction in
the view and a whole percentage here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import Club, Row, club, has_table

SOFT = ("multifilament", "natural_gut")  # strings of many fibres: they fray; the others are solid and notch
SIGN_LABELS = {
    "notching": "Notching",
    "fraying": "Fraying",
    "misalignment": "Strings out of line",
    "lost_feel": "Lost feel",
}
HINTS = {
    "notching": "Grooves where mains and crosses rub, most in the middle.",
    "fraying": "Fibres opening at the crossings, most in the middle.",
    "misalignment": "Mains and crosses no longer parallel; they do not return after a hit.",
    "lost_feel": "Ask the player: do normal topspin balls fly long?",
}
SOLID_FRAYING = "Solid strings notch rather than fray: grade it only where you do see hairs."
SOFT_NOTCHING = "Soft mains are sawn thinner where hard crosses run over them."
FRAME_STATES = {
    "": "not looked at",
    "ok": "in order",
    "watch": "keep an eye on it",
    "do_not_string": "do not string it",
}


@dataclass(frozen=True)
class Sign:
    """One sign to grade 0 to 3: its name in the contract, its name on the screen, and what to look for."""

    name: str
    label: str
    hint: str


@dataclass(frozen=True)
class Standing:
    """Where a bed stands: what to do, the likely day with its band, life used towards each limit (whole per cent)."""

    racket_id: str
    call: str
    due_on: date | None
    when: str
    band: str
    breaking_pct: int | None
    dead_pct: int | None


@dataclass(frozen=True)
class Inspect:
    """Everything on the page Inspect but the pictures."""

    title: str
    club: Club
    byline: str
    reason: str
    signs: tuple[Sign, ...]
    material: str
    last_look: str
    standing: Standing
    can_be_looked_at: bool


@dataclass(frozen=True)
class LookChanged:
    """A sentence, and the numbers before and after."""

    title: str
    table: pd.DataFrame


def inspect(con: duckdb.DuckDBPyConnection, racket_id: str, today: date) -> Inspect | None:
    """The page for one racket; None when the view holds no racket of that number."""
    the_club = club(con, today)
    found = con.execute("from ranking where racket_id = $id", {"id": racket_id}).df().to_dict("records")
    if not found:
        return None
    row = found[0]
    name = words.plain(racket_id)
    can_be_looked_at = row["status"] != "no_bed"
    now = standing(row, the_club.as_of)
    material = "" if words.is_missing(row.get("mains_material")) else str(row["mains_material"])
    return Inspect(
        title=_title(name, now) if can_be_looked_at else f"{name} has no restring on file",
        club=the_club,
        byline=_byline(row, the_club),
        reason=_reason(con, racket_id),
        signs=signs_of(material),
        material=material,
        last_look=_last_look(con, row, the_club.as_of) if can_be_looked_at else "",
        standing=now,
        can_be_looked_at=can_be_looked_at,
    )


def signs_of(material: str) -> tuple[Sign, ...]:
    """The four signs, the one that this material shows first on top."""
    soft = material in SOFT
    order = ("fraying", "notching", "misalignment", "lost_feel") if soft else tuple(SIGN_LABELS)
    hints = HINTS | ({"notching": SOFT_NOTCHING} if soft else {"fraying": SOLID_FRAYING} if material else {})
    return tuple(Sign(name, SIGN_LABELS[name], hints[name]) for name in order)


def inspect_order(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Rackets worth a look, most worth first; then the rest by urgency."""
    ranked = [name for (name,) in con.sql("select racket_id from ranking order by rank").fetchall()]
    if not has_table(con, "look_first"):
        return ranked
    first = [name for (name,) in con.sql('select racket_id from look_first order by "order"').fetchall()]
    return list(dict.fromkeys([*first, *ranked]))


def standing(row: Row, as_of: date) -> Standing:
    """Where one row of the ranking stands, in words and whole percentages."""
    due = words.as_date(row["due_on"])
    is_open = row["status"] == "in_play"
    days = words.days_band(row["days_left_p10"], row["days_left_p90"]) if is_open else ""
    return Standing(
        racket_id=str(row["racket_id"]),
        call=_call(row),
        due_on=due if is_open else None,
        when=words.day(due, as_of) if is_open and due is not None and days != "over a year" else "",
        band=f"{days} days" if days and "year" not in days else days,
        breaking_pct=_percent(row["break_used"]),
        dead_pct=_percent(row["dead_used"]),
    )


def look_changed(before: Standing, after: Standing) -> LookChanged:
    """What the look changed: the new call first, then the day before and after."""
    name = words.plain(after.racket_id)
    if not after.when:
        title = f"Saved: {name} is {after.call}"
    else:
        title = f"Saved: {name} is {after.call} about {after.when.replace(' ', chr(160))}"
        if before.due_on and after.due_on:
            title += _moved((after.due_on - before.due_on).days)
    lines = [
        ("Call", before.call, after.call),
        ("Likely on", before.when or "no date", after.when or "no date"),
        ("Days left, band", before.band or "none", after.band or "none"),
        ("Towards breaking", _shown(before.breaking_pct), _shown(after.breaking_pct)),
        ("Towards dead", _shown(before.dead_pct), _shown(after.dead_pct)),
    ]
    return LookChanged(title, pd.DataFrame(lines, columns=["What", "Before the look", "After it"]))


def _moved(days: int) -> str:
    if days == 0:
        return ", the same day as before the look"
    return f", {words.count(abs(days), 'day')} {'later' if days > 0 else 'earlier'} than before the look"


def _call(row: Row) -> str:
    if row["status"] == "broken":
        return "broken: hand it in" if words.is_missing(row["handed_in_on"]) else "broken and at the bench"
    if row["status"] == "in_shop":
        return "at the bench"
    if row["status"] == "no_bed":
        return "without strings on file"
    if words.whole_days(row["days_left_p50"]) >= words.DAYS_CAP:
        return "not likely to be due within a year"
    return words.LIMIT_WORDS.get(row["limit_first"], "likely to be due")


def _percent(used: object) -> int | None:
    return None if words.is_missing(used) else round(100 * float(str(used)))


def _shown(percent: int | None) -> str:
    return "not known" if percent is None else f"{percent} %"


def _byline(row: Row, the_club: Club) -> str:
    marking = None if words.is_missing(row["marking"]) else f"marked “{row['marking']}”"
    parts = [row["player_name"], marking]
    if row["status"] != "no_bed":
        parts += [
            row["string_label"],
            words.tension(row["mains_kg"], row["crosses_kg"], the_club.tension_unit),
            f"strung {words.day(row['strung_on'], the_club.as_of)}",
        ]
    return " · ".join(words.plain(part) for part in parts if part and not words.is_missing(part))


def _title(name: str, now: Standing) -> str:
    """Where it stands before the look, and what is asked."""
    if not now.when:
        return f"{name} is {now.call}. What does it show?"
    return f"{name} is {now.call} about {now.when.replace(' ', chr(160))} ({now.band}). What does it show?"


def _reason(con: duckdb.DuckDBPyConnection, racket_id: str) -> str:
    if not has_table(con, "look_first"):
        return ""
    found = con.execute(
        "select reason from look_first where racket_id = $id and look_value > 0", {"id": racket_id}
    ).fetchall()
    return words.sentence(found[0][0]) if found else ""


def _last_look(con: duckdb.DuckDBPyConnection, row: Row, as_of: date) -> str:
    if row["status"] == "no_bed":
        return ""
    found = con.execute(
        "from inspections_seen where bed_id = $bed order by inspected_on desc limit 1", {"bed": row["bed_id"]}
    ).df()
    if found.empty:
        return ""  # the reason for a look says that nobody has graded it yet
    last = found.to_dict("records")[0]
    graded = [
        f"{label.lower()} {words.grade(last[name])}"
        for name, label in SIGN_LABELS.items()
        if not words.is_missing(last[name])
    ]
    return f"Last look {words.day(last['inspected_on'], as_of)}: {', '.join(graded) or 'no sign graded'}."
