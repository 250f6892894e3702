"""The named kill points of every command that writes records, files or views: nothing lost, and the store goes on."""

from __future__ import annotations

import os

import pytest

from pipeline.cli import app
from tests.store.kill_acts import ACTS, COMMANDS, NAMED, PAGE_WRITES, SLOW
from tests.store.kills import run, table

QUICK = tuple(act for act in ACTS if act not in SLOW)  # working a view out is killed in `python -m tests.store.kills`


@pytest.mark.skipif(os.name == "nt", reason="needs a signal that cannot be caught")
def test_no_named_kill_point_loses_a_record_or_leaves_a_store_that_does_not_open() -> None:
    named = [point for point in NAMED if point[0] in QUICK]
    lines = run(len(named), seed=0, acts=QUICK, go_on_every=4)
    assert [fault for line in lines.values() for fault in line.faults] == []
    killed = sum(line.before + line.after for line in lines.values())
    assert killed == len(named) >= 40, table(lines)  # every point was reached, so every one was a kill
    assert lines["publish"].after >= 1 and lines["load"].before >= 10


def test_every_command_is_made_of_acts_that_are_killed_or_writes_nothing() -> None:
    names = {command.name or command.callback.__name__ for command in app.registered_commands if command.callback}
    assert set(COMMANDS) == names
    used = {act for acts in (*COMMANDS.values(), *PAGE_WRITES.values()) for act in acts}
    assert used <= set(ACTS) and set(ACTS) - used <= {"publish", "migrate"}  # parts of all the others
