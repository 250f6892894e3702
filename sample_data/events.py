"""Matches: league weekends, tournaments, a player's own tournaments, and what was played at them.

In: a random generator, the players, first and last day. Out: `Plan` rows for the calendar, `Session` rows for
the matches. Days are ordinals.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import numpy as np

from sample_data.roster import SQUADS, Player
from sample_data.school_year import month_day, season, surface
from sample_data.sessions import Plan, Session

TOWNS = ["Ellmere", "Torvale", "Harrowick", "Pellin", "Ostreby", "Quenfield", "Vaskerton", "Dunmarrow"]
MINUTES_A_GAME = 4.3


def play_score(rng: np.random.Generator, is_doubles: bool) -> tuple[str, int]:
    """A best-of-three score from the player's side, and the games played."""
    strength = float(rng.normal(0.5, 0.09))
    sets: list[str] = []
    won, games = [0, 0], 0
    while max(won) < 2:
        if is_doubles and won == [1, 1]:
            loser = int(rng.choice((4, 5, 6, 7, 8)))
            pair = (10, loser) if rng.random() < strength else (loser, 10)
            sets.append(f"{pair[0]}-{pair[1]}")
            return " ".join(sets), games + 2
        own = other = 0
        while not (max(own, other) >= 6 and abs(own - other) >= 2) and max(own, other) < 7:
            if rng.random() < strength:
                own += 1
            else:
                other += 1
        text = f"{own}-{other}"
        if {own, other} == {6, 7}:
            text += f"({int(rng.choice((1, 2, 3, 4, 5)))})"
        sets.append(text)
        games += own + other
        won[0 if own > other else 1] += 1
    return " ".join(sets), games


def add_match(
    out: dict[int, list[Session]],
    rng: np.random.Generator,
    player: Player,
    day: int,
    event: str,
    is_doubles: bool,
    court: str,
) -> None:
    score, games = play_score(rng, is_doubles)
    minutes = games * MINUTES_A_GAME * float(np.exp(rng.normal(0, 0.12)))
    clock = f"{int(rng.integers(9, 17)):02d}:{int(rng.choice((0, 30))):02d}"
    activity = "doubles" if is_doubles else "singles"
    out[day].append(
        Session(
            day,
            clock,
            player.player_id,
            activity,
            minutes,
            "hard" if rng.random() < 0.3 else "normal",
            court,
            event,
            "",
            score,
            True,
        )
    )


def plan_events(rng: np.random.Generator, first: int, last: int) -> list[Plan]:
    """League weekends and tournaments, by squad."""
    plans: list[Plan] = []
    rounds: dict[str, int] = defaultdict(int)
    squad_offset = {squad: index % 2 for index, squad in enumerate(SQUADS)}
    next_tournament = {squad: first + 20 + int(rng.integers(0, 25)) for squad in SQUADS[:3]}
    for day in range(first, last + 1):
        weekday, when = date.fromordinal(day).weekday(), month_day(day)
        if season(day) == "closed":
            continue
        in_league = (4, 25) <= when <= (7, 12) or (10, 3) <= when <= (12, 13) or (1, 15) <= when <= (3, 22)
        week = day // 7
        for squad in SQUADS[:3]:
            every = 2 if squad != "Birch" else 3
            if (
                weekday == (5 if squad_offset[squad] else 6)
                and in_league
                and season(day) == "term"
                and week % every == squad_offset[squad]
            ):
                name = (
                    "Spring league"
                    if when[0] in (4, 5, 6, 7)
                    else ("Autumn league" if when[0] >= 10 else "Winter league")
                )
                rounds[f"{squad}{name}{date.fromordinal(day).year}"] += 1
                number = rounds[f"{squad}{name}{date.fromordinal(day).year}"]
                place = "home" if number % 2 else "away"
                plans.append(
                    Plan(
                        day,
                        "",
                        squad,
                        "",
                        "singles",
                        f"{name} round {number}",
                        None,
                        100,
                        place,
                        2 if squad == "Rowan" else 1,
                    )
                )
            if squad in next_tournament and day >= next_tournament[squad] and weekday == 4:
                town = TOWNS[int(rng.integers(len(TOWNS)))]
                plans.append(
                    Plan(
                        day,
                        "",
                        squad,
                        "",
                        "singles",
                        f"{town} Open",
                        day + 2,
                        120,
                        "away",
                        2 if squad != "Birch" else 1,
                    )
                )
                next_tournament[squad] = day + (
                    int(rng.integers(20, 40)) if squad != "Birch" else int(rng.integers(55, 90))
                )
        if weekday == 6 and when[1] <= 7 and season(day) == "term":
            plans.append(Plan(day, "", "Alder", "", "doubles", "Sunday fun day", None, 60, "home", None))
    return plans


def plan_own_events(rng: np.random.Generator, players: list[Player], first: int, last: int) -> list[Plan]:
    """Tournaments that better players enter on their own, on weekends."""
    plans: list[Plan] = []
    for player in players:
        day = first + int(rng.integers(15, 90))
        while day <= last:
            day += (4 - date.fromordinal(day).weekday()) % 7
            is_good = player.stage(day).level in ("regional", "national")
            if is_good and player.is_here(day) and season(day) != "closed" and day + 2 <= last:
                name = f"{TOWNS[int(rng.integers(len(TOWNS)))]} Junior Open"
                plans.append(Plan(day, "", "", player.player_id, "singles", name, day + 2, 120, "away", 2))
            day += int(rng.integers(60, 120))
    return plans


def is_for(plan: Plan, player: Player) -> bool:
    """Whether the plan is this player's: by name, or by the squad they are in that day."""
    return plan.player_id == player.player_id or (not plan.player_id and player.stage(plan.day).squad == plan.squad)


def play_event(
    out: dict[int, list[Session]],
    rng: np.random.Generator,
    plan: Plan,
    players: list[Player],
    taken: dict[str, set[int]],
    injured: dict[str, set[int]],
) -> None:
    for player in players:
        is_out = plan.day in injured[player.player_id] or plan.day in taken[player.player_id]
        if not player.is_here(plan.day) or is_out or not is_for(plan, player):
            continue
        if rng.random() > (0.9 if plan.player_id else 0.72):
            continue
        court = surface(plan.day, rng)
        if plan.until is None:
            taken[player.player_id].add(plan.day)
            if plan.activity == "singles":
                add_match(out, rng, player, plan.day, plan.event, False, court)
            if rng.random() < (0.45 if plan.activity == "singles" else 0.9):
                add_match(out, rng, player, plan.day, plan.event, True, court)
            continue
        for day in range(plan.day, plan.until + 1):
            taken[player.player_id].add(day)
            add_match(out, rng, player, day, plan.event, False, court)
            if rng.random() < 0.30:
                add_match(out, rng, player, day, plan.event, True, court)
            if rng.random() < 0.42:
                break
