"""Twenty faults made by hand in the relations: each a mistake somebody could make when changing that file.

In: nothing. Out: `SQL_FAULTS`; each says the file, the text that stands there once, the text put in its place, and
what goes wrong.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SqlFault:
    """One fault in one relation."""

    file: str
    before: str
    after: str
    why: str

    def put_into(self, text: str) -> str:
        """The file's text with the fault in it; raises ValueError where the text has changed under it."""
        if self.before not in text:
            raise ValueError(f"{self.file} no longer holds {self.before!r}: write this fault anew")
        return text.replace(self.before, self.after, 1)

    def __str__(self) -> str:
        return f"{self.file}: {self.why}"


SQL_FAULTS = (
    SqlFault(
        "restrings_clean.sql", "k.mains_lb * 0.45359237) as mains_kg", "k.mains_lb * 0.45) as mains_kg",
        "pounds become kilograms by a rounded factor",
    ),
    SqlFault(
        "restrings_clean.sql", "where strung_on <= (select as_of from origin)", "where true",
        "restrings after the origin are known already",
    ),
    SqlFault(
        "restrings_clean.sql", "order by loaded_at desc, line_number desc", "order by loaded_at, line_number",
        "of two restrings on a day the first stays in, not the last",
    ),
    SqlFault(
        "beds.sql", "reason in ('broke', 'lost_feel', 'unknown')", "reason in ('broke', 'unknown')",
        "after a complaint the day's play goes to the new bed",
    ),
    SqlFault(
        "beds.sql", "and e.next_broke_where in ('edge', 'grommet') then 'mishit'",
        "and e.next_broke_where = 'edge' then 'mishit'", "a break at a grommet teaches abrasion",
    ),
    SqlFault(
        "beds.sql", "when o.next_reason = 'unknown' and b.seen_broken_on is not null then 'broke'",
        "when false then 'broke'", "a look that saw it broken no longer says why it ended",
    ),
    SqlFault("beds.sql", "and i.broken\n", "and i.broken is not null\n", "a look that says not broken ends the bed"),
    SqlFault(
        "shop_visits.sql", "r.strung_on >= k.handed_in_on", "r.strung_on > k.handed_in_on",
        "a ticket is not closed by a restring of the same day",
    ),
    SqlFault("shop_visits.sql", "where state <> 'due'", "where true", "a racket that is only due lies in the shop"),
    SqlFault(
        "session_beds.sql", "p.usage_hours / t.usage_hours_all as share", "1.0 as share",
        "play without a racket counts in full on every racket",
    ),
    SqlFault(
        "session_beds.sql", "s.played_on >= h.valid_from and s.played_on < h.valid_to", "s.played_on >= h.valid_from",
        "play is shared with rackets that the player has given away",
    ),
    SqlFault(
        "session_beds.sql", "and w.played_on > v.handed_in_on", "and w.played_on < v.handed_in_on",
        "a racket in the shop collects play",
    ),
    SqlFault(
        "sessions_described.sql", "greatest(0.5, least(2.0, ", "greatest(0.0, least(9.0, ",
        "a count of balls corrects without limit",
    ),
    SqlFault(
        "session_hours.sql", "coalesce(t.playability, 1)", "coalesce(t.abrasion, 1)",
        "topspin makes strings go dead",
    ),
    SqlFault(
        "player_spans.sql", "case when span_number = 1 then date '1900-01-01' else valid_from end",
        "valid_from", "days before the first row on file have no player",
    ),
    SqlFault(
        "player_spans.sql", "case when left_on <= (select as_of from origin) then left_on end", "left_on",
        "a leaving day ahead of the origin is known already",
    ),
    SqlFault(
        "bed_looks.sql", "or (i.inspected_on = b.strung_on and b.bed_number = 1)", "or i.inspected_on = b.strung_on",
        "a look on the day of a restring speaks of the new bed, too",
    ),
    SqlFault("bed_steps.sql", "and p.day > k.day and p.day <= k.next_day", "and p.day >= k.day and p.day < k.next_day",
             "a look tells of the play of its own day"),
    SqlFault(
        "usage_months.sql", "power(0.5, abs(date_diff('month', v.month_on, h.month_on)) / r.half_life)", "1.0",
        "what was played a year ago weighs as much as this month",
    ),
    SqlFault(
        "calendar_days.sql", "where not coalesce(cancelled, false)", "where true", "cancelled plans are played",
    ),
)  # fmt: skip
