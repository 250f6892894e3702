"""club.toml in, the club's settings out. A missing key has the default given here; an unknown one is an error.

`write_default` makes the commented file at first use.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pipeline.store.errors import SettingsError
from pipeline.store.whole_files import write_whole

FILE_NAME = "club.toml"
LEARNED_NAME = "learned.json"  # what a person decided about learned values; pipeline.wear.decision reads and writes it
DEFAULT_POLICY = "when_due"
POLICY_PATTERN = re.compile(r"^(when_due|before_events|every_\d{1,3}_days)$")
MONTH_DAY = re.compile(r"^(0[1-9]|1[0-2])-(0[1-9]|1\d|2[0-8])$")  # a day that every year has
TENSION_UNITS = ("kg", "lb")
LEVELS = ("beginner", "club", "regional", "national")
ROLES = ("coach", "stringer", "manager", "reader")


def _rackets_needed() -> Mapping[str, int]:
    return MappingProxyType({"beginner": 1, "club": 1, "regional": 2, "national": 3})


def _policy() -> Mapping[str, str]:
    return MappingProxyType({"default": DEFAULT_POLICY})


@dataclass(frozen=True)
class ClubSettings:
    """The settings of one club."""

    name: str = "Our club"
    currency: str = "EUR"
    tension_unit: str = "kg"
    time_zone: str = "UTC"
    locale: str = "en-GB"
    service_level: float = 0.95  # chance not to run out of a string before the next order arrives
    ready_days_before_match: int = 1  # a racket for a match is strung this many days before it
    restring_policy: Mapping[str, str] = field(
        default_factory=_policy
    )  # squad -> when_due, before_events, every_N_days
    rackets_needed: Mapping[str, int] = field(default_factory=_rackets_needed)  # level -> match-ready rackets a player
    season_start: str = "09-01"  # month and day on which the budget begins anew
    budget: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({})
    )  # squad -> money for string in one season; a squad without a line has no budget
    roles: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))  # person -> coach, stringer, ...

    def policy_of(self, squad: str | None) -> str:
        """The restring policy of a squad."""
        return self.restring_policy.get(squad or "", self.restring_policy.get("default", DEFAULT_POLICY))

    def rackets_needed_by(self, level: str | None) -> int:
        """Match-ready rackets a player of this level needs."""
        return self.rackets_needed.get(level or "", 1)


def _nearest(word: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.4)
    return f"did you mean {near[0]}?" if near else f"it knows {', '.join(known)}."


def _known(table: Mapping[str, Any], known: tuple[str, ...], where: str) -> None:
    for word in table:
        if word not in known:
            raise SettingsError(f"{FILE_NAME}: {where} {word!r} is unknown: {_nearest(word, known)}")


def _wrong(key: str, value: object, wanted: str) -> SettingsError:
    return SettingsError(f"{FILE_NAME}: {key} is {value!r}: it must be {wanted}.")


def _text(table: Mapping[str, Any], key: str, default: str) -> str:
    value = table.get(key, default)
    if not isinstance(value, str) or not value.strip():
        raise _wrong(key, value, "text in quote marks")
    return value


def _table(table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = table.get(key, {})
    if not isinstance(value, dict):
        raise _wrong(key, value, f"a section headed [{key}]")
    return value


def _number(table: Mapping[str, Any], key: str, default: float, low: float, high: float) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise _wrong(key, value, f"a number from {low:g} to {high:g}")
    return value


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise _wrong("time_zone", name, "a zone name such as Europe/Paris") from None
    return name


def parse_settings(text: str) -> ClubSettings:
    """Settings from the text of a club.toml; raises `SettingsError` with one sentence."""
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f"{FILE_NAME} cannot be read: {error}; mend that place, or delete the file to start anew."
        ) from error
    _known(given, tuple(ClubSettings.__dataclass_fields__), "the setting")
    usual = ClubSettings()
    unit = _text(given, "tension_unit", usual.tension_unit)
    if unit not in TENSION_UNITS:
        raise _wrong("tension_unit", unit, "kg or lb")
    needed = _table(given, "rackets_needed")
    _known(needed, LEVELS, "the level")
    counts = {level: int(_number(needed, level, usual.rackets_needed[level], 0, 12)) for level in LEVELS}
    policy = {"default": DEFAULT_POLICY} | dict(_table(given, "restring_policy"))
    for squad, how in policy.items():
        if not isinstance(how, str) or not POLICY_PATTERN.match(how):
            raise _wrong(
                f"restring_policy of {squad}", how, "when_due, before_events or every_N_days (as every_14_days)"
            )
    season_start = _text(given, "season_start", usual.season_start)
    if not MONTH_DAY.match(season_start):
        raise _wrong("season_start", season_start, "a month and a day, such as 09-01")
    budget = dict(_table(given, "budget"))
    for squad in budget:
        budget[squad] = _number(budget, squad, 0.0, 0, 100_000_000)
    roles = dict(_table(given, "roles"))
    for person, role in roles.items():
        if role not in ROLES:
            raise _wrong(f"role of {person}", role, f"one of {', '.join(ROLES)}")
    return ClubSettings(
        name=_text(given, "name", usual.name),
        currency=_text(given, "currency", usual.currency),
        tension_unit=unit,
        time_zone=_zone(_text(given, "time_zone", usual.time_zone)),
        locale=_text(given, "locale", usual.locale),
        service_level=_number(given, "service_level", usual.service_level, 0.5, 0.999),
        ready_days_before_match=int(_number(given, "ready_days_before_match", usual.ready_days_before_match, 0, 30)),
        restring_policy=MappingProxyType(policy),
        rackets_needed=MappingProxyType(counts),
        season_start=season_start,
        budget=MappingProxyType(budget),
        roles=MappingProxyType(roles),
    )


def read_settings(folder: Path) -> ClubSettings:
    """The settings of the store in `folder`; the defaults where it has no club.toml."""
    path = folder / FILE_NAME
    if not path.exists():
        return ClubSettings()
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} cannot be read as UTF-8 text: {error}.") from error
    return parse_settings(text)


def write_default(folder: Path, name: str | None = None) -> None:
    """Write the commented club.toml with the defaults, unless there is one."""
    path = folder / FILE_NAME
    if path.exists():
        return
    text = files("pipeline.store").joinpath("club_default.toml").read_text(encoding="utf-8")
    if name is not None:
        escaped = name.replace("\\", "\\\\").replace('"', '\\"')
        text = text.replace('name = "Our club"', f'name = "{escaped}"')
    write_whole(path, text)
