"""What the compartment club writes of its play: every session in, rows of matches.csv and practices.csv out.

Some sessions are forgotten; most practices are noted without a racket, many as one sheet for the whole squad.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.trial.club_compartment import CompartmentClub


def as_noted(
    club: CompartmentClub, share_without_racket: float, share_unlogged: float
) -> dict[str, list[dict[str, Any]]]:
    """The sessions as written down: sheets for whole squads where rackets were not asked, single rows else."""
    rng = club.rng
    sheets: dict[str, dict[str, Any]] = {}
    by_key: dict[tuple[str, str], dict[str, Any]] = {}
    noted: dict[str, list[dict[str, Any]]] = {"matches": [], "practices": []}
    for row in club.played:
        member, is_forgotten = row["member"], rng.random() < share_unlogged
        if "match" in row:
            if not is_forgotten:
                key = (row["match"], row["racket_id"])
                if same := by_key.get(key):  # the same racket again, later in the match: one row
                    same["minutes"] = same["minutes"] + row["minutes"] if row["is_timed"] else None
                    continue
                by_key[key] = {
                    "match_id": row["match"],
                    "player_id": member.player_id,
                    "racket_id": row["racket_id"],
                    "played_on": row["played_on"],
                    "format": row["activity"],
                    "score": row["score"],
                    "minutes": row["minutes"] if row["is_timed"] else None,
                    "surface": row["surface"],
                    "event": row["event"],
                }
            continue
        if "sheet" in row:
            if row["sheet"] not in sheets:
                sheets[row["sheet"]] = {
                    "is_sheet": rng.random() < share_without_racket**2,
                    "is_lost": is_forgotten,
                    "row": row,
                    "ids": set(),
                }
            sheet = sheets[row["sheet"]]
            if sheet["is_sheet"]:
                sheet["ids"].add(member.player_id)
                continue
        squeezed = share_without_racket / (1 + share_without_racket) if "sheet" in row else share_without_racket
        if not is_forgotten:
            noted["practices"].append(
                _practice(club, row, None if rng.random() < squeezed else row["racket_id"])
                | {"player_id": member.player_id}
            )
    for sheet in sheets.values():
        group = sheet["row"]["member"].group
        if sheet["is_sheet"] and not sheet["is_lost"]:
            day = sheet["row"]["played_on"].date()
            away = [
                m.player_id
                for m in club.members
                if m.group is group and m.is_here(day) and m.player_id not in sheet["ids"]
            ]
            noted["practices"].append(
                _practice(club, sheet["row"] | {"minutes": 90}, None)
                | {"squad": group.name, "absent": ";".join(away) or None}
            )
    noted["matches"] = list(by_key.values())
    return noted


def _practice(club: CompartmentClub, row: dict[str, Any], racket_id: str | None) -> dict[str, Any]:
    kept = {k: row[k] for k in ("played_on", "activity", "minutes", "intensity", "surface")}
    return kept | {"practice_id": club.book.number("CX"), "racket_id": racket_id}
