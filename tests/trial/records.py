"""A club's folder and truth in; what was recorded by an origin, and what then came true, out.

`Club` reads both folders once. Everything asked of it takes the origin (a date) and sees no event dated after it,
except `outcome` and `jobs_by_week`, which are the truth. Files of contract CSV as the generators write them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

DATE_COLUMNS = (
    "played_on",
    "strung_on",
    "handed_in_on",
    "state_on",
    "retired_on",
    "left_on",
    "from_on",
    "in_service_on",
    "since",
    "ended_on",
    "restrung_on",
)
POSITIVE_CAUSES = ("breaks", "mishit", "lost_feel")
MINUTES_A_GAME = 4.5


def read_table(path: Path) -> pd.DataFrame:
    """A CSV file as text, its dates as days (times of day are dropped); an empty frame if there is no such file."""
    if not path.exists():
        return pd.DataFrame()
    frame = pd.read_csv(path, dtype=str, encoding="utf-8-sig")
    for column in (c for c in frame.columns if c in DATE_COLUMNS):
        frame[column] = pd.to_datetime(frame[column].str[:10])
    return frame


def match_minutes(row: pd.Series) -> float:
    """Minutes of a match, by its games where only the score was noted."""
    if pd.notna(row.get("minutes")):
        return float(row["minutes"])
    games = [
        int(n)
        for n in str(row.get("score") or "").replace("(", "-").replace(")", "").replace(" ", "-").split("-")
        if n.isdigit()
    ]
    return MINUTES_A_GAME * sum(games)


@dataclass
class Club:
    """Both folders of one club, read."""

    name: str
    folder: Path
    tables: dict[str, pd.DataFrame]
    endings: pd.DataFrame
    play: pd.DataFrame  # player_id, racket_id or none, played_on, minutes: one row per player and session

    @property
    def last_day(self) -> date:
        return max(
            self.tables["restrings"]["strung_on"].max(),
            self.play["played_on"].max() if len(self.play) else pd.Timestamp.min,
        ).date()

    def origins(self, count: int, every_days: int = 14, weeks_ahead: int = 4) -> list[date]:
        """The last `count` origins whose `weeks_ahead` are known, in order of time."""
        last = self.last_day - timedelta(days=7 * weeks_ahead)
        return [last - timedelta(days=every_days * n) for n in reversed(range(count))]

    def holders(self, origin: date) -> pd.Series:
        """racket_id -> player_id on the origin's day, of rackets in service with a player who has not left."""
        day, rackets = pd.Timestamp(origin), self.tables["rackets"]
        retired = rackets["retired_on"] if "retired_on" in rackets else pd.Series(pd.NaT, index=rackets.index)
        now = rackets[(rackets["in_service_on"] <= day) & ~(retired <= day)].set_index("racket_id")["player_id"].copy()
        if len(moves := self.tables["holders"]):
            last = (
                moves[moves["from_on"] <= day]
                .sort_values("from_on")
                .groupby("racket_id")
                .tail(1)
                .set_index("racket_id")
            )
            now.update(last["player_id"])
            now[now.index.intersection(last.index[last["player_id"].isna()])] = None
        players = self.tables["players"]
        if "left_on" in players:
            gone = set(players.loc[players["left_on"] <= day, "player_id"])
            now = now[~now.isin(gone)]
        return now

    def beds(self, origin: date) -> pd.DataFrame:
        """Beds in play on the origin's evening: racket_id, strung_on, player_id. Those already over are left out."""
        day, e = pd.Timestamp(origin), self.endings
        is_in = (e["strung_on"] <= day) & ~(e["restrung_on"] <= day) & ~(e["ended_on"] <= day)
        beds = e.loc[is_in, ["racket_id", "strung_on"]].sort_values("strung_on").groupby("racket_id").tail(1)
        holders = self.holders(origin)
        beds = beds[beds["racket_id"].isin(holders.index)]
        return beds.assign(player_id=beds["racket_id"].map(holders)).reset_index(drop=True)

    def outcome(self, beds: pd.DataFrame, origin: date, days: int) -> pd.Series:
        """Truth: whether each bed broke, by play or mishit, or was given up for lost feel within `days` after."""
        day, e = pd.Timestamp(origin), self.endings
        ended = e[
            (e["ended_on"] > day)
            & (e["ended_on"] <= day + pd.Timedelta(days=days))
            & e["true_cause"].isin(POSITIVE_CAUSES)
        ]
        keys = set(zip(ended["racket_id"], ended["strung_on"], strict=True))
        return pd.Series(
            [key in keys for key in zip(beds["racket_id"], beds["strung_on"], strict=True)],
            index=beds.index,
            dtype=bool,
        )

    def jobs_by_week(self, origin: date, weeks: int) -> list[int]:
        """Truth: restrings of every cause in each of the weeks after the origin; negative weeks lie before it."""
        strung = self.endings["restrung_on"].dropna()
        spans = range(weeks) if weeks > 0 else range(weeks, 0)
        edges = [pd.Timestamp(origin) + pd.Timedelta(days=7 * w) for w in spans]
        return [int(((strung > edge) & (strung <= edge + pd.Timedelta(days=7))).sum()) for edge in edges]


def _single_players(practices: pd.DataFrame, players: pd.DataFrame) -> pd.DataFrame:
    """Practice rows by player: a squad's row becomes one row for each member who was not absent."""
    if "squad" not in practices:
        return practices
    sheets = practices[practices["squad"].notna()]
    if sheets.empty:
        return practices
    last_squad = players.groupby("player_id").tail(1)
    joined = players.groupby("player_id")["since"].min() if "since" in players else pd.Series(dtype="datetime64[ns]")
    left = last_squad.set_index("player_id")["left_on"] if "left_on" in players else pd.Series(dtype="datetime64[ns]")
    rows = sheets.merge(last_squad[["player_id", "squad"]], on="squad", suffixes=("_row", ""))
    absent = (
        rows["absent"].fillna("").str.split(r"[;|,\s]+", regex=True)
        if "absent" in rows
        else pd.Series([[]] * len(rows), index=rows.index)
    )
    here = [p not in a for p, a in zip(rows["player_id"], absent, strict=True)]
    rows = rows[
        pd.Series(here, index=rows.index)
        & ~(rows["player_id"].map(joined) > rows["played_on"])
        & ~(rows["player_id"].map(left) <= rows["played_on"])
    ]
    return pd.concat([practices[practices["squad"].isna()], rows], ignore_index=True)


def read_club(folder: Path) -> Club:
    """Read a club's files and the truth beside them (`<name>-truth/`, with the full span's files if it has any)."""
    truth = folder.with_name(folder.name + "-truth")
    files = truth / "full" if (truth / "full").is_dir() else folder
    tables = {
        name: read_table(files / f"{name}.csv")
        for name in ("players", "rackets", "restrings", "holders", "matches", "practices", "jobs")
    }
    parts = []
    if len(matches := tables["matches"]):
        rackets = matches.groupby(["match_id", "player_id"])["racket_id"].transform("size")
        is_timed = matches.reindex(columns=["minutes"])["minutes"].notna()
        minutes = matches.apply(match_minutes, axis=1) / rackets.mask(is_timed, 1)
        parts.append(matches.assign(minutes=minutes)[["player_id", "racket_id", "played_on", "minutes"]])
    if len(practices := tables["practices"]):
        single = _single_players(practices, tables["players"])
        parts.append(
            single.assign(minutes=single["minutes"].astype(float)).reindex(
                columns=["player_id", "racket_id", "played_on", "minutes"]
            )
        )
    empty = pd.DataFrame({"player_id": [], "racket_id": [], "played_on": pd.to_datetime([]), "minutes": []})
    play = pd.concat(parts, ignore_index=True) if parts else empty
    return Club(folder.name, files, tables, read_table(truth / "endings.csv"), play)
