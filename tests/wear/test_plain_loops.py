"""Learning, the weeks held out and the club's own past against the same accounts written out in plain loops.

Source: the model's description (DEVELOPERS, module texts), worked out anew here without arrays; the posterior mean of a
gamma prior with Poisson counts is (prior + endings) / (prior + expected) (Gelman et al., Bayesian Data Analysis, 2.6;
from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.fleet.own_past import PERIOD_DAYS, own_past
from pipeline.fleet.unseen import LEAST_EVIDENCE, LONGEST_DAYS, TEMPER, over_unseen
from pipeline.fleet.young_beds import PRIOR_ENDINGS as YOUNG_PRIOR
from pipeline.fleet.young_beds import YOUNG_DAYS
from pipeline.wear import baseline as bent
from pipeline.wear.drift import follow
from pipeline.wear.held_out import LEAST_CHANCE, log_scores, until
from pipeline.wear.history import CAUSES, History
from pipeline.wear.learning import REPORTING_DELAY_DAYS, Learned, Shapes, learn
from tests.wear.hand_made import FIRST_DAY, Bed, history

LIMITS = ("breaks", "goes_dead")
AS_OF = 200
SHAPES = Shapes(shape_breaks=2.2, shape_dead=1.7, strength_breaks=4.0, strength_dead=6.0)


def club(seed: int, unknown: bool = False) -> History:
    """Some players with two rackets each, beds of two kinds one after the other, ended this way and that."""
    rng = np.random.default_rng(seed)
    beds: list[Bed] = []
    for p in range(5):
        for r in range(2):
            day = int(rng.integers(0, 20))
            while day < AS_OF - 6:
                count = int(rng.integers(1, 9))
                days = day + 1 + np.sort(rng.choice(np.arange(1, 30), count, replace=False))
                days = days[days <= AS_OF]
                if not len(days):
                    break
                hours = np.cumsum(rng.uniform(0.5, 3.0, len(days)))
                if rng.random() < 0.4 and len(days) > 1:
                    hours[-1] = hours[-2]  # it lay in the bag before it came in
                kinds = ["breaks", "goes_dead", "mishit", "other", *(["unknown"] * 2 if unknown else [])]
                is_over = days[-1] < AS_OF - 25
                material = ("polyester", "multifilament")[int(rng.random() < 0.4)]
                beds.append(
                    Bed(
                        f"P{p}",
                        str(rng.choice(kinds)) if is_over else "none",
                        days.tolist(),
                        hours.tolist(),
                        (hours * rng.uniform(0.7, 1.3)).tolist(),
                        strung=day,
                        mains=material,
                        crosses=material,
                        squad=f"S{p % 2}",
                        racket=f"P{p}-{r}",
                        is_string_known=bool(rng.random() < 0.9),
                        teaches_abrasion=bool(rng.random() < 0.8),
                        looks={0: {"notching": int(rng.integers(0, 4))}} if len(days) > 2 and p < 3 else {},
                    )
                )
                day = int(days[-1]) + 1
    h = history(beds, AS_OF)
    on = pd.Timestamp(0) + pd.to_timedelta([FIRST_DAY + b.strung for b in beds], unit="D")
    # a third of a bed's hours were shared out among the rackets
    shared = np.where(np.random.default_rng(seed + 1).random(len(h.day)) < 0.3, 1.0, 0.0)
    total = np.cumsum(shared)
    return replace(
        h,
        beds=h.beds.assign(strung_on=on, handed_in_on=pd.NaT),
        share_variance=total - (total - shared)[h.first][h.bed],
    )


@dataclass
class Account:
    """One bed of the history, its steps as lists: what each adds."""

    at: int
    player: str
    racket: int
    family: int
    cause: int
    teaches: dict[str, bool]
    steps: list[int]
    dz: dict[str, list[float]] = field(default_factory=dict)

    def last_played(self, h: History) -> int:
        """Step of the last play."""
        before, found = 0.0, self.steps[-1]
        for s in self.steps:
            found = s if h.hours[s] > before else found
            before = h.hours[s]
        return found


def accounts(h: History, learned: Learned) -> list[Account]:
    """What each step adds to the hazard, from the lives used; looks as learned."""
    out = []
    for i in range(h.n_beds):
        known, abrasion = bool(h.beds["is_string_known"][i]), bool(h.beds["teaches_abrasion"][i])
        one = Account(
            i, str(h.beds["player_id"][i]), int(h.racket[i]), int(h.family[i]), int(h.cause[i]),
            {"breaks": known and abrasion, "goes_dead": known}, list(range(h.first[i], h.last[i] + 1)),
        )  # fmt: skip
        for limit, shape in zip(LIMITS, (SHAPES.shape_breaks, SHAPES.shape_dead), strict=True):
            z = [math.log(2.0) * learned.exposure.x[limit][s] ** shape for s in one.steps]
            one.dz[limit] = [
                (z[k] - (z[k - 1] if k else 0.0)) * float(learned.factor[limit][s]) for k, s in enumerate(one.steps)
            ]
        out.append(one)
    return out


def days_of(h: History, bed: Account, n: int) -> int:
    """Days since the step before, or since the stringing, on which a bed is half a day old."""
    s = bed.steps[n]
    return int(h.day[s] - h.day[bed.steps[n - 1]]) if n else round((float(h.age_hours[s]) - 12.0) / 24.0)


def outlasted(u: float) -> float:
    """Mean of an exponential life of rate u that ended before 1."""
    return 0.5 - u / 12.0 if u < 0.1 else 1.0 / u - 1.0 / (math.exp(u) - 1.0)


@dataclass
class Plain:
    """Where the rounds come to rest."""

    f: dict[str, dict[int, float]]
    a: dict[str, dict[str, float]]
    b: dict[str, dict[str, float]]
    reports: dict[str, float]
    own: dict[int, float]
    lived: list[float]
    shares: list[list[float]]
    mishit: float


def plainly(h: History, learned: Learned, rounds: int = 300) -> Plain:
    """The rounds of `learn` in loops; what is learned of looks and of other causes is taken from it."""
    beds = accounts(h, learned)
    strength = {"breaks": SHAPES.strength_breaks, "goes_dead": SHAPES.strength_dead}
    players, families = sorted({b.player for b in beds}), sorted({b.family for b in beds})
    f = {k: dict.fromkeys(families, 1.0) for k in LIMITS}
    a = {k: dict.fromkeys(players, strength[k]) for k in LIMITS}
    b = {k: dict.fromkeys(players, strength[k]) for k in LIMITS}
    reports, own = dict.fromkeys(players, SHAPES.share_reporting), {bed.racket: 1.0 for bed in beds}
    shares = [[float(bed.cause == c) for c in range(len(CAUSES))] for bed in beds]
    code = {"breaks": CAUSES.index("breaks"), "goes_dead": CAUSES.index("goes_dead")}
    mishit, lived = 1.0 / 2000.0, [1.0] * len(beds)

    def theta(k: str, bed: Account) -> float:
        return a[k][bed.player] / b[k][bed.player] * (reports[bed.player] if k == "goes_dead" else 1.0)

    def of_bed(k: str, bed: Account) -> float:
        return sum(
            dz * (lived[bed.at] if s >= bed.last_played(h) else 1.0) for dz, s in zip(bed.dz[k], bed.steps, strict=True)
        ) * float(bed.teaches[k])

    for _ in range(rounds):
        for bed in beds:
            if bed.cause == CAUSES.index("unknown"):
                row = [0.0] * len(CAUSES)
                for k in LIMITS:
                    recent = [n for n, s in enumerate(bed.steps) if h.day[s] > h.day[bed.steps[-1]] - 7]
                    added = sum(bed.dz[k][n] for n in recent)
                    days = sum(days_of(h, bed, n) for n in recent)
                    row[code[k]] = (
                        f[k][bed.family] * own[bed.racket] * theta(k, bed) * max(added / max(days, 1.0), 1e-6)
                    )
                end = bed.steps[-1]
                row[CAUSES.index("mishit")] = mishit * max(h.hours[end], 0.1) / max(h.age_hours[end] / 24.0, 1.0)
                row[CAUSES.index("other")] = float(learned.other.rate_at_end[bed.at])
                shares[bed.at] = [cell / sum(row) for cell in row]
        for bed in beds:
            start = bed.last_played(h)
            stretch = sum(
                dz * f[k][bed.family] * own[bed.racket] * theta(k, bed)
                for k in LIMITS for dz, s in zip(bed.dz[k], bed.steps, strict=True) if s >= start
            )  # fmt: skip
            in_play = sum(shares[bed.at][CAUSES.index(c)] for c in ("breaks", "goes_dead", "mishit"))
            lived[bed.at] = 1.0 - in_play * (1.0 - outlasted(stretch))
        hours = sum(float(h.hours[bed.steps[-1]]) for bed in beds)
        mishit = (1.0 + sum(s[CAUSES.index("mishit")] for s in shares)) / (2000.0 + hours)
        came, due = dict.fromkeys(own, 0.0), dict.fromkeys(own, 0.0)
        for k in LIMITS:
            exposed = [of_bed(k, bed) for bed in beds]
            ended = [shares[bed.at][code[k]] * bed.teaches[k] for bed in beds]
            for _ in range(3):
                for family in families:
                    mine = [n for n, bed in enumerate(beds) if bed.family == family]
                    weight = sum(exposed[n] * own[beds[n].racket] * theta(k, beds[n]) for n in mine)
                    f[k][family] = (SHAPES.strength_family + sum(ended[n] for n in mine)) / (
                        SHAPES.strength_family + weight
                    )
                for player in players:
                    mine = [n for n, bed in enumerate(beds) if bed.player == player]
                    z = sum(exposed[n] * own[beds[n].racket] * f[k][beds[n].family] for n in mine)
                    count = sum(ended[n] for n in mine)
                    a[k][player], b[k][player] = strength[k] + count, strength[k] + z
                    if k == "goes_dead":
                        silent = (strength[k] / (strength[k] + z)) ** strength[k]
                        pi = SHAPES.share_reporting
                        reports[player] = 1.0 if count > 0.5 else pi * silent / (pi * silent + 1.0 - pi)
            for n, bed in enumerate(beds):
                came[bed.racket] += ended[n]
                due[bed.racket] += exposed[n] * f[k][bed.family] * theta(k, bed)
        own = {r: (SHAPES.strength_racket + came[r]) / (SHAPES.strength_racket + due[r]) for r in own}
    return Plain(f, a, b, reports, own, lived, shares, mishit)


@pytest.fixture(scope="module", params=[(3, False), (8, True)])
def both(request: pytest.FixtureRequest) -> tuple[History, Learned, Plain]:
    h = club(*request.param)
    learned = learn(h, SHAPES, max_rounds=800, tolerance=1e-12)
    return h, learned, plainly(h, learned)


def test_multipliers_are_those_of_plain_loops(both: tuple[History, Learned, Plain]) -> None:
    h, learned, plain = both
    assert h.n_beds > 40
    for k in LIMITS:
        for family, value in plain.f[k].items():
            assert learned.family[k][family] == pytest.approx(value, rel=1e-6), (k, family)
        for n, player in enumerate(h.players):
            assert learned.a[k][n] == pytest.approx(plain.a[k][player], rel=1e-6)
    assert [learned.reports[n] for n in range(len(h.players))] == pytest.approx(
        [plain.reports[p] for p in h.players], rel=1e-6
    )
    assert learned.racket == pytest.approx([plain.own[r] for r in h.racket], rel=1e-6)
    assert learned.outlasted == pytest.approx(plain.lived, rel=1e-6)
    assert learned.responsibility == pytest.approx(np.array(plain.shares), rel=1e-5, abs=1e-9)
    assert learned.mishit_per_hour == pytest.approx(plain.mishit, rel=1e-6)
    assert learned.reports[-1] == SHAPES.share_reporting
    assert (learned.a["breaks"][-1], learned.b["goes_dead"][-1]) == (SHAPES.strength_breaks, SHAPES.strength_dead)


def warp(slopes: np.ndarray, u: float) -> float:
    """Piecewise linear, bin by bin."""
    upper = [*bent.EDGES[1:], math.inf]
    return sum(
        float(slope) * max(min(u, high) - low, 0.0) for slope, low, high in zip(slopes, bent.EDGES, upper, strict=True)
    )


def test_baseline_posterior_and_level_are_those_of_plain_loops(both: tuple[History, Learned, Plain]) -> None:
    h, learned, plain = both
    beds = accounts(h, learned)
    for k, strength in zip(LIMITS, (SHAPES.strength_breaks, SHAPES.strength_dead), strict=True):
        expected, endings = [0.0] * len(bent.EDGES), [0.0] * len(bent.EDGES)
        upper = [*bent.EDGES[1:], math.inf]
        so_far: dict[int, list[float]] = {}
        for bed in beds:
            mean = plain.a[k][bed.player] / plain.b[k][bed.player] * plain.f[k][bed.family] * plain.own[bed.racket]
            start, total, u = bed.last_played(h), 0.0, []
            for dz, s in zip(bed.dz[k], bed.steps, strict=True):
                total += dz * (plain.lived[bed.at] if s >= start else 1.0) * mean
                u.append(total)
            so_far[bed.at] = u
            ended = plain.shares[bed.at][CAUSES.index(k)] * bed.teaches[k]
            alone = u[-1] / (plain.a[k][bed.player] / plain.b[k][bed.player]) * bed.teaches[k]
            others = (plain.a[k][bed.player] - ended) / (plain.b[k][bed.player] - alone)
            others /= plain.a[k][bed.player] / plain.b[k][bed.player]
            counts = bed.teaches[k] * (plain.reports[bed.player] if k == "goes_dead" else 1.0)
            for n, after in enumerate(u):
                before = u[n - 1] if n else 0.0
                for e, (low, high) in enumerate(zip(bent.EDGES, upper, strict=True)):
                    inside = min(max(after * others, low), high) - min(max(before * others, low), high)
                    expected[e] += counts * inside
            at = max(e for e, low in enumerate(bent.EDGES) if u[-1] * others >= low)
            endings[at] += ended
        slopes = [(bent.PRIOR_ENDINGS + c) / (bent.PRIOR_ENDINGS + e) for c, e in zip(endings, expected, strict=True)]
        assert learned.baseline[k].slopes == pytest.approx(slopes, rel=1e-6)
        assert learned.expected[k] == pytest.approx(np.concatenate([so_far[n] for n in range(h.n_beds)]), rel=1e-6)
        z, due, came = dict.fromkeys(h.players, 0.0), dict[int, float](), dict[int, float]()
        for bed in beds:
            mean = plain.a[k][bed.player] / plain.b[k][bed.player]
            u = so_far[bed.at]
            for n, s in enumerate(bed.steps):
                added = warp(learned.baseline[k].slopes, u[n]) - warp(
                    learned.baseline[k].slopes, u[n - 1] if n else 0.0
                )
                z[bed.player] += added * bed.teaches[k] / mean
                back = (h.as_of_day - REPORTING_DELAY_DAYS - int(h.day[s])) // 14
                counts = bed.teaches[k] * (plain.reports[bed.player] if k == "goes_dead" else 1.0)
                due[back] = due.get(back, 0.0) + added * counts
                if s == bed.steps[-1]:
                    came[back] = came.get(back, 0.0) + plain.shares[bed.at][CAUSES.index(k)] * bed.teaches[k]
        assert learned.b[k][: len(h.players)] == pytest.approx([strength + z[p] for p in h.players], rel=1e-6)
        periods = range(max(due), -1, -1)
        level = follow(np.array([due.get(n, 0.0) for n in periods]), np.array([came.get(n, 0.0) for n in periods]))
        assert learned.level[k].level == pytest.approx(level.level, rel=1e-6)
        assert learned.level[k].spread == pytest.approx(level.spread, rel=1e-6)


def test_the_weeks_held_out_are_scored_as_in_plain_loops(both: tuple[History, Learned, Plain]) -> None:
    """A bed and week with a chance of ending, 1 - (b / (b + growth)) ** a, that ended in it or did not."""
    h, _, _ = both
    after = FIRST_DAY + 140
    before = learn(until(h, after), SHAPES)
    ended = {k: (h.cause == CAUSES.index(k)).astype(float) for k in LIMITS}
    told = log_scores(h, before, after, ended)
    again = learn(h, SHAPES, max_rounds=1)  # lives used, and what the looks of that day say by the trade
    own = dict(zip(before.racket_code.tolist(), before.racket.tolist(), strict=True))
    for k in LIMITS:
        score, looks = 0.0, factors_of(h, again, before, k)
        for bed in accounts(h, replace(again, factor={**again.factor, k: looks})):
            if not bed.teaches[k]:
                continue
            n = h.players.index(bed.player)
            a, b = before.a[k][n], before.b[k][n]
            mean = a / b
            scale = mean * before.family[k][bed.family] * own.get(bed.racket, 1.0)
            end = bed.last_played(h) if bed.cause else bed.steps[-1]
            u, weeks = 0.0, dict[int, float]()
            for dz, s in zip(bed.dz[k], bed.steps, strict=True):
                grown = warp(before.baseline[k].slopes, u + dz * scale) - warp(before.baseline[k].slopes, u)
                u += dz * scale
                if h.day[s] > after and s <= end:
                    week = (int(h.day[s]) - after - 1) // 7
                    weeks[week] = weeks.get(week, 0.0) + grown * before.level[k].level / mean
            last = (int(h.day[end]) - after - 1) // 7 if h.day[end] > after else None
            for week, growth in weeks.items():
                chance = 1.0 - (b / (b + growth)) ** a
                chance *= before.reports[n] if k == "goes_dead" else 1.0
                chance = min(max(chance, LEAST_CHANCE), 1.0 - LEAST_CHANCE)
                happened = float(week == last) * ended[k][bed.at]
                score += happened * math.log(chance) + (1.0 - happened) * math.log(1.0 - chance)
        assert told[k] == pytest.approx(score, rel=1e-6)


def factors_of(h: History, bare: Learned, learned: Learned, limit: str) -> np.ndarray:
    """What looks say at each step: the product of the signs' multipliers, faded by half with every so many lives."""
    out = np.ones(len(h.day))
    for s in np.flatnonzero(h.looked >= 0):
        kind = 0 if h.beds["mains_material"][h.bed[s]] == "polyester" else 1
        word = 0.0
        for sign in range(4):
            grade = int(h.grades[s, sign])
            if grade >= 0:
                word += math.log(learned.looks[limit][group(kind), sign, grade])
        x = bare.exposure.x[limit]
        out[s] = math.exp(word * 0.5 ** ((x[s] - x[h.looked[s]]) / SHAPES.look_fade))
    return out


def group(kind: int) -> int:
    from pipeline.wear.looks import group_of

    return int(group_of(pd.Series([("polyester", "multifilament")[kind]]))[0])


def test_the_club_s_own_past_is_that_of_plain_loops(both: tuple[History, Learned, Plain]) -> None:
    """At each step of a player's beds: what that player's endings and exposure of earlier days had said by then."""
    h, learned, _ = both
    beds = accounts(h, learned)
    found = own_past(h, learned)
    periods = (h.as_of_day - REPORTING_DELAY_DAYS - int(h.day.min())) // PERIOD_DAYS + 1
    for k, strength in zip(LIMITS, (SHAPES.strength_breaks, SHAPES.strength_dead), strict=True):
        slopes = learned.baseline[k].slopes
        rows = []  # player, day, exposure, ended, age
        for bed in beds:
            strung = (h.beds["strung_on"][bed.at] - pd.Timestamp(0)).days
            for n, s in enumerate(bed.steps):
                u = [float(learned.expected[k][t]) for t in bed.steps]
                added = (warp(slopes, u[n]) - warp(slopes, u[n - 1] if n else 0.0)) * bed.teaches[k]
                ended = learned.responsibility[bed.at, CAUSES.index(k)] * bed.teaches[k] * (s == bed.last_played(h))
                rows.append((bed.player, int(h.day[s]), added, float(ended), int(h.day[s]) - strung))
        due, came = np.zeros(periods), np.zeros(periods)
        young_due, young_came = np.zeros(len(YOUNG_DAYS)), np.zeros(len(YOUNG_DAYS))
        for player, day, added, ended, age in rows:
            n = h.players.index(player)
            made_of = learned.b[k][n] - strength
            total = sum(r[2] for r in rows if r[0] == player)
            mean = total / made_of if made_of > 1e-9 else 1.0
            exposure = sum(r[2] for r in rows if r[0] == player and r[1] < day) / mean
            endings = sum(r[3] for r in rows if r[0] == player and r[1] < day)
            reports = learned.reports[n] if k == "goes_dead" else 1.0
            expected = (strength + endings) / (strength + exposure) * added / mean * reports
            back = (h.as_of_day - REPORTING_DELAY_DAYS - day) // PERIOD_DAYS
            if back >= 0:
                old = min(max(age / PERIOD_DAYS, 0.0), 1.0)
                due[back] += expected * old
                came[back] += ended * old
                band = sum(age >= edge for edge in YOUNG_DAYS)
                if band < len(YOUNG_DAYS):
                    young_due[band] += expected
                    young_came[band] += ended
        level = follow(due[::-1], came[::-1])
        assert found.levels[k].level == pytest.approx(level.level, rel=1e-8)
        assert found.levels[k].spread == pytest.approx(level.spread, rel=1e-8)
        ratio = (came.sum() + 1.0) / (due.sum() + 1.0)
        assert found.young[k] == pytest.approx((young_came + YOUNG_PRIOR) / (young_due * ratio + YOUNG_PRIOR), rel=1e-8)


def test_what_is_over_unseen_is_that_of_plain_loops(
    both: tuple[History, Learned, Plain], monkeypatch: pytest.MonkeyPatch
) -> None:
    h, learned, _ = both
    delays = np.array([0.0, 1.0, 1.0, 3.0, 9.0])
    monkeypatch.setattr("pipeline.fleet.unseen.unseen_days", lambda h: delays)
    index = np.flatnonzero(h.cause == 0)
    share = np.linspace(0.2, 0.99, len(index))
    chance, since = over_unseen(h, learned, index, share)
    beds = accounts(h, learned)

    def hours(bed: Account, n: int) -> float:
        return float(h.hours[bed.steps[n]]) - (float(h.hours[bed.steps[n - 1]]) if n else 0.0)

    def is_named(bed: Account, n: int) -> bool:
        before = float(h.share_variance[bed.steps[n - 1]]) if n else 0.0
        shared = float(h.share_variance[bed.steps[n]]) - before
        return hours(bed, n) > 0.05 and shared < 0.02 * hours(bed, n) ** 2

    for at, own_share, found, back in zip(index, share, chance, since, strict=True):
        bed = beds[at]
        player = h.players.index(bed.player)
        days_seen = {
            int(h.day[s]) for other in beds if other.player == bed.player for n, s in enumerate(other.steps)
            if is_named(other, n) and h.day[s] >= h.as_of_day - LONGEST_DAYS
        }  # fmt: skip
        steps = [n for n, s in enumerate(bed.steps) if h.day[s] >= h.as_of_day - LONGEST_DAYS and hours(bed, n) > 0]
        named = [n for n in steps if is_named(bed, n)]
        steps = [n for n in steps if not named or n >= named[-1]]
        odds: list[Any] = []
        for n in steps:
            s, added = bed.steps[n], learned.mishit_per_hour * hours(bed, n)
            for k in LIMITS:
                slopes, before = learned.baseline[k].slopes, float(learned.expected[k][s - 1]) if n else 0.0
                grown = warp(slopes, float(learned.expected[k][s])) - warp(slopes, before)
                added += grown * (learned.reports[player] if k == "goes_dead" else 1.0)
            days = h.as_of_day - int(h.day[s])
            without = sum(day > int(h.day[s]) for day in days_seen)
            unused = max((1.0 - min(own_share, 0.95)) ** (TEMPER * without), LEAST_EVIDENCE)
            odds.append((added * float((delays > days).mean()) / unused, days))
        total = sum(o for o, _ in odds)
        assert found == pytest.approx(total / (1.0 + total), rel=1e-8)
        if total > 0:
            assert back == pytest.approx(sum(o * d for o, d in odds) / total, rel=1e-8)
    assert (chance > 0).sum() > 3
