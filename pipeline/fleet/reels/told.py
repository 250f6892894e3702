"""The reel plan in sentences: what to order by when, and what the season is likely to cost.

In: a ReelPlan. Out: plain text, without marks for a page.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from pipeline.fleet import words
from pipeline.fleet.reels.money import money_text

if TYPE_CHECKING:
    from pipeline.fleet.reels.plan import ReelPlan

SET_M, FULL_REEL_M = 25.0, 190.0  # shorter than the first is a set; a full reel is 200 m or 660 ft
SOON_DAYS = 7  # orders within a week of the first are said together


def order_sentence(plan: ReelPlan) -> str:
    """'Order 2 reels of Ostrel Cord by Fri 20 Nov, and 1 other string within the week after', without a full stop."""
    if plan.strings.empty:
        return "No string is in use yet"
    if plan.orders.empty:
        return f"Nothing to order: what is on the shelf and on order is enough for {words.count(plan.weeks, 'week')}"
    first = plan.orders.iloc[0]
    together = plan.orders[
        (plan.orders["order_by"] == first["order_by"]) & (plan.orders["string_id"] == first["string_id"])
    ]
    what = words.join_words(
        [f"{pieces(int(row['reels']), float(row['reel_m']))}" for row in together.to_dict("records")]
    )
    when = "today" if first["order_by"] <= plan.as_of else f"by {words.day_unbroken(first['order_by'])}"
    text = f"Order {what} of {first['string_name']} {when}"
    soon = plan.orders[plan.orders["order_by"] <= first["order_by"] + timedelta(days=SOON_DAYS)]
    others = soon["string_id"].nunique() - 1
    if others:
        text += f", and {words.count(others, 'other string')} within {SOON_DAYS} days after"
    return text


def pieces(count: int, metres: float) -> str:
    """'2 reels', '3 reels of 100 m' or '4 sets', by the length of one."""
    if metres < SET_M:
        return words.count(count, "set")
    return words.count(count, "reel") + ("" if metres >= FULL_REEL_M else f" of {metres:g} m")


def season_sentence(plan: ReelPlan, locale: str) -> str:
    """'The season's string is likely to cost €9,100; allow for €10,150.'"""
    total = plan.season_total
    likely, allow = (money_text(total[key], plan.currency, locale, is_whole=True) for key in ("p50", "p90"))
    spent = money_text(total["spent"], plan.currency, locale, is_whole=True)
    return f"The season's string is likely to cost {likely}; allow for {allow}. So far {spent} has gone into rackets."
