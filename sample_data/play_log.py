"""Matches and practices as the club logged them: some unlogged, most practices without a racket, squads in one row.

In: the season, the squad sessions, the club's habits, a generator. Out: `(file, day, row)` in the order of play.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from sample_data.rows import Habits, Row, iso
from sample_data.season import Play, Season
from sample_data.sessions import Group, Timetable


class PlayLog:
    """Collects the rows; `rows` holds what was written."""

    def __init__(self, timetable: Timetable, season: Season, habits: Habits, rng: np.random.Generator):
        self.timetable, self.season, self.habits, self.rng = timetable, season, habits, rng
        self.rows: list[tuple[str, int, Row]] = []

    def add(self, file: str, day: int, row: Row) -> None:
        self.rows.append((file, day, row))

    def write(self) -> None:
        by_session: dict[int, list[Play]] = defaultdict(list)
        for play in self.season.plays:
            by_session[id(play.session)].append(play)
        sessions = list(by_session.values())
        share, share_of_matches = self.shares_without_racket(sessions)
        groups = {group.group: group for group in self.timetable.groups}
        done: set[str] = set()
        counts = {"matches": 0, "practices": 0}
        for plays in sessions:
            session = plays[0].session
            if session.is_match and self.rng.random() >= share_of_matches:
                counts["matches"] += 1
                self.write_match(plays, f"M{counts['matches']:05d}")
            elif session.group and self.habits.is_squad_rows:
                if session.group not in done:
                    done.add(session.group)
                    counts["practices"] += 1
                    self.write_group(groups[session.group], f"A{counts['practices']:05d}")
            elif self.rng.random() >= self.habits.share_unlogged:
                is_with_racket = not session.is_match and self.rng.random() >= share
                for part in plays if is_with_racket else [plays]:
                    counts["practices"] += 1
                    self.write_practice(part, f"A{counts['practices']:05d}")

    def shares_without_racket(self, sessions: list[list[Play]]) -> tuple[float, float]:
        """Of practices logged by player, the share without a racket; of matches, the share logged as sparring."""
        heads = [plays[0].session for plays in sessions]
        count_matches = sum(head.is_match for head in heads)
        count_practices = max(1, len(heads) - count_matches)
        count_grouped = sum(bool(head.group) for head in heads) if self.habits.is_squad_rows else 0
        share, share_of_matches = self.habits.share_without_racket, 0.0
        if self.habits.is_share_of_all_sessions:
            wanted = share * len(heads)
            share = min(0.97, wanted / count_practices)
            share_of_matches = max(0.0, wanted - share * count_practices) / max(1, count_matches)
        share_alone = (share * count_practices - count_grouped) / max(1, count_practices - count_grouped)
        return max(0.0, share_alone), share_of_matches

    def minutes(self, minutes: float) -> int:
        return max(5, int(round(minutes / 5) * 5))

    def write_match(self, plays: list[Play], match_id: str) -> None:
        if self.rng.random() < self.habits.share_unlogged:
            return
        session = plays[0].session
        kind = self.rng.random()
        is_score_only = kind < self.habits.share_score_only
        for play in plays:
            self.add(
                "matches",
                session.day,
                {
                    "match_id": match_id,
                    "player_id": session.player_id,
                    "racket_id": play.racket_id,
                    "played_on": iso(session.day),
                    "format": session.activity,
                    "score": session.score if kind < 0.8 else "",
                    "minutes": "" if is_score_only else self.minutes(play.minutes),
                    "surface": session.surface if self.rng.random() < 0.9 else "",
                    "event": session.event,
                },
            )

    def write_group(self, group: Group, practice_id: str) -> None:
        if self.rng.random() < self.habits.share_unlogged:
            return
        away = sorted(set(group.absent) | self.season.missed.get(group.group, set()))
        told = [player_id for player_id in away if self.rng.random() >= self.habits.share_absence_forgotten]
        self.add(
            "practices",
            group.day,
            {
                "practice_id": practice_id,
                "player_id": "",
                "squad": group.squad,
                "played_on": iso(group.day, group.clock),
                "racket_id": "",
                "activity": group.activity,
                "minutes": group.minutes,
                "intensity": group.intensity if self.rng.random() < 0.8 else "",
                "surface": group.surface,
                "balls_hit": "",
                "absent": " ".join(told),
                "players_on_court": min(group.count_present, 60) if self.rng.random() < 0.5 else "",
            },
        )

    def write_practice(self, part: Play | list[Play], practice_id: str) -> None:
        session = part.session if isinstance(part, Play) else part[0].session
        minutes = part.minutes if isinstance(part, Play) else sum(play.minutes for play in part)
        hits = part.hits if isinstance(part, Play) else sum(play.hits for play in part)
        is_counted = session.activity == "ball_machine" and self.rng.random() < 0.5
        self.add(
            "practices",
            session.day,
            {
                "practice_id": practice_id,
                "player_id": session.player_id,
                "squad": "",
                "played_on": iso(session.day),
                "racket_id": part.racket_id if isinstance(part, Play) else "",
                "activity": "sparring" if session.is_match else session.activity,
                "minutes": self.minutes(minutes),
                "intensity": session.intensity if self.rng.random() < 0.6 else "",
                "surface": session.surface if self.rng.random() < 0.7 else "",
                "balls_hit": max(10, round(hits / 10) * 10) if is_counted else "",
                "absent": "",
                "players_on_court": "",
            },
        )
