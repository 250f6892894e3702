"""Who plays what on which day, before anybody knows which racket breaks: terms, holidays, matches, injuries.

In: a random generator, the roster, first and last day. Out: `Timetable`: sessions by day, and the plans the club wrote
into its calendar. Days are ordinals, minutes whole numbers.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import numpy as np

from sample_data.events import add_match, plan_events, plan_own_events, play_event
from sample_data.roster import SQUADS, Player, Roster
from sample_data.school_year import season, surface
from sample_data.sessions import Group, Plan, Session, Timetable

GROUP_DAYS = {
    "Rowan": {0: ("16:00", 120), 1: ("16:00", 120), 3: ("16:00", 120), 4: ("16:00", 90)},
    "Cedar": {0: ("18:00", 105), 2: ("16:00", 105), 4: ("17:30", 105)},
    "Birch": {1: ("18:00", 90), 3: ("18:00", 90)},
    "Alder": {2: ("15:00", 75), 5: ("10:00", 75)},
}
LADDER_A_WEEK = {"Rowan": 0.45, "Cedar": 0.40, "Birch": 0.25, "Alder": 0.08}
INTENSITIES = ("light", "normal", "hard")


def make_injuries(rng: np.random.Generator, players: list[Player], first: int, last: int) -> dict[str, set[int]]:
    """Days out, by player: about one spell a player and year, one to eight weeks."""
    out: dict[str, set[int]] = {player.player_id: set() for player in players}
    for player in players:
        for _ in range(int(rng.poisson(0.9 * (last - first) / 365))):
            start = int(rng.integers(first, last + 1))
            out[player.player_id].update(range(start, start + int(rng.integers(7, 50))))
    return out


def group_sessions(
    out: Timetable,
    rng: np.random.Generator,
    players: list[Player],
    day: int,
    taken: dict[str, set[int]],
    injured: dict[str, set[int]],
) -> None:
    """Squad training of one day: term days by the week's plan, five days in a camp week."""
    part, weekday = season(day), date.fromordinal(day).weekday()
    for squad in SQUADS:
        if part == "term":
            slot = GROUP_DAYS[squad].get(weekday)
        elif part == "camp" and weekday < 5 and squad != "Alder":
            slot = ("10:00", 150 if squad != "Birch" else 120)
        else:
            slot = None
        members = [player for player in players if player.is_here(day) and player.stage(day).squad == squad]
        if slot is None or not members:
            continue
        clock, minutes = slot
        activity = str(rng.choice(("drills", "rally", "sparring"), p=(0.5, 0.2, 0.3)))
        is_cancelled = bool(rng.random() < 0.015)
        out.plans.append(
            Plan(
                day,
                clock,
                squad,
                "",
                "drills",
                "squad training" if part == "term" else "camp",
                None,
                minutes,
                "home",
                None,
                is_cancelled,
            )
        )
        intensity = str(rng.choice(INTENSITIES, p=(0.2, 0.6, 0.2)))
        court = surface(day, rng)
        if is_cancelled:
            continue
        group = f"{squad}-{day}"
        away = 0.30 if part == "camp" else 0.0
        present = []
        for player in members:
            is_out = day in injured[player.player_id] or day in taken[player.player_id]
            if not is_out and rng.random() < player.attendance - away:
                present.append(player)
        absent = [player.player_id for player in members if player not in present]
        for player in present:
            stays = minutes * (float(rng.uniform(0.5, 0.95)) if rng.random() < 0.08 else float(rng.normal(1.0, 0.04)))
            out.sessions[day].append(
                Session(day, clock, player.player_id, activity, stays, intensity, court, "", group)
            )
        if present:
            out.groups.append(
                Group(group, day, clock, squad, activity, minutes, intensity, court, absent, len(present))
            )


def own_sessions(
    out: Timetable,
    rng: np.random.Generator,
    player: Player,
    week_start: int,
    load: float,
    taken: set[int],
    injured: set[int],
) -> None:
    """A player's further sessions of one week, to make up the hours they usually play."""
    squad = player.stage(week_start).squad
    part = season(week_start + 2)
    group_hours = sum(minutes for _, minutes in GROUP_DAYS[squad].values()) / 60 * player.attendance
    wanted = max(0.4, player.hours_week - group_hours - 1.0)
    if part == "closed":
        wanted = 0.3
    elif part != "term":
        wanted = wanted + 0.35 * group_hours if part == "holiday" else 0.6 * wanted
        if rng.random() < 0.25:
            wanted = 0.0
    for _ in range(int(rng.poisson(LADDER_A_WEEK[squad] * load)) if part == "term" else 0):
        day = week_start + int(rng.integers(7))
        if day not in taken and day not in injured and player.is_here(day) and day not in out.closed:
            add_match(
                out.sessions, rng, player, day, "Club ladder" if rng.random() < 0.7 else "", False, surface(day, rng)
            )
    for _ in range(int(rng.poisson(wanted * load / 1.15))):
        day = week_start + int(rng.choice(7, p=(0.13, 0.13, 0.17, 0.13, 0.12, 0.20, 0.12)))
        if day in taken or day in injured or not player.is_here(day) or day in out.closed:
            continue
        activity = str(
            rng.choice(("drills", "rally", "sparring", "serve", "ball_machine"), p=(0.25, 0.25, 0.25, 0.12, 0.13))
        )
        low, high = {"serve": (30, 50), "ball_machine": (30, 60)}.get(activity, (45, 120))
        clock = f"{int(rng.integers(9, 20)):02d}:{int(rng.choice((0, 15, 30, 45))):02d}"
        intensity = str(rng.choice(INTENSITIES, p=(0.25, 0.55, 0.20)))
        out.sessions[day].append(
            Session(day, clock, player.player_id, activity, float(rng.uniform(low, high)), intensity, surface(day, rng))
        )


def make_timetable(rng: np.random.Generator, roster: Roster, first: int, last: int) -> Timetable:
    players = list(roster.players.values())
    plans = plan_events(rng, first, last) + plan_own_events(rng, players, first, last)
    out = Timetable(defaultdict(list), [], sorted(plans, key=lambda plan: plan.day), set())
    out.closed = {day for day in range(first, last + 1) if season(day) == "closed"}
    injured = make_injuries(rng, players, first, last)
    taken: dict[str, set[int]] = {player.player_id: set() for player in players}
    for plan in out.plans:
        play_event(out.sessions, rng, plan, players, taken, injured)
    for day in sorted(out.closed):
        out.plans += [Plan(day, "", squad, "", "closed", "winter closing", None, 0, "home", None) for squad in SQUADS]
    for day in range(first, last + 1):
        group_sessions(out, rng, players, day, taken, injured)
    for player in players:
        drift = 0.0
        for week_start in range(first - date.fromordinal(first).weekday(), last + 1, 7):
            drift = 0.7 * drift + float(rng.normal(0, 0.15))
            own_sessions(
                out, rng, player, week_start, float(np.exp(drift)), taken[player.player_id], injured[player.player_id]
            )
    for day in out.sessions:
        out.sessions[day].sort(key=lambda session: (session.clock, session.player_id))
    return out
