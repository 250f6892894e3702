"""What the timetable is made of: sessions, squad sessions, plans. Days are ordinals, clocks `HH:MM`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class Session:
    """One player's time on court. `group` names the squad session it was part of, empty when on their own."""

    day: int
    clock: str
    player_id: str
    activity: str
    minutes: float
    intensity: str
    surface: str
    event: str = ""
    group: str = ""
    score: str = ""
    is_match: bool = False


@dataclass
class Group:
    """One squad session: who was listed but did not come."""

    group: str
    day: int
    clock: str
    squad: str
    activity: str
    minutes: int
    intensity: str
    surface: str
    absent: list[str]
    count_present: int


@dataclass
class Plan:
    """One row of the calendar."""

    day: int
    clock: str
    squad: str
    player_id: str
    activity: str
    event: str
    until: int | None
    minutes: int
    place: str
    fresh_rackets: int | None
    is_cancelled: bool = False


@dataclass
class Timetable:
    sessions: dict[int, list[Session]]
    groups: list[Group]
    plans: list[Plan]
    closed: set[int]
