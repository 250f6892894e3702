"""A bench plan in words: the answer in one sentence, what is late, the smallest mends, what to pull forward.

In: BenchPlan. Out: sentences. Minutes and hours at the bench; "about" before what is forecast.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.fleet import words
from pipeline.fleet.bench.jobs import TICKET
from pipeline.fleet.bench.plan import BenchPlan

MOST_LISTED = 8
PULL_DAYS = 2  # planned so many days before its strings are likely to end counts as pulled forward
NEAR_DAYS = 7  # and is worth a word where it is planned within the week


def answer(plan: BenchPlan) -> str:
    """Whether the work fits, in one sentence."""
    late, total = plan.late, len(plan.jobs)
    span = "the next week" if plan.weeks == 1 else f"the next {words.count(plan.weeks, 'week')}"
    if plan.jobs.empty:
        return f"Nothing is booked and nothing is likely to be due in {span}"
    jobs = words.count(total, "job")
    if not plan.hours["minutes"].sum():
        return f"{jobs} in {span}, and no hours at the bench"
    if late.empty:
        spare = plan.hours["minutes"].sum() - plan.hours["planned"].sum()
        all_fit = "The one job" if total == 1 else f"All {jobs}"
        left = words.hours_from_minutes(spare)
        return f"{all_fit} of {span} {words.verb(total, 'fits', 'fit')}, with about {left} left for walk-ins"
    no_place = int(late["day"].isna().sum())
    count_late = len(late) - no_place
    places = words.verb(no_place, "finds no place", "find no place")
    worst = words.count(int(late["late_days"].max()), "day") if count_late else ""
    lateness = f"{words.verb(count_late, 'is', 'are')} late, by up to {worst}"
    if not count_late:
        return f"{no_place} of {jobs} in {span} {places}"
    if not no_place:
        return f"{count_late} of {jobs} in {span} {lateness}"
    return f"Of {jobs} in {span}, {no_place} {places} and {count_late} {lateness}"


def late_lines(plan: BenchPlan) -> list[str]:
    """'R012 (Ana Reed) 2 days late for Winter Cup: due Fri 20 Nov, strung Sun 22 Nov.'"""
    lines = []
    too_long = set() if plan.mends is None else {plan.jobs.index[i] for i in _positions(plan, plan.mends.too_long)}
    for place, row in plan.late.iterrows():
        who = f"{row['racket_id']}{_of(row)}"
        due = (
            f"due {words.day(row['due_on'])} for {row['due_for']}"
            if row["is_for_event"]
            else f"due {words.day(row['due_on'])}"
        )
        if place in too_long:
            lines.append(
                f"{who} takes about {row['minutes']:.0f} min, longer than any day at the bench: it has no place."
            )
        elif words.is_missing(row["day"]):
            lines.append(f"{who} finds no place: {due}.")
        else:
            late = words.count(int(row["late_days"]), "day")
            lines.append(f"{who} is {late} late: {due}, strung {words.day(row['day'])}.")
    return lines


def mend_lines(plan: BenchPlan) -> list[str]:
    """The smallest mends, each a sentence that can be acted on."""
    if plan.mends is None:
        return []
    lines = []
    if plan.extra:
        parts = [f"{row['minutes']:.0f} min more on {words.day(row['day'])} ({row['stringer']})" for row in plan.extra]
        lines.append(f"Everything is ready as early as it can be with {words.join_words(parts)}.")
    elif plan.mends.extra is None:
        lines.append("No extra minutes on the days there are would hold all of it.")
    if plan.mends.sent_out:
        rows = plan.jobs.loc[[plan.jobs.index[i] for i in _positions(plan, plan.mends.sent_out)]]
        names = [f"{row['racket_id']}{_of(row)}" for row in rows.to_dict("records")]
        shown = names[:MOST_LISTED] + ([f"{len(names) - MOST_LISTED} more"] if len(names) > MOST_LISTED else [])
        them = words.verb(len(names), "it", "them")
        lines.append(f"Or have {words.join_words(shown)} strung elsewhere: without {them} the rest is ready in time.")
    return lines


def pull_lines(plan: BenchPlan) -> list[str]:
    """Rackets that are not here yet and are better asked for now: their turn comes before their strings end."""
    return [
        f"Ask for {row['racket_id']}{_of(row)} by {words.day(row['day'])}: its strings are likely to last until "
        f"{words.day(row['ends_on'])}, and the bench has room now."
        for row in pulled_forward(plan).to_dict("records")
    ]


def pulled_forward(plan: BenchPlan) -> pd.DataFrame:
    """The jobs of `pull_lines`."""
    jobs = plan.jobs[plan.jobs["day"].notna() & (plan.jobs["source"] != TICKET)]
    soon = [(day - plan.first_on).days < NEAR_DAYS for day in jobs["day"]]
    return jobs[pd.Series(soon, index=jobs.index, dtype=bool) & (jobs["early_days"] >= PULL_DAYS)]


def gap_line(plan: BenchPlan) -> str:
    """Said only where the search ran out of time."""
    if plan.is_proven:
        return ""
    return f"The search stopped at its time limit: no plan is better than this one by more than {_percent(plan.gap)}."


def _percent(part: float) -> str:
    return "1 %" if part <= 0.01 else f"{100 * part:.0f} %"


def _of(row: Any) -> str:
    return "" if words.is_missing(row["player_name"]) else f" ({row['player_name']})"


def _positions(plan: BenchPlan, numbers: tuple[int, ...]) -> list[int]:
    """Where the jobs of the problem stand in plan.jobs, which is sorted by day."""
    at = {int(number): place for place, number in enumerate(plan.jobs["number"])}
    return [at[number] for number in numbers]
