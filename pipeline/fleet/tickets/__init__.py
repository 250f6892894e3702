"""Tickets: a racket's way over the bench, from due to handed back, and what the stringer must know about it."""

from pipeline.fleet.tickets.frame import OPEN, STATE_WORDS, STATES, tickets
from pipeline.fleet.tickets.moving import ConfirmError, Strung, book, booked_words, move, strung

__all__ = [
    "OPEN", "STATES", "STATE_WORDS", "ConfirmError", "Strung", "book", "booked_words", "move", "strung", "tickets",
]  # fmt: skip
