"""Who does something in, whether they may out: checked by the store before every write, whatever page or command asked.

By default one trusted user works on this machine: LOCAL, who may do everything. Where the club lets others in, each
person has one role. A role may do what its work needs; a reader writes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.store.errors import StoreError

TRUSTED = "trusted"
ROLES = ("coach", "stringer", "manager", "reader")

# action -> the roles that may do it; TRUSTED may do all. Recording goes by the file a row belongs to.
MAY: dict[str, frozenset[str]] = {
    "record:players": frozenset({"coach", "manager"}),
    "record:rackets": frozenset({"coach", "stringer", "manager"}),
    "record:holders": frozenset({"coach", "manager"}),
    "record:strings": frozenset({"stringer", "manager"}),
    "record:setups": frozenset({"coach", "stringer"}),
    "record:restrings": frozenset({"coach", "stringer"}),
    "record:jobs": frozenset({"coach", "stringer", "manager"}),
    "record:matches": frozenset({"coach"}),
    "record:practices": frozenset({"coach"}),
    "record:inspections": frozenset({"coach", "stringer"}),
    "record:calendar": frozenset({"coach", "manager"}),
    "record:bench": frozenset({"stringer", "manager"}),
    "record:stock": frozenset({"stringer", "manager"}),
    "record:orders": frozenset({"manager"}),
    "load": frozenset({"coach", "stringer", "manager"}),
    "strike": frozenset({"coach", "stringer", "manager"}),
    "learn": frozenset({"coach", "manager"}),
    "settings": frozenset({"manager"}),
    "backup": frozenset({"manager"}),
    "restore": frozenset(),
    "forget": frozenset({"manager"}),
    "people": frozenset({"manager"}),
}


class NotAllowedError(StoreError):
    """This person's role may not do that."""


@dataclass(frozen=True)
class Person:
    """Someone at work: a name as records keep it, and a role (coach, stringer, manager, reader or trusted)."""

    name: str
    role: str


LOCAL = Person("this machine", TRUSTED)


def may(person: Person, action: str) -> bool:
    """Whether this person may do this. Raises KeyError for an action that is not declared."""
    roles = MAY[action]
    return person.role == TRUSTED or person.role in roles


def require(person: Person, action: str) -> None:
    """Raise NotAllowedError, with who may, unless this person may do this."""
    if not may(person, action):
        allowed = " or ".join(sorted(MAY[action])) or "the person at the machine itself"
        kind, _, file = action.partition(":")
        what = f"record in {file}.csv" if file else kind
        raise NotAllowedError(f"{person.name} is signed in as {person.role} and may not {what}: ask a {allowed}.")
