"""What the page Bench shows: the tickets in order, the weeks ahead against the hours, what does not fit and the mends.

In: the tickets (`pipeline.fleet.tickets.tickets`), the bench plan or None while it is not worked out, the club, today.
Out: one `BenchPage` of sentences, cards and small frames. Hours in the chart, minutes on the cards.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.bench.plan import BenchPlan
from pipeline.fleet.bench.sentences import answer, gap_line, late_lines, mend_lines, pull_lines
from pipeline.fleet.frames.club import Club, Row
from pipeline.fleet.prints.bed_words import frame_of, metres_of, pulls_of, strings_of
from pipeline.fleet.tickets import OPEN, STATE_WORDS
from pipeline.fleet.tickets.cautions import GENERAL
from pipeline.fleet.tickets.setup import LAST, NONE, OWN, PLAYERS

LATER, UNPLANNED, HELD = "Later", "Without a place in the plan", "On hold: not to be strung"
SETUP_WORDS = {OWN: "set-up of this racket", PLAYERS: "the player's set-up", LAST: "strung as last time", NONE: ""}
PLAN_COLUMNS = ("Day", "Stringer", "Order", "Racket", "Player", "String", "Pull", "Minutes", "Due", "Late, days", "For")


@dataclass(frozen=True)
class Card:
    """One ticket as the page shows it. stop: why it must not be strung; ask: what has to be confirmed first."""

    job_id: str
    racket_id: str
    who: str
    frame: str
    pull: str
    strings: str
    metres: str
    state: str
    state_words: str
    due: str
    stringer: str | None
    setup: str
    stop: str
    ask: str
    notes: list[str]
    taken: str
    mains_string_id: str | None
    crosses_string_id: str | None
    mains_pull: float | None
    crosses_pull: float | None


@dataclass(frozen=True)
class BenchPage:
    """Everything on the page Bench. groups: heading and cards, in order; waiting: strung, to be handed back."""

    title: str
    sentence: str
    club: Club
    groups: list[tuple[str, list[Card]]]
    waiting: list[Card]
    count_open: int
    days: pd.DataFrame
    table: pd.DataFrame
    late: list[str] = field(default_factory=list)
    mends: list[str] = field(default_factory=list)
    pulls: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    caution: str = GENERAL


def bench_page(
    tickets: pd.DataFrame, plan: BenchPlan | None, club: Club, today: date, why_no_plan: str = ""
) -> BenchPage:
    """The page from the tickets on the books and the plan, where there is one."""
    placed = _placed(plan)
    rows = tickets.to_dict("records")
    open_rows = [row for row in rows if row["state"] in OPEN]
    groups = _groups(open_rows, placed, today, club.tension_unit)
    waiting = [_card(row, placed, club.tension_unit) for row in rows if row["state"] == "strung"]
    return BenchPage(
        title=_title(open_rows, placed, today),
        sentence=f"{answer(plan)}." if plan is not None else why_no_plan,
        club=club,
        groups=groups,
        waiting=waiting,
        count_open=len(open_rows),
        days=_days(plan),
        table=_table(plan, tickets, club.tension_unit),
        late=late_lines(plan) if plan is not None else [],
        mends=mend_lines(plan) if plan is not None else [],
        pulls=pull_lines(plan) if plan is not None else [],
        notes=[*plan.notes, *filter(None, [gap_line(plan)])] if plan is not None else [],
    )


def _placed(plan: BenchPlan | None) -> dict[str, Row]:
    """The plan's row of each ticket."""
    if plan is None:
        return {}
    rows = plan.jobs[plan.jobs["job_id"].notna()]
    return {str(row["job_id"]): row for row in rows.to_dict("records")}


def _title(rows: list[Row], placed: dict[str, Row], today: date) -> str:
    """The answer: what is on the bench, how many tickets today, how long they take, which is first."""
    if not rows:
        return "No ticket is open at the bench"
    on_bench = [row for row in rows if row["state"] == "on_bench"]
    on_it = f"{words.count(len(on_bench), 'racket')} {words.verb(len(on_bench), 'is', 'are')} on the bench"
    mine = [placed[row["job_id"]] for row in rows if row["job_id"] in placed]
    now = [row for row in mine if not words.is_missing(row["day"]) and row["day"] <= today]
    waiting = words.count(len(rows), "ticket")
    if now:
        minutes = sum(float(row["minutes"]) for row in now)
        first = min(now, key=lambda row: (row["day"], row["order"]))
        text = f"{words.count(len(now), 'ticket')} for today, about {words.hours_from_minutes(minutes)}"
        text = f"{text}: {first['racket_id']} first"
        return text if len(now) == len(rows) else f"{text}; {len(rows) - len(now)} later"
    on_it_ids = {row["job_id"] for row in on_bench}
    later = [row["day"] for row in mine if not words.is_missing(row["day"]) and row["job_id"] not in on_it_ids]
    if on_bench:
        rest = len(rows) - len(on_bench)
        if not rest:
            return f"{on_it}; no other ticket is open"
        is_are = words.verb(rest, "is", "are")
        following = f", the next on {words.day_unbroken(min(later))}" if later else ""
        return f"{on_it}; {words.count(rest, 'more ticket')} {is_are} open{following}"
    if later:
        are = words.verb(len(rows), "is", "are")
        return f"No ticket for today; {waiting} {are} open, the next on {words.day_unbroken(min(later))}"
    return f"{waiting} {words.verb(len(rows), 'is', 'are')} open at the bench"


def _groups(rows: list[Row], placed: dict[str, Row], today: date, unit: str) -> list[tuple[str, list[Card]]]:
    """Cards by planned day, each day in its order; what is on the machine comes first of all."""
    keyed: dict[tuple[int, Any], list[tuple[Any, Card]]] = {}
    for row in rows:
        place = placed.get(row["job_id"])
        due = words.as_date(row["due_on"]) or date.max
        card = _card(row, placed, unit)
        if row["stop"]:
            group: tuple[int, Any] = (5, "")
        elif row["state"] == "on_bench":
            group = (0, "")
        elif place is None:
            group = (3 if placed else 1, "")
        elif words.is_missing(place["day"]):
            group = (4, "")
        else:
            group = (2, max(place["day"], today))
        order = (
            (due, row["racket_id"])
            if place is None or words.is_missing(place["order"])
            else (place["day"], int(place["order"]))
        )
        keyed.setdefault(group, []).append((order, card))
    out = []
    for number, day in sorted(keyed):
        cards = [card for _, card in sorted(keyed[number, day], key=lambda pair: pair[0])]
        out.append((_heading(number, day, today), cards))
    return out


def _heading(number: int, day: Any, today: date) -> str:
    if number == 2:
        return f"Today, {words.day(day)}" if day == today else words.day(day)
    return {0: "On the bench now", 1: "In order", 3: LATER, 4: UNPLANNED, 5: HELD}[number]


def _card(row: Row, placed: dict[str, Row], unit: str) -> Card:
    place = placed.get(row["job_id"])
    stringer = row["stringer"]
    if words.is_missing(stringer) and place is not None:
        stringer = place["stringer"]
    due = "" if words.is_missing(row["due_on"]) else f"ready by {words.day(row['due_on'])}"
    if place is not None and place["is_for_event"] and not words.is_missing(place["due_on"]):
        due = f"ready by {words.day(place['due_on'])} for {place['due_for']}"
    who = row["player_id"] if words.is_missing(row["player_name"]) else row["player_name"]
    strings = strings_of(row)
    since = words.day(row["state_on"])
    return Card(
        job_id=str(row["job_id"]),
        racket_id=str(row["racket_id"]),
        who="the club's" if words.is_missing(who) else str(who),
        frame=frame_of(row),
        pull=pulls_of(row, unit),
        strings=" / ".join(strings),
        metres=metres_of(row),
        state=str(row["state"]),
        state_words=f"{STATE_WORDS[str(row['state'])]} since {since}",
        due=due,
        stringer=None if words.is_missing(stringer) else str(stringer),
        setup="" if words.is_missing(row["setup_from"]) else SETUP_WORDS[row["setup_from"]],
        stop=row["stop"],
        ask=row["ask"],
        notes=[*row["tell"], *row["notes"]],
        taken=_taken(row, strings),
        mains_string_id=None if words.is_missing(row["mains_string_id"]) else str(row["mains_string_id"]),
        crosses_string_id=None if words.is_missing(row["crosses_string_id"]) else str(row["crosses_string_id"]),
        mains_pull=_pull(row["mains_kg"], unit),
        crosses_pull=_pull(row["crosses_kg"], unit),
    )


def _pull(kg: Any, unit: str) -> float | None:
    """A pull in the club's unit, to a tenth."""
    return None if words.is_missing(kg) else round(float(kg) * (words.KG_TO_LB if unit == "lb" else 1.0), 1)


def pull_kg(pull: float | None, unit: str) -> float | None:
    """A pull typed in the club's unit, in kilograms."""
    return None if pull is None else pull / (words.KG_TO_LB if unit == "lb" else 1.0)


def pull_limits(unit: str) -> tuple[float, float]:
    """The least and the most that the contract takes, in the club's unit."""
    return (11.0, 99.0) if unit == "lb" else (5.0, 45.0)


def _taken(row: Row, strings: list[str]) -> str:
    """'11.8 m of Lyra 1.25 mm from stock': what stringing it as the ticket says takes."""
    if words.is_missing(row["mains_m"]):
        return ""
    mains, crosses = float(row["mains_m"]), float(row["crosses_m"])
    if len(strings) == 1:
        return f"{mains + crosses:.1f} m of {strings[0]} from stock"
    return f"{mains:.1f} m of {strings[0]} and {crosses:.1f} m of {strings[1]} from stock"


def _days(plan: BenchPlan | None) -> pd.DataFrame:
    """One row a day with hours: day, label, hours there are, planned, kept for walk-ins, over."""
    columns = ["day", "label", "hours", "planned", "kept", "over", "who"]
    if plan is None:
        return pd.DataFrame(columns=columns)
    rows = []
    for day, mine in plan.hours.groupby("day", sort=True):
        there = mine[mine["minutes"] > 0]
        rows.append(
            {
                "day": day,
                "label": words.day(day),
                "hours": mine["minutes"].sum() / 60.0,
                "planned": mine["planned"].sum() / 60.0,
                "kept": mine["kept"].sum() / 60.0,
                "over": (mine["planned"] - mine["minutes"]).clip(lower=0).sum() / 60.0,
                "who": words.join_words([str(name) for name in there["stringer"]]) or "nobody",
            }
        )
    return pd.DataFrame(rows, columns=columns)


def _table(plan: BenchPlan | None, tickets: pd.DataFrame, unit: str) -> pd.DataFrame:
    if plan is None:
        return pd.DataFrame(columns=list(PLAN_COLUMNS))
    jobs = plan.jobs
    names = {}
    for part in ("mains", "crosses"):
        known = tickets[tickets[f"{part}_string"].notna()]
        names.update(dict(zip(known[f"{part}_string_id"], known[f"{part}_string"], strict=True)))
    strings = [
        " / ".join(dict.fromkeys(str(names.get(s, s)) for s in (m, c) if not words.is_missing(s)))
        for m, c in zip(jobs["mains_string_id"], jobs["crosses_string_id"], strict=True)
    ]
    return pd.DataFrame(
        {
            "Day": jobs["day"],
            "Stringer": jobs["stringer"].fillna(""),
            "Order": jobs["order"],
            "Racket": jobs["racket_id"],
            "Player": jobs["player_name"].fillna(""),
            "String": strings,
            "Pull": [pulls_of(row, unit) for row in jobs.to_dict("records")],
            "Minutes": jobs["minutes"].round().astype("Int64"),
            "Due": jobs["due_on"],
            "Late, days": jobs["late_days"],
            "For": [
                str(row["due_for"])
                if row["job_id"] is None or words.is_missing(row["job_id"])
                else f"ticket {row['job_id']}"
                for row in jobs.to_dict("records")
            ],
        },
        columns=list(PLAN_COLUMNS),
    )


def plan_line(row: Row) -> str:
    """One job as a line for a phone."""
    when = "no place" if words.is_missing(row["Day"]) else f"{words.day(row['Day'])}, {row['Stringer']}"
    late = (
        ""
        if words.is_missing(row["Late, days"]) or int(row["Late, days"]) == 0
        else f" ▲ {words.count(int(row['Late, days']), 'day')} late"
    )
    return words.plain(f"{when}: {row['Racket']} {row['Player']}, due {words.day(row['Due'])}{late}")
