"""Restrings that follow wear: what must not matter, and where the comparison is not made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.wear import taken_out as module
from pipeline.wear.history import History
from pipeline.wear.learning import BREAKS, OTHER, Learned, learn
from pipeline.wear.other_causes import DaysAtRisk
from pipeline.wear.taken_out import TakenOut, taken_out
from tests.wear.hand_made import Bed, history


def club(count_worn: int = 25, count_out: int = 25) -> History:
    """Beds of five players, unlike each other: so many broke after 8 to 20 hours, so many were taken out before."""
    rng = np.random.default_rng(2)
    beds = []
    for i in range(count_worn + count_out):
        hours = float(rng.uniform(8.0, 20.0)) * (1.0 + 0.2 * (i % 5)) * (1.0 if i < count_worn else 0.8)
        n = int(hours / 1.5) + 1
        beds.append(
            Bed(f"P{i % 5}", "breaks" if i < count_worn else "other", tuple(2 * k for k in range(1, n + 1)),
                tuple(1.5 * k for k in range(1, n + 1)))
        )  # fmt: skip
    return history(beds)


@pytest.fixture(scope="module")
def usual() -> tuple[History, Learned, TakenOut]:
    h = club()
    made = learn(h)
    found = taken_out(h, made)
    assert found is not None and found.endings == 25
    return h, made, found


def test_the_order_of_players_does_not_matter(usual: tuple[History, Learned, TakenOut]) -> None:
    """The same club with players numbered the other way round is the same club: nobody is taken for nobody's."""
    h, made, found = usual
    n = len(h.players)
    turned = np.append(np.arange(n)[::-1], n)  # the last entry stays nobody's
    other = replace(h, player=n - 1 - h.player, players=h.players[::-1])
    learned = replace(
        made,
        a={k: v[turned] for k, v in made.a.items()},
        b={k: v[turned] for k, v in made.b.items()},
        reports=made.reports[turned],
    )
    again = taken_out(other, learned)
    assert again is not None
    assert (again.part, again.at, again.median) == pytest.approx((found.part, found.at, found.median), rel=1e-4)
    assert again.gain == pytest.approx(found.gain, abs=1e-3)


@pytest.mark.parametrize(("worn", "out", "is_compared"), [(20, 20, True), (19, 20, False), (20, 19, False)])
def test_twenty_of_each_kind_are_needed(worn: int, out: int, is_compared: bool) -> None:
    h = club(worn, out)
    assert (taken_out(h, learn(h)) is not None) == is_compared


def test_a_life_is_longer_by_the_hazard_left_at_its_median() -> None:
    """With shape 2 and a cumulative hazard of ln 2 / 4 where half have ended, lives are (1/4) ** (1/2) = a half."""
    found = TakenOut(0.3, 0.8, np.log(2.0) / 4.0, 1.0, 30)
    assert found.is_in_force and found.life_factor(2.0) == pytest.approx(0.5)
    assert TakenOut(0.3, 0.8, np.log(2.0) / 4.0, -5.0, 30).life_factor(2.0) == 1.0  # five is clear enough
    assert TakenOut(0.3, 0.8, np.log(2.0) / 4.0, -4.9, 30).life_factor(2.0) == pytest.approx(0.5)


# --- both accounts, on four beds

# cumulative hazard at the end and before the last step with play, days of age, and days of that step
WORN = (0.2 + 0.3 + 0.1, 0.2, 4.0, 2.0)
OUT = (0.1 + 0.2, 0.1, 6.0, 4.0)
STILL_IN = (0.25, 0.0, 5.0, 5.0)
SHAPE = 3.0


def four_beds() -> tuple[History, Any]:
    """One that wore out, two of one kind that were taken out, one still in; everybody is an average player."""
    h = history(
        [
            Bed("P1", "breaks", (2, 4), (1.0, 2.0)),
            Bed("P1", "other", (2, 6), (1.0, 2.0)),
            Bed("P2", "other", (2, 6), (1.0, 2.0)),
            Bed("P2", "none", (5,), (1.0,)),
        ]
    )
    ended = np.zeros((4, max(BREAKS, OTHER) + 1))
    ended[0, BREAKS] = ended[1:3, OTHER] = 1.0
    one = {k: np.ones(3) for k in ("breaks", "goes_dead")}
    learned: Any = SimpleNamespace(
        responsibility=ended, a=one, b=one, reports=np.ones(3), racket=np.ones(4),
        shapes=SimpleNamespace(shape_breaks=SHAPE), family={k: np.ones(1) for k in one},
        factor={k: np.ones(7) for k in one},
        exposure=SimpleNamespace(
            added=lambda h, k: {
                "breaks": np.array([0.2, 0.3, 0.1, 0.2, 0.1, 0.2, 0.25]),
                "goes_dead": np.array([0, 0.1, 0, 0, 0, 0, 0]),
            }[k],
            x={k: np.full(7, 0.3) for k in one},
        ),
    )  # fmt: skip
    return h, learned


@pytest.fixture
def accounts(
    monkeypatch: pytest.MonkeyPatch,
) -> tuple[TakenOut, dict[str, Callable[[np.ndarray], float]], History, Any]:
    """Compared without looking for the best: where the search begins. The two accounts, as they were asked for."""
    monkeypatch.setattr(module, "LEAST_TAKEN_OUT", 1)
    asked: dict[str, Callable[[np.ndarray], float]] = {}

    def where_it_begins(account: Callable[[np.ndarray], float], start: list[float], **_rest: object) -> Any:
        asked[account.__name__] = account
        return SimpleNamespace(x=np.asarray(start), fun=account(np.asarray(start)))

    monkeypatch.setattr(module, "minimize", where_it_begins)
    h, learned = four_beds()
    found = taken_out(h, learned)
    assert found is not None
    return found, asked, h, learned


def hazards(level: float, form: float) -> list[tuple[float, float]]:
    """exp(level) u ** exp(form) at the end and before, of the four beds."""
    return [
        tuple(float(np.exp(level) * u ** np.exp(form)) for u in bed[:2])  # type: ignore[misc]
        for bed in (WORN, OUT, OUT, STILL_IN)
    ]


@pytest.mark.parametrize("at", [(0.0, 0.0), (0.3, 0.2), (-0.8, -0.1)])
def test_on_file_a_bed_that_did_not_wear_out_has_lasted(accounts: Any, at: tuple[float, float]) -> None:
    """exp(-before) - exp(-end) for the worn, exp(-end) for all others, and normal priors of spread 0.7 and 0.25."""
    worn, *others = hazards(*at)
    likely = np.log(np.exp(-worn[1]) - np.exp(-worn[0])) - sum(end for end, _ in others)
    prior = 0.5 * (at[0] / 0.7) ** 2 + 0.5 * (at[1] / 0.25) ** 2
    assert accounts[1]["on_file"](np.array(at)) == pytest.approx(prior - likely)


@pytest.mark.parametrize("at", [(0.0, 0.0, -1.0, 1.4, -3.0), (0.3, 0.2, 0.4, 0.9, -2.0), (-0.8, -0.1, -2.5, 2.0, -4.0)])
def test_watched_a_part_comes_out_when_a_part_of_its_own_life_is_over(accounts: Any, at: tuple[float, ...]) -> None:
    """The module's own text: watched beds last to exp(-v / rho), rho = at ** shape, others to exp(-v); the others come
    out at a constant rate, the watched inside the days of their last step."""
    level, form, odds, early, log_rate = at
    part, when, rate = 1 / (1 + np.exp(-odds)), 1 / (1 + np.exp(-early)), np.exp(log_rate)
    rho = when ** (SHAPE * np.exp(form))
    worn, out, _, still = hazards(level, form)
    chance = [(1 - part) * (np.exp(-worn[1]) - np.exp(-worn[0]))]
    seen = np.exp(-out[1] / rho) - np.exp(-out[0] / rho)
    chance += 2 * [(1 - part) * np.exp(-out[0]) * rate + part * seen / OUT[3]]
    chance += [(1 - part) * np.exp(-still[0]) + part * np.exp(-still[0] / rho)]
    days = WORN[2] + 2 * OUT[2] + STILL_IN[2]
    prior = 0.5 * ((level / 0.7) ** 2 + (form / 0.25) ** 2 + ((odds + 1.0) / 1.5) ** 2 + ((early - 1.4) / 0.6) ** 2)
    assert accounts[1]["watched"](np.array(at)) == pytest.approx(prior - np.log(chance).sum() + rate * days)


def test_accounts_are_compared_with_half_the_log_of_the_endings_a_parameter(accounts: Any) -> None:
    """Where the search begins: level and form as learned, at = 1 / (1 + exp(-1.4)), the better of two parts, and a rate
    of two endings in 21 days over e ** 0.7. Watched has two parameters more, the file those of its table."""
    found, asked, h, learned = accounts
    start = [np.array([0.0, 0.0, odds, 1.4, np.log(2 / 21) - 0.7]) for odds in (-2.0, 0.0)]
    best = min(start, key=asked["watched"])
    assert (found.part, found.at) == pytest.approx((1 / (1 + np.exp(-best[2])), 1 / (1 + np.exp(-1.4))))
    assert (found.median, found.endings) == (pytest.approx(np.log(2.0)), 2)
    by_file, free = DaysAtRisk(h, learned.exposure).log_likelihood(np.array([0.0, 1.0, 1.0, 0.0]))
    each = 0.5 * np.log(2.0)
    expected = (-asked["watched"](best) - 2 * each) - (-asked["on_file"](np.zeros(2)) + by_file - free * each)
    assert found.gain == pytest.approx(expected)
