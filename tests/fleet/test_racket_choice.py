"""Which racket is taken out: the conditional logit against a search, and clubs made to prefer fresh strings or not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar

from pipeline.fleet.racket_choice import SPREAD, TEMPER, choices, preference_by_age, shares_ahead
from pipeline.wear.history import History
from tests.wear.hand_made import FIRST_DAY, Bed, history


def made_club(preference: float, seed: int, players: int = 10, days: int = 150) -> History:
    """Players with three rackets strung every 40 days in turn; one hour a day with the racket that is drawn."""
    rng = np.random.default_rng(seed)
    played: dict[tuple[int, int, int], list[int]] = {}
    for p in range(players):
        for day in range(45, days):
            strung = [day - 1 - (day - 13 * r) % 40 for r in range(3)]
            age = np.array([day - s for s in strung])
            weight = np.exp(preference * np.log1p(age))
            r = int(rng.choice(3, p=weight / weight.sum()))
            played.setdefault((p, r, strung[r]), []).append(day)
    beds = []
    for (p, r, strung), on in sorted(played.items()):
        steps = [*on, strung + 40] if on[-1] < strung + 40 <= days else on
        hours = np.minimum(np.arange(1.0, len(steps) + 1.0), len(on))
        cause = "other" if strung + 40 <= days else "none"
        beds.append(Bed(f"P{p}", cause, steps, hours, strung=strung, racket=f"P{p}-{r}"))
    h = history(beds, as_of=days)
    on = pd.Timestamp(0) + pd.to_timedelta([FIRST_DAY + b.strung for b in beds], unit="D")
    return replace(h, beds=h.beds.assign(strung_on=on))


def test_the_mode_is_the_one_a_search_finds() -> None:
    """SciPy's bounded search on the penalised log likelihood written out anew."""
    at = np.repeat(np.arange(40), 3)
    rng = np.random.default_rng(3)
    share, age = rng.uniform(0.1, 1.0, 120), rng.uniform(0.0, 60.0, 120)
    hit = np.zeros(120, dtype=bool)
    hit[3 * np.arange(40) + rng.integers(0, 3, 40)] = True

    def minus_log(value: float) -> float:
        u = np.log(share) + value * np.log(1.0 + age)
        each = [
            u[3 * k : 3 * k + 3][hit[3 * k : 3 * k + 3]][0] - np.log(np.exp(u[3 * k : 3 * k + 3]).sum())
            for k in range(40)
        ]
        return -TEMPER * sum(each) + value**2 / (2.0 * SPREAD**2)

    found = minimize_scalar(minus_log, bounds=(-3, 3), method="bounded", options={"xatol": 1e-10}).x
    assert preference_by_age(at, hit, share, age) == pytest.approx(found, abs=1e-6)


@pytest.mark.parametrize("preference", [-0.8, 0.0])
def test_the_preference_of_a_made_club_is_found(preference: float) -> None:
    """1,000 days played: the information of a choice of three is about 0.3, so that one standard error is about 0.07
    with the days tempered by a half; three of them, and what the prior pulls in."""
    h = made_club(preference, seed=11)
    assert preference_by_age(*choices(h)) == pytest.approx(preference, abs=0.25)


def test_every_day_played_has_one_racket_taken_and_shares_that_sum_to_one() -> None:
    at, hit, share, age = choices(made_club(-0.5, seed=2, players=3))
    assert np.bincount(at, hit).tolist() == [1.0] * (at.max() + 1)
    assert np.bincount(at, share) == pytest.approx(np.ones(at.max() + 1))
    assert (np.bincount(at) > 1).all() and age.min() >= 1


def test_without_days_there_is_no_preference() -> None:
    nothing = np.zeros(0)
    assert preference_by_age(nothing.astype(np.int64), nothing.astype(bool), nothing, nothing) == 0.0


def test_shares_move_to_the_fresh_racket_and_keep_the_players_whole() -> None:
    h = made_club(-0.8, seed=11)
    newest = h.beds.groupby("racket_id").tail(1).sort_values("racket_id")
    share = np.where(np.arange(len(newest)) % 3 == 0, 0.5, 0.25)
    rackets = pd.DataFrame({"player_id": newest["player_id"].to_numpy(), "bed_id": newest["bed_id"].to_numpy(),
                            "share": share, "status": "in_play"})  # fmt: skip
    as_of = pd.Timestamp(0) + pd.Timedelta(days=h.as_of_day)
    ahead = shares_ahead(h, rackets, as_of)
    age = (as_of - newest["strung_on"]).dt.days.to_numpy()
    assert pd.Series(ahead).groupby(rackets["player_id"]).sum().to_numpy() == pytest.approx(np.ones(10))
    for p in range(10):
        of_player = slice(3 * p, 3 * p + 3)
        gain = ahead[of_player] / share[of_player]
        assert np.argmax(gain) == np.argmin(age[of_player]) and np.argmin(gain) == np.argmax(age[of_player])


def test_a_racket_at_the_bench_keeps_its_share() -> None:
    h = made_club(-0.8, seed=11, players=1)
    newest = h.beds.groupby("racket_id").tail(1)
    rackets = pd.DataFrame({"player_id": "P0", "bed_id": newest["bed_id"].to_numpy(), "share": [0.4, 0.6, 0.3],
                            "status": ["in_play", "in_play", "at_bench"]})  # fmt: skip
    ahead = shares_ahead(h, rackets, pd.Timestamp(0) + pd.Timedelta(days=h.as_of_day))
    assert ahead[2] == 0.3 and ahead[:2].sum() == pytest.approx(1.0)
