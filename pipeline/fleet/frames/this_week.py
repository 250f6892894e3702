"""What the page This week shows: the rackets to hand in, in order, with their calendar and the next events.

In: a view (`meta`, `ranking`, `events`, `match_ready`, `look_first`), the reader's filters, today. Out: one `ThisWeek`
of sentences and frames.
Days are days from the view's as-of day; life used is a fraction in the view and a whole percentage here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import duckdb
import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.frames.club import PAST, WEEK, Club, Filters, Row, club, read
from pipeline.fleet.frames.looks import looks_first
from pipeline.fleet.frames.ready import event_ready, read_ready, ready_table

SOON_DAYS = 7  # "this week": likely to be due within seven days
CHART_DAYS = 28  # how far the calendar reaches
COUNT_IN_CALENDAR = 16  # the most urgent rackets, drawn soonest first
NEAR_DAYS = 10  # an event nearer than this belongs in the title: a racket handed in now is back just in time
EVENT_DAYS = 28  # how far the list of events reaches
EVENT_COLUMNS = ["planned_on", "until", "label", "when_and_who", "rackets", "lines", "short_players"]


@dataclass(frozen=True)
class ThisWeek:
    """Everything on the page This week."""

    title: str
    lead: str
    whole_week: str
    club: Club
    table: pd.DataFrame
    calendar: pd.DataFrame
    events: pd.DataFrame
    ready: pd.DataFrame
    looks: pd.DataFrame
    calendar_in_words: str
    to_hand_in: tuple[str, ...]
    at_bench: str
    no_bed: str
    count_all: int


def this_week(con: duckdb.DuckDBPyConnection, filters: Filters, today: date) -> ThisWeek:
    """The ranked list, its calendar and the next events, for the rackets the filters leave."""
    the_club = club(con, today)
    chosen = _with_calls(_apply(read(con, "ranking", "rank"), filters))
    as_of = the_club.as_of
    ranked = chosen[chosen["is_ranked"]]
    due, past = ranked[ranked["is_due"]], ranked[ranked["is_past"] & ~ranked["is_due"]]
    ready = read_ready(con, set(chosen["player_id"].dropna()))
    coming = _coming_events(con, as_of, filters, chosen, ready)
    calendar = _calendar(ranked[~ranked["is_handed_in"] & (ranked["is_past"] | (filters.show != PAST))], as_of)
    return ThisWeek(
        title=_title(due, chosen, coming, as_of),
        lead=_lead(due, past),
        whole_week=_whole_week(con, filters),
        club=the_club,
        table=_rank_table({WEEK: due, PAST: ranked[ranked["is_past"]]}.get(filters.show, ranked)),
        calendar=calendar,
        calendar_in_words=_calendar_in_words(calendar),
        events=coming,
        ready=ready_table(ready, as_of, pd.Timestamp(as_of + timedelta(days=EVENT_DAYS))),
        looks=looks_first(con, set(ranked["racket_id"])),
        to_hand_in=tuple(due["racket_id"]),
        at_bench=_at_bench(chosen[chosen["is_handed_in"]]),
        no_bed=_no_bed_note(chosen),
        count_all=len(ranked),
    )


def _apply(ranking: pd.DataFrame, filters: Filters) -> pd.DataFrame:
    keep = pd.Series(True, index=ranking.index)
    for column, value in (("squad", filters.squad), ("player_name", filters.player), ("role", filters.role)):
        if value is not None:
            keep &= ranking[column] == value
    return ranking[keep].copy()


def _with_calls(rows: pd.DataFrame) -> pd.DataFrame:
    """What each racket calls for: broken, due (likely to end within a week), past the usual life of its strings."""
    in_play = rows["status"] == "in_play"
    rows["is_broken"] = rows["status"] == "broken"
    rows["is_handed_in"] = (rows["status"] == "in_shop") | rows["handed_in_on"].notna()
    rows["is_ranked"] = in_play | rows["is_broken"]
    ends_soon = rows["days_left_p50"].astype(float).fillna(words.DAYS_CAP) <= SOON_DAYS
    rows["is_due"] = (rows["is_broken"] | (in_play & ends_soon)) & ~rows["is_handed_in"]
    used = rows[["break_used", "dead_used"]].astype(float).max(axis=1)
    rows["is_past"] = in_play & (used >= 1)
    return rows


def _title(due: pd.DataFrame, chosen: pd.DataFrame, coming: pd.DataFrame, as_of: date) -> str:
    """The answer in one sentence: how many to hand in, by when, and who has no racket for the next event."""
    if chosen.empty:
        return "No racket matches this choice"
    if not chosen["is_ranked"].any():
        return "No racket here has a bed in play"
    by = words.day_unbroken(as_of + timedelta(days=SOON_DAYS))
    if due.empty:
        first = f"Nothing is likely to be due by {by}"
    else:
        first = f"{words.count(len(due), 'racket')} to hand in by {by}"
    is_told = [bool(row["rackets"]) or bool(row["lines"]) for row in coming.to_dict("records")]
    near = coming[
        pd.Series(is_told, dtype=bool) & (coming["planned_on"] <= pd.Timestamp(as_of + timedelta(days=NEAR_DAYS)))
    ]
    if near.empty:
        return first
    short = near[near["short_players"].map(len) > 0]
    if short.empty:
        return f"{first}; every player is likely to be match-ready for the next event"
    number = len({player for players in short["short_players"] for player in players})
    days = [words.day_unbroken(day) for day in sorted(set(short["planned_on"]))]
    what = words.join_words(days) if len(days) <= 2 else f"the {len(short)} events up to {days[-1]}"
    who = f"{words.count(number, 'player')} {words.verb(number, 'is', 'are')}"
    return f"{first}; {who} not likely to be match-ready for {what}"


def _lead(due: pd.DataFrame, past: pd.DataFrame) -> str:
    """What the rackets to hand in are, and how many more are past their life."""
    broken = int(due["is_broken"].sum())
    breaking = int((~due["is_broken"] & (due["limit_first"] == "breaks")).sum())
    parts = [
        f"{number} {words.verb(number, one, many)}"
        for number, one, many in (
            (broken, "is broken", "are broken"),
            (breaking, "is likely to break", "are likely to break"),
            (len(due) - broken - breaking, "is likely to be handed in as dead", "are likely to be handed in as dead"),
        )
        if number
    ]
    text = words.sentence(words.join_words(parts))
    if past.empty:
        return text
    number = len(past)
    more = "" if due.empty else words.verb(number, "One more: ", "Another ")
    listed = (
        f"{more}{words.count(number, 'racket')} {words.verb(number, 'is', 'are')} past the usual life of such strings"
    )
    return f"{text} {listed}, though nobody has complained: see “{PAST}”.".strip()


def _whole_week(con: duckdb.DuckDBPyConnection, filters: Filters) -> str:
    """How the list compares with the whole week's work, for the whole club only."""
    if filters.squad or filters.player or filters.role:
        return ""
    found = con.sql("select p10, p50, p90 from forecast_weeks order by week limit 1").fetchall()
    if not found:
        return ""
    low, likely, high = (round(value) for value in found[0])
    return (
        f"With every cause counted, the bench is likely to see about {likely} in the week ({low} to {high}): some of "
        "the rackets below are likely to give out early, and it is not certain which."
    )


def _rank_table(rows: pd.DataFrame) -> pd.DataFrame:
    """One row a racket, numbers kept as numbers so that the table can be sorted."""
    return pd.DataFrame(
        {
            "racket_id": rows["racket_id"],
            "player": rows["player_name"].fillna("the club's"),
            "squad": rows["squad"].fillna(""),
            "who": [
                ", ".join(part for part in (row["player_name"] or "the club's", row["squad"]) if part)
                for row in rows[["player_name", "squad"]].astype(object).where(rows.notna(), "").to_dict("records")
            ],
            "role": rows["role"].fillna(""),
            "call": [_call(row) for row in rows.to_dict("records")],
            "towards_breaking": _whole_percent(rows["break_used"]),
            "towards_dead": _whole_percent(rows["dead_used"]),
            "due_on": pd.to_datetime(rows["due_on"].where(~rows["is_broken"])),
            "days_left": rows["days_left_p50"]
            .where(~rows["is_broken"])
            .clip(0, words.DAYS_CAP)
            .round()
            .astype("Int64"),
            "days_band": [
                "now" if row["is_broken"] else words.days_band(row["days_left_p10"], row["days_left_p90"])
                for row in rows.to_dict("records")
            ],
            "chance_14_days": _whole_percent(rows["p_end"]),
            "why": [words.sentence(text) for text in rows["why"]],
        }
    ).reset_index(drop=True)


def _call(row: Row) -> str:
    """Shape and words, so that urgency never rests on a colour."""
    if row["is_broken"]:
        return "✕ broken, at the bench" if row["is_handed_in"] else "✕ broken"
    limit = row["limit_first"]
    if row["is_past"] and not row["is_due"]:
        return f"{words.LIMIT_SHAPES['goes_dead' if row['dead_used'] >= 1 else 'breaks']} past its life"
    meaning = (words.LIMIT_WORDS if row["is_due"] else words.FIRST_WORDS).get(limit, "in play")
    return f"{words.LIMIT_SHAPES.get(limit, '○')} {meaning}"


def list_line(row: Row) -> str:
    """One line of the ranked list in words, for a screen too narrow for a table."""
    line = f"{row['call']}"
    if row["days_band"] != "now" and not words.is_missing(row["due_on"]):
        when = "now" if row["days_left"] <= 0 else f"about {words.day(row['due_on'])}"
        line += f", due {when} ({row['days_band']} days)"
    used = [
        f"{name} {row[column]} %"
        for name, column in (("breaking", "towards_breaking"), ("dead", "towards_dead"))
        if not words.is_missing(row[column])
    ]
    return line + (f"; towards {', '.join(used)}" if used else "")


def _whole_percent(values: pd.Series) -> pd.Series:
    return (100 * values.astype(float)).round().astype("Int64")


def _calendar(rows: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """One row a racket: mark at the median day, bar over the band, both cut at the edge of the calendar."""
    start = pd.Timestamp(as_of)
    frame = pd.DataFrame(
        {
            "racket_id": rows["racket_id"],
            "player": rows["player_name"].fillna("the club's"),
            "kind": rows["limit_first"].fillna("breaks").where(~rows["is_broken"], "broken"),
        }
    )
    frame["short_player"] = [words.short_name(name) for name in frame["player"]]
    for name, column in (("likely_at", "days_left_p50"), ("from_at", "days_left_p10"), ("to_at", "days_left_p90")):
        days = rows[column].astype(float).where(~rows["is_broken"], 0.0)
        frame[name] = start + pd.to_timedelta(days.clip(0, CHART_DAYS).fillna(CHART_DAYS), unit="D")
    frame["is_beyond"] = (rows["days_left_p50"].astype(float) > CHART_DAYS) & ~rows["is_broken"]
    frame["hover"] = [_calendar_hover(row, as_of) for row in rows.to_dict("records")]
    return frame.head(COUNT_IN_CALENDAR).sort_values("likely_at", kind="stable").reset_index(drop=True)


def _calendar_in_words(calendar: pd.DataFrame) -> str:
    """The calendar for those who do not see it: one clause a racket, soonest first."""
    rows = [f"{row['racket_id']}, {row['player']}: {row['hover']}" for row in calendar.to_dict("records")]
    return f"Calendar of the most urgent rackets, soonest first. {'; '.join(rows)}."


def _calendar_hover(row: Row, as_of: date) -> str:
    if row["is_broken"]:
        return "broken, at the bench" if row["is_handed_in"] else "broken, hand in now"
    low, high = words.as_date(row["due_from"]), words.as_date(row["due_to"])
    band = f" ({words.day(low, as_of)} to {words.day(high, as_of)})" if low and high else ""
    limit = words.LIMIT_WORDS.get(row["limit_first"], "likely to be due")
    return f"{limit} about {words.day(row['due_on'], as_of)}{band}"


def _coming_events(
    con: duckdb.DuckDBPyConnection, as_of: date, filters: Filters, chosen: pd.DataFrame, ready: pd.DataFrame
) -> pd.DataFrame:
    """Events ahead for the chosen squad and player, with the players who are not likely to have enough rackets."""
    found = read(con, "events", "planned_on, event")
    found["planned_on"] = pd.to_datetime(found["planned_on"])
    found["until"] = pd.to_datetime(found["until_on"]).fillna(found["planned_on"])
    last = pd.Timestamp(as_of + timedelta(days=EVENT_DAYS))
    found = found[(found["until"] > pd.Timestamp(as_of)) & (found["planned_on"] <= last)].copy()
    if filters.squad is not None or filters.player is not None or filters.role is not None:
        squads = set(chosen["squad"].dropna())
        players = set(chosen["player_id"].dropna())
        found = found[found["squad"].isin(squads) | found["player_id"].isin(players)].copy()
    found["label"] = [from_event(row) for row in found.to_dict("records")]
    names = chosen.dropna(subset=["player_id"]).drop_duplicates("player_id").set_index("player_id")["player_name"]
    found["who"] = found["squad"].where(found["squad"].fillna("") != "", found["player_id"].map(names)).fillna("")
    groups = found.groupby(["planned_on", "until", "label"])
    listed = [_event_line(group, as_of, ready) for _, group in groups]
    return pd.DataFrame(listed, columns=EVENT_COLUMNS)


def _event_line(rows: pd.DataFrame, as_of: date, ready: pd.DataFrame) -> Row:
    """One event, though several squads or players go to it."""
    first = rows.iloc[0]
    told = event_ready(ready, first["event"], first["planned_on"])
    when = words.days_between(first["planned_on"], first["until"], as_of).replace(" ", "\u00a0")
    who = ", ".join(dict.fromkeys(name for name in rows["who"] if name))
    return {
        "planned_on": first["planned_on"],
        "until": first["until"],
        "label": first["label"],
        "when_and_who": f"{when} · {who}" if who else when,
        "rackets": told.summary,
        "lines": told.lines,
        "short_players": told.short_players,
    }


def from_event(row: Row) -> str:
    """The event's name, or what kind of day it is where it has none."""
    name = row.get("event")
    return "Event" if words.is_missing(name) or not str(name).strip() else str(name)


def _at_bench(rows: pd.DataFrame) -> str:
    """The rackets that are at the bench already, broken ones first."""
    if rows.empty:
        return ""
    listed = []
    for row in rows.to_dict("records"):
        known = ["broken"] if row["is_broken"] else []
        known += [] if words.is_missing(row["player_name"]) else [row["player_name"]]
        listed.append(f"{row['racket_id']} ({', '.join(known)})" if known else row["racket_id"])
    return f"At the bench already: {', '.join(listed)}."


def _no_bed_note(chosen: pd.DataFrame) -> str:
    rows = chosen[chosen["status"] == "no_bed"]
    if rows.empty:
        return ""
    number = len(rows)
    listed = ", ".join(rows["racket_id"].head(8)) + (", …" if number > 8 else "")
    return (
        f"{words.count(number, 'racket')} {words.verb(number, 'has', 'have')} no restring on file and cannot be "
        f"ranked: {listed}. Write {words.verb(number, 'its last restring', 'the last restring of each')} down on the "
        "page Write down."
    )
