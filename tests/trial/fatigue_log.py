"""What the fatigue club writes of its play: every session in, rows of matches.csv and practices.csv out.

Some sessions are forgotten; most practices are noted without a racket, many as one sheet for the whole squad.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.trial.csv_folder import Row

if TYPE_CHECKING:
    from tests.trial.club_fatigue import FatigueClub


def write_down(club: FatigueClub, share_without_racket: float, share_unlogged: float) -> tuple[list[Row], list[Row]]:
    """Matches and practices as the club's people noted them: some sessions never, most practices without a racket."""
    rng = club.rng
    matches: list[Row] = []
    practices: list[Row] = []
    sheets = {row["sheet"] for row in club.played if "sheet" in row}
    on_sheet_only = {s for s in sorted(sheets) if rng.random() < share_without_racket * 0.6}
    # whether a session is noted without rackets is drawn so that the share of player-sessions comes out as asked
    other = share_without_racket * 0.4 / (1 - share_without_racket * 0.6)
    present: dict[str, dict[str, Any]] = {}
    count_rows = Counter(row.get("match") for row in club.played)
    for row in club.played:
        player, day = row["player"], row["played_on"]
        if rng.random() < share_unlogged and row.get("sheet") not in on_sheet_only:
            continue
        if "match" in row:
            sets = max(2, min(3, round(row["minutes"] / 40)))
            is_timed = rng.random() < 0.6 or row["minutes"] < 45 or count_rows[row["match"]] > 1
            matches.append(
                {
                    "match_id": row["match"],
                    "player_id": player.player_id,
                    "racket_id": row["racket_id"],
                    "played_on": day,
                    "format": row["activity"],
                    "minutes": row["minutes"] if is_timed else None,
                    "score": None if is_timed else _score(rng, row["minutes"], sets),
                    "surface": row["surface"],
                    "event": row.get("event"),
                }
            )
            continue
        sheet = row.get("sheet")
        if sheet is not None and sheet in on_sheet_only:
            seen = present.setdefault(sheet, row | {"ids": set(), "longest": 0})
            seen["ids"].add(player.player_id)
            seen["longest"] = max(seen["longest"], row["minutes"])
            continue
        share = other if sheet else share_without_racket
        practices.append(
            {
                "practice_id": club.new_id("P"),
                "player_id": player.player_id,
                "played_on": day,
                "racket_id": None if rng.random() < share else row["racket_id"],
                "activity": row["activity"],
                "minutes": row["minutes"],
                "intensity": row["intensity"],
                "surface": row["surface"],
            }
        )
    for seen in present.values():
        if rng.random() < share_unlogged:
            continue
        day = seen["played_on"]
        members = [
            p.player_id
            for p in club.players
            if p.squad == seen["squad"] and p.joined_on <= day and not (p.left_on and p.left_on <= day)
        ]
        practices.append(
            {
                "practice_id": club.new_id("P"),
                "squad": seen["squad"],
                "played_on": day,
                "activity": seen["activity"],
                "minutes": seen["longest"],
                "intensity": seen["intensity"],
                "surface": seen["surface"],
                "absent": " ".join(i for i in members if i not in seen["ids"]) or None,
            }
        )
    return matches, practices


def _score(rng: np.random.Generator, minutes: float, sets: int) -> str:
    """A score of about as many games as the minutes allow, at some four and a half minutes a game."""
    games = minutes / 4.4 / sets
    lost = [int(np.clip(round(games - 6 + rng.normal(0, 0.6)), 0, 4)) for _ in range(sets)]
    return " ".join(f"6-{n}" if i != 1 or sets == 2 else f"{n}-6" for i, n in enumerate(lost))
