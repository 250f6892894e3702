"""The answer to a what-if in words: whose, what would change, and by how much.

In: a Question, its Answer, names of strings and players, the club's currency and locale. Out: plain text, without marks
for a page. "About" stands before an estimate, its 80 % band in brackets.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pipeline.fleet import words
from pipeline.fleet.reels.money import money_text

if TYPE_CHECKING:
    from pipeline.fleet.what_if.answer import Answer
    from pipeline.fleet.what_if.question import Question
    from pipeline.fleet.what_if.simulator import Policy

NAMES = {
    "restrings": "Restrings",
    "bench": "Hours at the bench",
    "string": "Metres of string",
    "cost": "Cost of string",
    "dead_play": "Play on dead strings",
    "breaks": "Breaks in play",
    "match_breaks": "Breaks in matches",
}


def whose(asked: Question, players: Mapping[str, str]) -> str:
    """'Rowan', a player's name, or 'the whole club'."""
    if asked.player_id is not None:
        return players.get(asked.player_id, asked.player_id)
    return asked.squad or "the whole club"


def what(asked: Question, strings: Mapping[str, str]) -> str:
    """'Ostrel Cord 130 / Bramil Soft 125, restrung after 12 h of play'."""
    parts = []
    mains, crosses = asked.mains_string_id, asked.crosses_string_id
    if mains is not None:
        name = strings.get(mains, mains)
        parts.append(name if crosses in (None, mains) else f"{name} / {strings.get(str(crosses), str(crosses))}")
    elif crosses is not None:
        parts.append(f"{strings.get(crosses, crosses)} in the crosses")
    if asked.gauge_mm is not None:
        parts.append(f"mains of {asked.gauge_mm:.2f} mm")
    policy = policy_words(asked.policy)
    return ", ".join([*parts, policy] if policy else parts)


def policy_words(policy: Policy) -> str:
    """'restrung after 12 h of play', '... at 80 % of its life', '... before events'; empty as the club does now."""
    if policy.hours is not None:
        return f"restrung after {words.hours(policy.hours)} of play"
    if policy.life is not None:
        return f"restrung at {words.percent(policy.life)} of its life"
    if policy.before_events_from is not None:
        if policy.before_events_from <= 0:
            return "restrung before every event"
        return f"restrung before events from {words.percent(policy.before_events_from)} of its life on"
    return ""


def headline(
    asked: Question, answer: Answer, strings: Mapping[str, str], players: Mapping[str, str], currency: str, locale: str
) -> str:
    """'Ostrel Cord 130 for Rowan: about 12 fewer restrings and €245 less in 26 weeks', without a full stop."""
    changes = dict(zip(answer.table["measure"], answer.table["change"], strict=True))
    jobs, cost = float(changes["restrings"]), float(changes["cost"])
    restrings = f"about {_more(jobs, 'restring')}"
    money = money_text(abs(cost), currency, locale, is_whole=True)
    spent = "the same cost" if abs(cost) < 0.5 else f"{money} {'less' if cost < 0 else 'more'}"
    period = words.count(answer.weeks, "week")
    change = what(asked, strings)
    return f"{change[:1].upper()}{change[1:]} for {whose(asked, players)}: {restrings} and {spent} in {period}"


def _more(change: float, noun: str) -> str:
    number = round(abs(change))
    if number == 0:
        return f"as many {noun}s"
    return f"{words.number(number)} {'fewer' if change < 0 else 'more'} {noun}{'' if number == 1 else 's'}"


def details(answer: Answer) -> str:
    """Dead play and breaks in matches in one sentence."""
    rows = {row["measure"]: row for row in answer.table.to_dict("records")}
    now, then = (words.percent(rows["dead_play"][name]) for name in ("now", "then"))
    change, low, high = (float(rows["match_breaks"][name]) for name in ("change", "change_p10", "change_p90"))
    less = "fewer" if change < 0 else "more"
    ends = sorted([abs(low), abs(high)]) if low * high > 0 else []
    band = f" ({ends[0]:.1f} to {ends[1]:.1f})" if ends else ""
    same = abs(change) < 0.05
    breaks = "as many breaks in matches" if same else f"about {abs(change):.1f} {less} breaks in matches{band}"
    dead = f"Play on dead strings goes from {now} to {then}" if now != then else f"Play on dead strings stays at {now}"
    return f"{dead}; {breaks}."


def point_words(answer: Answer) -> str:
    """The cheapest point to restring, as strung now; empty where it was not asked for."""
    if answer.point is None:
        return ""
    cost = f"{answer.match_cost:g} {'restring' if answer.match_cost == 1 else 'restrings'}"
    if answer.point.age_hours is None:
        return (
            f"If a break in a match costs as much as {cost}, it is cheapest to wait until the strings break or lose "
            "feel."
        )
    saved = 1.0 - answer.point.cost_per_hour / answer.point.never_per_hour
    return (
        f"If a break in a match costs as much as {cost}, it is cheapest to restring after about "
        f"{words.hours(round(answer.point.age_hours))} of play: {words.percent(saved)} less than waiting."
    )


def band_text(measure: str, low: float, high: float, currency: str, locale: str) -> str:
    """'+24 to +34 h', '−29 to −18 points': the unit once."""
    first, last = (change_text(measure, value, currency, locale) for value in (low, high))
    if first == last:
        return first
    for unit in (" points", " point", " h", " m"):
        first = first.removesuffix(unit)
    return f"{first} to {last}"


def change_text(measure: str, value: float, currency: str, locale: str, is_signed: bool = True) -> str:
    """A value or change of a measure in its unit: '+12', '−€245', '+3 points', '32 %'."""
    sign = ("+" if value > 0 else "\u2212" if value < 0 else "") if is_signed else ""
    size = abs(value) if is_signed else value
    if measure == "cost":
        text = money_text(size, currency, locale, is_whole=True)
    elif measure == "dead_play":
        text = (
            words.percent(size)
            if not is_signed
            else f"{round(100 * size)} {'point' if round(100 * size) == 1 else 'points'}"
        )
    elif measure == "match_breaks":
        text = words.number(size, 1)
    elif measure == "bench":
        text = f"{round(size)} h"
    elif measure == "string":
        text = f"{words.number(round(size))} m"
    else:
        text = words.number(round(size))
    is_nothing = not any(c in "123456789" for c in text)
    return text if is_nothing else sign + text
