"""A player's number and names in; texts without them out.

Pure functions of text, so that a text changes alike everywhere.

A name is taken out in either order of its words ("Ada Sample", "Sample, Ada"), whatever the case, the spaces or the
accents' encoding. A number is taken out where it stands by itself; one of digits alone, which any figure could be,
only where it can be nothing else: in lists of players, in keys, and in quote marks.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property

NEW_NAME = "Former player"
SHORTEST_WORD = 3  # single words of a name shorter than this are left in remarks: they are too common


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFC", name))


def _name_pattern(names: tuple[str, ...], with_single_words: bool) -> re.Pattern[str] | None:
    """What finds any of the names; None where there is none."""
    found: set[str] = set()
    for name in names:
        words = _words(name)
        if name.strip():
            found.add(re.escape(unicodedata.normalize("NFC", name.strip())))
        if not words:
            continue
        between = r"[\W_]{1,3}"
        found.add(between.join(map(re.escape, words)))
        if len(words) > 1:
            found.add(between.join(map(re.escape, [words[-1], *words[:-1]])))
        if with_single_words:
            found |= {re.escape(word) for word in words if len(word) >= SHORTEST_WORD}
    if not found:
        return None
    longest_first = sorted(found, key=len, reverse=True)
    return re.compile(rf"(?<![^\W_])(?:{'|'.join(longest_first)})(?![^\W_])", re.IGNORECASE)


@dataclass(frozen=True)
class Scrubber:
    """Whom to take out: number and every name on file; and the number to put in its place."""

    player_id: str
    names: tuple[str, ...]
    new_id: str

    @cached_property
    def _full(self) -> re.Pattern[str] | None:
        return _name_pattern(self.names, with_single_words=False)

    @cached_property
    def _any_word(self) -> re.Pattern[str] | None:
        return _name_pattern(self.names, with_single_words=True)

    @cached_property
    def _token(self) -> re.Pattern[str]:
        return re.compile(rf"(?<![\w-]){re.escape(self.player_id)}(?![\w-])")

    @cached_property
    def _in_quotes(self) -> re.Pattern[str]:
        return re.compile(rf"(?<=['\"`]){re.escape(self.player_id)}(?=['\"`])")

    @property
    def is_plain_number(self) -> bool:
        """The player's number could be any figure."""
        return not re.search(r"[^\W\d_]", self.player_id) or len(self.player_id) < 2

    def without_name(self, text: str, is_own: bool = False) -> str:
        """The text without the name; in the player's `is_own` records without single words of it, too."""
        pattern = self._any_word if is_own else self._full
        if pattern is None:
            return text
        composed = unicodedata.normalize("NFC", text)
        cleaned = pattern.sub(NEW_NAME, composed)
        return text if cleaned == composed else cleaned

    def without_number(self, text: str, is_list: bool = False) -> str:
        """The text with the new number for the old one; `is_list`: the text is made of numbers and keys alone."""
        if text.strip() == self.player_id and is_list:
            return self.new_id
        pattern = self._token if is_list or not self.is_plain_number else self._in_quotes
        return pattern.sub(self.new_id, text)

    def as_number(self, text: str) -> str:
        """What stands where a player's number belongs; some write the name there."""
        return self.new_id if text.strip() == self.player_id else self.without_name(text)

    def clean(self, text: str, is_list: bool = False, is_own: bool = False) -> str:
        """The text without name and number."""
        return self.without_number(self.without_name(text, is_own), is_list)
