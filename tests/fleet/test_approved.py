"""The club of `approved.csv` worked out anew: every number and word as a person has looked it through.

Source: the program's own output, read by a person; `python -m tests.fleet.approved` writes it anew after a wanted
change. It says that something has changed, not what is right: that is what the other tests of the model say.
"""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tests.fleet.approved import FILE, Number, as_frame, fitted, numbers

# a search for an optimum stops where it is near enough, and elsewhere on another machine
TOLERANCE_OF_A_FIT = 1e-3
TOLERANCE = 1e-6
SEARCHED = ("fit", "held out")


@pytest.fixture(scope="module")
def approved() -> pd.DataFrame:
    """The file, every cell as text."""
    return pd.read_csv(FILE, dtype=str, keep_default_na=False)


def differences(rows: list[Number], approved: pd.DataFrame, tolerance: float) -> list[str]:
    """What is not as it was, in words."""
    keys = ["table", "row", "column"]
    made = as_frame(rows).set_index(keys)["value"].to_dict()
    was = approved.set_index(keys)["value"].to_dict()
    lacking = [f"{key}: is {made.get(key)}, was {was.get(key)}" for key in made.keys() ^ was.keys()]
    return lacking + [f"{key}: is {made[key]}, was {was[key]}" for key in made.keys() & was.keys()
                      if not alike(made[key], was[key], tolerance)]  # fmt: skip


def alike(made: str, was: str, tolerance: float) -> bool:
    """The same words, or numbers within the tolerance."""
    if made == was:
        return True
    try:
        return math.isclose(float(made), float(was), rel_tol=tolerance, abs_tol=1e-9)
    except ValueError:
        return False


def test_the_published_tables_are_as_they_were(approved: pd.DataFrame) -> None:
    """Trade values, so that nothing is searched for."""
    found = differences(numbers(), approved[~approved["table"].isin(SEARCHED)], TOLERANCE)
    assert not found, f"{len(found)} differ:\n" + "\n".join(sorted(found)[:20])


def test_a_fit_and_its_judgement_are_as_they_were(approved: pd.DataFrame) -> None:
    """Numbers from a search, to three digits."""
    found = differences(fitted(), approved[approved["table"].isin(SEARCHED)], TOLERANCE_OF_A_FIT)
    assert not found, f"{len(found)} differ:\n" + "\n".join(sorted(found)[:20])


def test_a_changed_number_and_a_changed_word_are_found() -> None:
    """By hand: one number off by a thousandth, one word, one row lacking and one too many."""
    rows: list[Number] = [("t", "a", "x", 1.0), ("t", "a", "why", "soon"), ("t", "b", "x", 2.0)]
    kept = as_frame([("t", "a", "x", 1.001), ("t", "a", "why", "late"), ("t", "c", "x", 2.0)])
    assert len(differences(rows, kept, 1e-6)) == 4
    assert len(differences(rows, kept, 1e-2)) == 3
    assert differences(rows, as_frame(rows), 1e-6) == []
