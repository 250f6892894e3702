"""The coming play of every player: expected reference hours by day, and how far off such forecasts have been.

In: the relations player_days and calendar_days, the origin. Out: ComingPlay. A player's weekly hours are taken as
    hours = level of the player x index of the squad's week,
the level from the newest weeks (weeks in which the whole squad rested say little about one player), the coming index
from past weeks whose calendar looked alike (kernel regression), brought to the newest weeks' level, and, where a year
is on file, from last year's same weeks. Days inside a week: the player's own weekdays. Spreads are coefficients of
variation, measured by making the same forecast at past weeks.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import numpy as np
import pandas as pd

LEVEL_HALF_LIFE_WEEKS = 5.0
INDEX_HALF_LIFE_WEEKS = 26.0
RECENT_HALF_LIFE_WEEKS = 1.5
RECENT_PRIOR_WEEKS = 1.0
HISTORY_WEEKS = 110
NEWEST_WEEKS = 16
KERNEL_WIDTH = 0.12
OTHER_SQUADS = 0.3  # what a week of another squad counts against one of its own
MOST_CELLS = 1 << 21
CLOSED_WIDTH = 0.15
PERSISTENCE_A_WEEK = 0.9
SEASON_TRUST = 0.7
SEASON_BASE_WEEKS = 4
CALENDAR_TRUST_UNSEEN = 0.5
TEST_ORIGINS = 14

# what was played week by week, told as the day that the origin's weekday falls on; and of the newest weeks day by day
_WEEKS_PLAYED = f"""
select player_id, as_of - 7 * week as day, exact_sum(hours) as hours
from (select *, ((as_of - day) // 7)::integer as week from player_days, origin)
where week < {HISTORY_WEEKS}
group by player_id, as_of, week
order by player_id, day
"""
_NEWEST_DAYS = f"""
select * from player_days where day > (select as_of from origin) - {7 * NEWEST_WEEKS} order by player_id, day
"""
_FIRST_DAYS = "select player_id, min(day) as day from player_days group by player_id"


@dataclass(frozen=True)
class ComingPlay:
    """abrasion, playability, hours: (n_players, n_days) expected per day, day 0 is the day after the origin.

    spread_level: how far a player's level over the next weeks is off (persistent); spread_week: of one player's week;
    spread_club: of the whole club's weeks together. All as coefficients of variation.
    """

    players: tuple[str, ...]
    abrasion: np.ndarray
    playability: np.ndarray
    hours: np.ndarray
    spread_level: float
    spread_week: float
    spread_club: float


@dataclass(frozen=True)
class _Weeks:
    """(players, weeks) matrices; column 0 is the newest week, counting back. closed: days a week. squad: (players,)
    codes.
    """

    hours: np.ndarray
    plan: np.ndarray
    closed: np.ndarray
    known: np.ndarray
    squad: np.ndarray

    def from_week(self, w: int) -> _Weeks:
        return _Weeks(self.hours[:, w:], self.plan[:, w:], self.closed[:, w:], self.known[:, w:], self.squad)


def _sum_by_week(
    frame: pd.DataFrame, index: dict[str, int], n_weeks: int, as_of: pd.Timestamp, ahead: bool
) -> np.ndarray:
    out = np.zeros((len(index), n_weeks))
    if frame.empty:
        return out
    days = (frame["day"] - as_of).dt.days.to_numpy()
    week = (days - 1) // 7 if ahead else -days // 7
    who = frame["player_id"].map(index).to_numpy(dtype=float)
    keep = (week >= 0) & (week < n_weeks) & ~np.isnan(who) & ((days > 0) == ahead)
    np.add.at(out, (who[keep].astype(int), week[keep]), frame["hours"].to_numpy()[keep])
    return out


def coming_play(con: duckdb.DuckDBPyConnection, players: tuple[str, ...], n_days: int) -> ComingPlay:
    """Expected play of `players` over the next n_days (rounded up to whole weeks)."""
    as_of = pd.Timestamp(con.execute("select as_of from origin").fetchone()[0])  # type: ignore[index]
    index = {p: i for i, p in enumerate(players)}
    n_ahead = -(-n_days // 7)
    played, past, first = (con.execute(query).df() for query in (_WEEKS_PLAYED, _NEWEST_DAYS, _FIRST_DAYS))
    plans = con.execute(
        """
        select player_id, day, sum(hours order by activity, event, hours) as hours, bool_or(is_closed) as is_closed
        from calendar_days group by player_id, day order by player_id, day
        """
    ).df()
    people = (
        con.execute("select player_id, squad, left_on from player_spans where is_latest order by player_id")
        .df()
        .set_index("player_id")
    )
    for frame in (played, past, first):
        frame["day"] = pd.to_datetime(frame["day"])
    plans["day"] = pd.to_datetime(plans["day"])
    closed = plans[plans["is_closed"].astype(bool)].assign(hours=1.0)
    squad = (
        pd.factorize(pd.Series([people["squad"].get(p) for p in players], dtype=object))[0]
        if players
        else np.zeros(0, dtype=int)
    )
    squad = np.where(squad < 0, squad.max(initial=-1) + 1, squad)
    first_on = dict(zip(first["player_id"], first["day"], strict=True))
    first_week = np.array([int((as_of - first_on[p]).days // 7) if p in first_on else -1 for p in players])
    weeks = _Weeks(
        _sum_by_week(played, index, HISTORY_WEEKS, as_of, ahead=False),
        _sum_by_week(plans, index, HISTORY_WEEKS, as_of, ahead=False),
        _sum_by_week(closed, index, HISTORY_WEEKS, as_of, ahead=False),
        np.arange(HISTORY_WEEKS)[None, :] <= first_week[:, None],
        squad,
    )
    plan_ahead = _sum_by_week(plans, index, n_ahead, as_of, ahead=True)
    weekly = forecast_weeks(weeks, plan_ahead, _sum_by_week(closed, index, n_ahead, as_of, ahead=True))
    spread_level, spread_week, spread_club, bias = _spreads(weeks)
    weekly *= bias
    gone = people["left_on"].notna() & (pd.to_datetime(people["left_on"]) <= as_of)
    weekly[[index[p] for p in people.index[gone] if p in index]] = 0.0
    daily = _into_days(weekly, past, plans, index, as_of, weeks.plan.sum() > 0)
    per_hour = _reference_per_hour(past, index, as_of)
    return ComingPlay(
        players, daily * per_hour[:, :1], daily * per_hour[:, 1:], daily, spread_level, spread_week, spread_club
    )


def forecast_weeks(weeks: _Weeks, plan_ahead: np.ndarray, closed_ahead: np.ndarray) -> np.ndarray:
    """(players, weeks ahead) expected hours. plan_ahead: planned hours; closed_ahead: closed days, by week."""
    n_players, n_ahead = plan_ahead.shape
    if n_players == 0 or weeks.hours.sum() <= 0:
        return np.zeros_like(plan_ahead)
    n_squads = int(weeks.squad.max()) + 1
    window = min(weeks.hours.shape[1], max(int(weeks.known.any(axis=0).sum()), 1))
    hours, known = weeks.hours[:, :window], weeks.known[:, :window].astype(float)
    member = np.zeros((n_squads, n_players))
    member[weeks.squad, np.arange(n_players)] = 1.0
    decay = np.power(0.5, np.arange(window) / LEVEL_HALF_LIFE_WEEKS)
    observed = np.ones((n_squads, window))
    level = np.zeros(n_players)
    for _ in range(4):
        index_of_player = observed[weeks.squad]
        seen = (decay * known * index_of_player * index_of_player).sum(axis=1)
        done = (decay * known * index_of_player * hours).sum(axis=1)
        # a player with little history leans on the squad's usual level
        usual = (member @ done) / np.maximum(member @ seen, 1e-9)
        level = (done + 0.3 * usual[weeks.squad]) / (seen + 0.3)
        due = member @ (known * level[:, None])
        club = (hours * known).sum(axis=0) / np.maximum((known * level[:, None]).sum(axis=0), 1e-9)
        lean = 0.15 * level.sum() / n_squads
        observed = (member @ (hours * known) + lean * club[None, :]) / np.maximum(due + lean, 1e-9)
    planned = member @ (weeks.plan[:, :window] * np.maximum(known, known[:, :1]))
    planned_ahead = member @ plan_ahead
    size = np.maximum(member.sum(axis=1, keepdims=True), 1.0)
    alike_past, alike_ahead, has_plan = _relative_plans(
        planned / size, planned_ahead / size, np.asarray(known.any(axis=0))
    )
    valid = np.asarray(known.any(axis=0))[None, :] & (due > 0)
    recency = np.power(0.5, np.arange(window) / INDEX_HALF_LIFE_WEEKS)[None, :] * valid
    shut_past = member @ (weeks.closed[:, :window] / 7.0) / size
    shut_ahead = member @ (closed_ahead / 7.0) / size
    predicted_past = _kernel((alike_past, shut_past), (alike_past, shut_past), observed, recency)
    predicted_ahead = _kernel((alike_ahead, shut_ahead), (alike_past, shut_past), observed, recency)
    if not has_plan:
        # plans ahead but none on file for the past: follow them half-way
        usual_plan = np.median(planned_ahead[planned_ahead > 0]) if (planned_ahead > 0).any() else 0.0
        if usual_plan > 0:
            relative = np.clip(planned_ahead / usual_plan, 0.0, 1.5)
            predicted_ahead = predicted_ahead * (1.0 + CALENDAR_TRUST_UNSEEN * (relative - 1.0))
    season_ahead = _season(observed, predicted_past, due, n_ahead)
    expected_past = np.maximum(predicted_past, 1e-3)
    recent = (
        np.power(0.5, np.arange(window) / RECENT_HALF_LIFE_WEEKS)[None, :] * valid * np.minimum(expected_past, 1.0) ** 2
    )
    level_now = ((recent * observed).sum(axis=1) + RECENT_PRIOR_WEEKS) / (
        (recent * expected_past).sum(axis=1) + RECENT_PRIOR_WEEKS
    )
    lasting = np.power(PERSISTENCE_A_WEEK, np.arange(n_ahead) + 0.5)[None, :]
    ahead = predicted_ahead * season_ahead * (1.0 + (level_now[:, None] - 1.0) * lasting)
    return np.asarray(level[:, None] * ahead[weeks.squad])


def _relative_plans(past: np.ndarray, ahead: np.ndarray, valid: np.ndarray) -> tuple[np.ndarray, np.ndarray, bool]:
    """Plans relative to the squad's usual week; weeks after the last entry count as usual weeks."""
    n_valid = max(int(valid.sum()), 1)
    usual = past[:, valid].sum(axis=1) / n_valid if n_valid else past.mean(axis=1)
    has = usual > 0
    if not has.any():
        return np.ones_like(past), np.ones_like(ahead), False
    relative_past = np.where(has[:, None], past / np.maximum(usual, 1e-9)[:, None], 1.0)
    typical = np.median(relative_past[:, valid], axis=1, keepdims=True)
    relative_ahead = np.where(has[:, None], ahead / np.maximum(usual, 1e-9)[:, None], 1.0)
    planned_weeks = np.nonzero(ahead.sum(axis=0) > 0)[0]
    last = planned_weeks.max() if len(planned_weeks) else -1
    # the last planned week may be cut off in its middle: believe it only if it is not lower than usual
    after = np.arange(ahead.shape[1])[None, :] > last
    cut = (np.arange(ahead.shape[1])[None, :] == last) & (relative_ahead < 0.8 * typical) & (last > 0)
    return relative_past, np.where(after | cut, typical, relative_ahead), True


def _kernel(
    at: tuple[np.ndarray, np.ndarray], past: tuple[np.ndarray, np.ndarray], observed: np.ndarray, weight: np.ndarray
) -> np.ndarray:
    """Local linear regression of the observed index on the relative plan, among weeks about as much closed.

    at, past: (relative plan, closed part of the week), each (squads, weeks). Pooled over squads, a squad's own weeks
    counting more. Where no week is alike the fit leans on the overall mean.
    """
    x, shut, y, w = past[0].ravel(), past[1].ravel(), observed.ravel(), weight.ravel()
    keep = w > 0
    x, shut, y, w = x[keep], shut[keep], y[keep], w[keep]
    if len(x) == 0:
        return np.ones_like(at[0])
    n_squads, n_at = at[0].shape
    own = np.repeat(np.arange(past[0].shape[0]), past[0].shape[1])[keep]
    overall = float((w * y).sum() / w.sum())
    asked, where = np.unique(np.stack([at[0].ravel(), at[1].ravel()]), axis=1, return_inverse=True)
    # all squads together, weeks of the same plan as one: what a squad is told costs the same however many there are
    met, of = np.unique(np.stack([x, shut]), axis=1, return_inverse=True)
    of = of.ravel()
    pooled = _moments(asked, met, np.bincount(of, w), np.bincount(of, w * y))[:, where.ravel()]
    pooled = pooled.reshape(5, n_squads, n_at)
    out = np.empty_like(at[0])
    ends = np.searchsorted(own, np.arange(n_squads + 1))
    for s in range(n_squads):
        mine = slice(ends[s], ends[s + 1])
        here = np.stack([at[0][s], at[1][s]])
        own_weeks = _moments(here, np.stack([x[mine], shut[mine]]), w[mine], w[mine] * y[mine])
        k = OTHER_SQUADS * pooled[:, s] + (1.0 - OTHER_SQUADS) * own_weeks
        # ridge: a prior slope of overall per unit of plan, and a prior value at the plan itself
        s0, s1, s2 = k[0] + 0.1, k[1], k[2] + 0.02
        t0, t1 = k[3] + 0.1 * overall * np.clip(at[0][s], 0.0, 1.5), k[4] + 0.02 * overall * 0.7
        out[s] = (s2 * t0 - s1 * t1) / np.maximum(s0 * s2 - s1 * s1, 1e-12)
    return np.clip(out, 0.0, 2.0)


def _moments(at: np.ndarray, past: np.ndarray, weight: np.ndarray, weighted: np.ndarray) -> np.ndarray:
    """(5, n) sums over past weeks alike: k, k d, k d d, k y, k d y. at: (2, n) and past: (2, m) plan and closed part;
    weight: (m,) of those weeks; weighted: (m,) weight times what was observed."""
    out = np.empty((5, at.shape[1]))
    rows = max(MOST_CELLS // max(past.shape[1], 1), 1)
    for start in range(0, at.shape[1], rows):
        some = at[:, start : start + rows, None]
        d = past[0][None, :] - some[0]
        near = np.exp(-0.5 * (d / KERNEL_WIDTH) ** 2 - 0.5 * ((some[1] - past[1][None, :]) / CLOSED_WIDTH) ** 2)
        far, farther = near * d, near * d * d
        out[:, start : start + rows] = (
            near @ weight, far @ weight, farther @ weight, near @ weighted, far @ weighted,
        )  # fmt: skip
    return out


def _season(observed: np.ndarray, predicted: np.ndarray, due: np.ndarray, n_ahead: int) -> np.ndarray:
    """(1, weeks ahead) what last year's same weeks add to what the calendar says; ones where no year is on file.

    Last year's weeks are held against what their calendar would have predicted; the coming weeks' ratio then, over the
    newest weeks' ratio then, smoothed over three weeks and believed by SEASON_TRUST.
    """
    n = observed.shape[1]
    if n < 52 + SEASON_BASE_WEEKS:
        return np.ones((1, n_ahead))
    done, told = (observed * due).sum(axis=0), (predicted * due).sum(axis=0)
    three = np.ones(3)
    smooth = (np.convolve(np.pad(done, 1, mode="edge"), three, mode="valid") + 1e-6) / (
        np.convolve(np.pad(told, 1, mode="edge"), three, mode="valid") + 1e-6
    )
    base = done[52 : 52 + SEASON_BASE_WEEKS].sum() / max(told[52 : 52 + SEASON_BASE_WEEKS].sum(), 1e-6)
    at = np.clip(51 - np.arange(n_ahead), 0, n - 1)
    return np.asarray(np.clip(smooth[at] / max(base, 0.1), 0.5, 1.8) ** SEASON_TRUST)[None, :]


def _spreads(weeks: _Weeks) -> tuple[float, float, float, float]:
    """Level, week and club spread from making the same forecast at past weeks, and half of the bias it had there."""
    on_file = int(weeks.known.any(axis=0).sum())
    misses, sizes, club = [], [], []
    for origin in range(4, min(on_file - 6, 4 + TEST_ORIGINS)):
        expected = forecast_weeks(
            weeks.from_week(origin),
            weeks.plan[:, origin - 4 : origin][:, ::-1],
            weeks.closed[:, origin - 4 : origin][:, ::-1],
        )
        actual = weeks.hours[:, origin - 4 : origin][:, ::-1]
        ok = (weeks.known[:, origin + 3])[:, None] & (expected > 0.2)
        misses.append(np.where(ok, actual - expected, 0.0))
        sizes.append(np.where(ok, expected, 0.0))
        total = sizes[-1].sum(axis=0)
        club += list(misses[-1].sum(axis=0)[total > 0] / total[total > 0])
    if not misses or np.sum(sizes) <= 0:
        return 0.35, 0.6, 0.15, 1.0
    miss, size = np.array(misses), np.array(sizes)
    week_variance = float((miss**2).sum() / (size**2).sum())
    month_variance = float((miss.sum(axis=2) ** 2).sum() / (size.sum(axis=2) ** 2).sum())
    week = max((week_variance - month_variance) * 4.0 / 3.0, 0.01)
    level = max(month_variance - week / 4.0, 0.01)
    club_cv = float(np.sqrt(np.mean(np.clip(club, -1.0, 1.0) ** 2))) if len(club) > 4 else 0.15
    bias = float(np.clip(1.0 + 0.5 * miss.sum() / size.sum(), 0.85, 1.15))
    return float(np.sqrt(level)), float(np.sqrt(week)), max(club_cv, 0.03), bias


def _into_days(
    weekly: np.ndarray,
    past: pd.DataFrame,
    plans: pd.DataFrame,
    index: dict[str, int],
    as_of: pd.Timestamp,
    plans_speak: bool,
) -> np.ndarray:
    """(players, days) by the player's weekdays; a closed day is empty, its play moves inside the week where the
    calendar has already told how full the week is."""
    n_days = weekly.shape[1] * 7
    counts = np.zeros((len(index), 7))
    newest = past[past["day"] > as_of - pd.Timedelta(weeks=12)] if not past.empty else past
    if not newest.empty:
        who = newest["player_id"].map(index).to_numpy(dtype=float)
        keep = ~np.isnan(who)
        np.add.at(
            counts,
            (who[keep].astype(int), newest["day"].dt.dayofweek.to_numpy()[keep]),
            newest["hours"].to_numpy()[keep],
        )
    club = counts.sum(axis=0) + 1.0
    mixed = counts + 10.0 * club / club.sum()
    mixed = mixed / mixed.sum(axis=1, keepdims=True)
    day_of_week = np.array([(as_of + pd.Timedelta(days=d + 1)).dayofweek for d in range(n_days)])
    share = mixed[:, day_of_week]
    closed = plans[plans["is_closed"].astype(bool) & (plans["day"] > as_of)] if not plans.empty else plans
    if not closed.empty:
        ahead = (closed["day"] - as_of).dt.days.to_numpy() - 1
        who = closed["player_id"].map(index).to_numpy(dtype=float)
        keep = (ahead < n_days) & ~np.isnan(who)
        share[who[keep].astype(int), ahead[keep]] *= 0.1
        if plans_speak:
            by_week = share.reshape(len(index), -1, 7)
            total = by_week.sum(axis=2, keepdims=True)
            share = np.where(total > 0.2, by_week / np.maximum(total, 1e-9), by_week).reshape(share.shape)
    return np.repeat(weekly, 7, axis=1) * share


def _reference_per_hour(past: pd.DataFrame, index: dict[str, int], as_of: pd.Timestamp) -> np.ndarray:
    """(players, 2) abrasion and playability hours an hour on the clock, from the newest weeks, shrunk to the club's."""
    sums = np.zeros((len(index), 3))
    newest = past[past["day"] > as_of - pd.Timedelta(weeks=NEWEST_WEEKS)] if not past.empty else past
    if not newest.empty:
        who = newest["player_id"].map(index).to_numpy(dtype=float)
        keep = ~np.isnan(who)
        for c, column in enumerate(("abrasion_hours", "playability_hours", "hours")):
            np.add.at(sums[:, c], who[keep].astype(int), newest[column].to_numpy()[keep])
    total = sums.sum(axis=0)
    club = total[:2] / total[2] if total[2] > 0 else np.ones(2)
    return np.asarray((sums[:, :2] + 3.0 * club) / (sums[:, 2:] + 3.0))


def weekly_play(play: ComingPlay, players: tuple[str, ...], n_weeks: int) -> dict[str, np.ndarray]:
    """abrasion, playability, hours: (players + 1, weeks) expected hours; the last row is nobody's."""
    rows = {p: i for i, p in enumerate(play.players)}
    take = np.array([rows.get(p, -1) for p in players] + [-1], dtype=np.int64)
    out = {}
    for kind in ("abrasion", "playability", "hours"):
        daily = np.vstack([getattr(play, kind), np.zeros((1, play.hours.shape[1]))])[take, : n_weeks * 7]
        out[kind] = daily.reshape(len(take), n_weeks, 7).sum(axis=2)
    return out
