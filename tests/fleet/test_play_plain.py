"""The coming play against the same forecast written out week by week, in plain loops.

Source: the module's description; kernel regression with a local line (Fan & Gijbels, Local Polynomial Modelling, from
memory), worked out here by NumPy's least squares over weighted rows.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fleet import play

PLAYERS, WEEKS, AHEAD = 7, 70, 5


def a_club(seed: int, has_plans: bool, weeks: int = WEEKS) -> tuple[play._Weeks, np.ndarray, np.ndarray]:
    """Three squads, one with a single player; plans and closed days here and there; late comers."""
    rng = np.random.default_rng(seed)
    squad = np.array([0, 0, 0, 1, 1, 1, 2])
    known = np.arange(weeks)[None, :] < rng.integers(8, weeks + 1, PLAYERS)[:, None]
    hours = rng.gamma(4.0, 1.5, (PLAYERS, weeks)) * known
    plan = rng.choice([4.0, 4.0, 6.0, 1.0], (PLAYERS, weeks)) if has_plans else np.zeros((PLAYERS, weeks))
    closed = rng.choice([0.0, 0.0, 0.0, 3.0, 7.0], (PLAYERS, weeks))
    ahead = rng.choice([4.0, 6.0, 0.5], (PLAYERS, AHEAD))
    ahead[:, -1] = 0.0
    return play._Weeks(hours, plan, closed, known, squad), ahead, rng.choice([0.0, 7.0], (PLAYERS, AHEAD))


def kernel_line(at: tuple[float, float], rows: list[tuple[float, float, float, float]], overall: float) -> float:
    """The value at a week's plan of a line through weeks alike, drawn to the mean by two rows of a prior: one of weight
    0.1 at the plan itself, and a slope of weight 0.02. rows: plan, closed, observed, weight."""
    design, told = [], []
    for x, shut, y, w in rows:
        near = w * np.exp(
            -0.5 * ((x - at[0]) / play.KERNEL_WIDTH) ** 2 - 0.5 * ((shut - at[1]) / play.CLOSED_WIDTH) ** 2
        )
        design.append(np.sqrt(near) * np.array([1.0, x - at[0]]))
        told.append(np.sqrt(near) * y)
    design += [np.sqrt(0.1) * np.array([1.0, 0.0]), np.sqrt(0.02) * np.array([0.0, 1.0])]
    told += [np.sqrt(0.1) * overall * min(max(at[0], 0.0), 1.5), np.sqrt(0.02) * overall * 0.7]
    found = np.linalg.lstsq(np.array(design), np.array(told), rcond=None)[0]
    return min(max(float(found[0]), 0.0), 2.0)


def plainly(weeks: play._Weeks, plan_ahead: np.ndarray, closed_ahead: np.ndarray) -> np.ndarray:
    """(players, weeks ahead) by loops."""
    n, squads = len(weeks.squad), int(weeks.squad.max()) + 1
    window = max(int(weeks.known.any(axis=0).sum()), 1)
    known, hours = weeks.known[:, :window], weeks.hours[:, :window]
    of = [[p for p in range(n) if weeks.squad[p] == s] for s in range(squads)]
    decay = [0.5 ** (w / play.LEVEL_HALF_LIFE_WEEKS) for w in range(window)]
    observed = [[1.0] * window for _ in range(squads)]
    level = [0.0] * n
    due = [[0.0] * window for _ in range(squads)]
    for _ in range(4):
        seen = [sum(decay[w] * known[p, w] * observed[weeks.squad[p]][w] ** 2 for w in range(window)) for p in range(n)]
        done = [
            sum(decay[w] * known[p, w] * observed[weeks.squad[p]][w] * hours[p, w] for w in range(window))
            for p in range(n)
        ]
        for s in range(squads):
            usual = sum(done[p] for p in of[s]) / sum(seen[p] for p in of[s])
            for p in of[s]:
                level[p] = (done[p] + 0.3 * usual) / (seen[p] + 0.3)
        lean = 0.15 * sum(level) / squads
        for w in range(window):
            there = [p for p in range(n) if known[p, w]]
            club = sum(hours[p, w] for p in there) / max(sum(level[p] for p in there), 1e-9)
            for s in range(squads):
                due[s][w] = sum(level[p] for p in of[s] if known[p, w])
                came = sum(hours[p, w] for p in of[s] if known[p, w])
                observed[s][w] = (came + lean * club) / (due[s][w] + lean)

    def planned(table: np.ndarray, w: int, s: int, is_past: bool) -> float:
        return sum(float(table[p, w]) * (max(known[p, w], known[p, 0]) if is_past else 1.0) for p in of[s]) / len(of[s])

    past = np.array([[planned(weeks.plan, w, s, True) for w in range(window)] for s in range(squads)])
    ahead = np.array([[planned(plan_ahead, w, s, False) for w in range(AHEAD)] for s in range(squads)])
    valid = known.any(axis=0)
    alike_past, alike_ahead, has_plan = play._relative_plans(past, ahead, valid)
    shut_past = [
        [sum(weeks.closed[p, w] for p in of[s]) / 7 / len(of[s]) for w in range(window)] for s in range(squads)
    ]
    shut_ahead = [
        [sum(closed_ahead[p, w] for p in of[s]) / 7 / len(of[s]) for w in range(AHEAD)] for s in range(squads)
    ]

    def row(s: int, w: int, part: float) -> tuple[float, float, float, float]:
        weight = 0.5 ** (w / play.INDEX_HALF_LIFE_WEEKS) * part
        return float(alike_past[s, w]), shut_past[s][w], observed[s][w], weight

    told = [(s, w) for s in range(squads) for w in range(window) if valid[w] and due[s][w] > 0]
    total = sum(row(s, w, 1.0)[3] for s, w in told)
    overall = sum(row(s, w, 1.0)[3] * observed[s][w] for s, w in told) / total

    def expected(s: int, at: tuple[float, float]) -> float:
        rows = [row(o, w, 1.0 if o == s else play.OTHER_SQUADS) for o, w in told]
        return kernel_line(at, rows, overall)

    before = np.array(
        [[expected(s, (alike_past[s, w], shut_past[s][w])) for w in range(window)] for s in range(squads)]
    )
    after = np.array(
        [[expected(s, (alike_ahead[s, w], shut_ahead[s][w])) for w in range(AHEAD)] for s in range(squads)]
    )
    if not has_plan and (ahead > 0).any():
        sums = ahead * np.array([len(o) for o in of])[:, None]
        usual = float(np.median(sums[sums > 0]))
        after = after * (1.0 + play.CALENDAR_TRUST_UNSEEN * (np.clip(sums / usual, 0.0, 1.5) - 1.0))
    season = play._season(np.array(observed), before, np.array(due), AHEAD)
    out = np.zeros((n, AHEAD))
    for s in range(squads):
        came = foreseen = play.RECENT_PRIOR_WEEKS
        for w in range(window):
            if valid[w] and due[s][w] > 0:
                size = max(before[s, w], 1e-3)
                weight = 0.5 ** (w / play.RECENT_HALF_LIFE_WEEKS) * min(size, 1.0) ** 2
                came, foreseen = came + weight * observed[s][w], foreseen + weight * size
        for w in range(AHEAD):
            lasts = 1.0 + (came / foreseen - 1.0) * play.PERSISTENCE_A_WEEK ** (w + 0.5)
            for p in of[s]:
                out[p, w] = level[p] * after[s, w] * season[0, w] * lasts
    return out


@pytest.mark.parametrize(("seed", "has_plans", "weeks"), [(1, True, WEEKS), (2, False, WEEKS), (3, True, 20)])
def test_the_weeks_ahead_are_those_of_plain_loops(seed: int, has_plans: bool, weeks: int) -> None:
    given = a_club(seed, has_plans, weeks)
    assert play.forecast_weeks(*given) == pytest.approx(plainly(*given), rel=1e-7)


def test_nobody_and_nothing_played_forecast_nothing() -> None:
    weeks, ahead, closed = a_club(4, True)
    idle = play._Weeks(weeks.hours * 0.0, weeks.plan, weeks.closed, weeks.known, weeks.squad)
    assert not play.forecast_weeks(idle, ahead, closed).any()
    nobody = play._Weeks(*(t[:0] for t in (weeks.hours, weeks.plan, weeks.closed, weeks.known, weeks.squad)))
    assert play.forecast_weeks(nobody, ahead[:0], closed[:0]).shape == (0, AHEAD)


def test_plans_are_told_against_the_usual_week_and_a_last_week_cut_off_is_a_usual_one() -> None:
    """Usual: (4 + 4 + 8 + 0) / 4 = 4, half of it in the median week. The third week ahead is the last planned one and
    less than 0.8 of the usual: cut off. In the second squad nothing was planned: its weeks are all alike."""
    past, valid = np.array([[4.0, 4.0, 8.0, 0.0, 99.0], [0.0] * 5]), np.array([True, True, True, True, False])
    ahead = np.array([[6.0, 2.0, 3.1, 0.0], [1.0, 0.0, 0.0, 0.0]])
    told, coming, has_plan = play._relative_plans(past, ahead, valid)
    assert has_plan
    assert told[0] == pytest.approx([1.0, 1.0, 2.0, 0.0, 24.75]) and told[1] == pytest.approx(np.ones(5))
    assert coming[0] == pytest.approx([1.5, 0.5, 1.0, 1.0]) and coming[1] == pytest.approx(np.ones(4))
    # a last week that is not lower than usual is believed, and so is a first one that is
    _, full, _ = play._relative_plans(past, np.array([[6.0, 3.2], [0.0, 0.0]]), valid)
    assert full[0] == pytest.approx([1.5, 0.8])
    _, alone, _ = play._relative_plans(past, np.array([[1.0, 0.0], [0.0, 0.0]]), valid)
    assert alone[0] == pytest.approx([0.25, 1.0])
