"""What the last look says from the origin on, and whether a bed may be over already, on two beds by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet import unseen
from pipeline.fleet.outlook import looks_now
from pipeline.wear.history import SIGNS
from pipeline.wear.looks import GROUPS
from tests.wear.hand_made import FIRST_DAY, Bed, history

NOTCHING, MONO = SIGNS.index("notching"), GROUPS.index("monofilament")


@pytest.mark.parametrize(
    ("looked_on", "left"),
    [
        (5, 0.5 ** ((0.4 - 0.1) / 0.2)),
        (7, 0.5 ** ((0.4 - 0.2) / 0.2)),  # between two days of play: as of the next
        (10, 0.5 ** ((0.4 - 0.2) / 0.2)),
        (14, 1.0),  # on the day last played: nothing has faded
        (17, 1.0),
        (None, 0.0),
    ],
)
def test_the_last_look_fades_with_the_life_used_since(looked_on: int | None, left: float) -> None:
    """A severe notching that multiplies the hazard by 16, half of its logarithm gone with every 0.2 lives. The bed has
    used 0.1, 0.2 and 0.4 lives on its days 5, 10 and 14; another stands before it."""
    h = history([Bed("P2", days=(3, 9), abrasion=(1.0, 2.0)), Bed("P1", days=(5, 10, 14), abrasion=(1.0, 2.0, 4.0))])
    x = np.array([0.5, 0.9, 0.1, 0.2, 0.4])
    looks = np.ones((len(GROUPS), len(SIGNS), 4))
    looks[MONO, NOTCHING, 3] = 16.0
    learned: Any = SimpleNamespace(
        exposure=SimpleNamespace(x={"breaks": x, "goes_dead": x}),
        looks={"breaks": looks, "goes_dead": np.ones_like(looks)},
        shapes=SimpleNamespace(look_fade=0.2),
    )
    day = pd.NaT if looked_on is None else pd.Timestamp(0) + pd.Timedelta(days=FIRST_DAY + looked_on)
    rackets = pd.DataFrame({"bed_id": ["B1"], "looked_on": [day], **{s: [np.nan] for s in SIGNS}})
    rackets["notching"] = [3.0]
    found = looks_now(h, learned, rackets)
    assert found["breaks"] == pytest.approx([np.log(16.0) * left])
    assert found["goes_dead"] == pytest.approx([0.0])


def test_a_bed_that_stays_in_the_bag_while_its_player_plays_may_be_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """Delays from a bed's end to its record: 0, 2, 2 and 6 days; longer than 1 are three of four, longer than 4 one.

    A was last seen four days ago, and its player has played on two days since, each time with one of two rackets: 0.3
    of an end, times 1/4, over 0.5 ** (2 x TEMPER). B was seen yesterday, the player's last day: 0.3 x 3/4. A chance is
    odds over one more.
    """
    as_of = 40
    h = history([Bed("P1", days=(36,)), Bed("P1", days=(37, 39), abrasion=(1.0, 2.0))], as_of)
    monkeypatch.setattr(unseen, "unseen_days", lambda h: np.array([0.0, 2.0, 2.0, 6.0]))
    monkeypatch.setattr(unseen, "expected_at_steps", lambda h, learned, steps: np.array([0.3, 0.9, 0.3])[steps])
    learned: Any = SimpleNamespace(exposure=SimpleNamespace(played=np.array([1.0, 1.0, 1.0])))
    chance, since = unseen.over_unseen(h, learned, np.array([0, 1]), np.array([0.5, 0.5]))
    odds = np.array([0.3 * 0.25 / 0.5 ** (2 * unseen.TEMPER), 0.3 * 0.75])
    assert chance == pytest.approx(odds / (1.0 + odds))
    assert since == pytest.approx([4.0, 1.0])
    none, _ = unseen.over_unseen(h, learned, np.zeros(0, dtype=np.int64), np.zeros(0))
    assert none.shape == (0,)
