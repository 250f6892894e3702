"""A club's year, week by week: breaks, corrections, rows taken back, retirements, holders changing, a racket lent, a
player who is named before being recorded. It ends reconciled to the row with the same year loaded at once.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from pipeline.contract import load_contract
from pipeline.store import Store

FIRST_DAY = date(2025, 1, 6)
WEEKS = 52
RESOURCES = load_contract().resources

Row = dict[str, str]


class ClubBook:
    """What a club has on paper: rows by file and key, changed week by week."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.rows: dict[str, dict[tuple[str, ...], Row]] = {name: {} for name in RESOURCES}
        self.changed: dict[str, dict[tuple[str, ...], Row]] = {}
        self.struck: list[tuple[str, tuple[str, ...]]] = []
        self.count_corrections = 0
        self.last_id = 0

    def new_id(self, letter: str) -> str:
        self.last_id += 1
        return f"{letter}{self.last_id:04d}"

    def put(self, name: str, row: Row) -> tuple[str, ...]:
        key = tuple(row.get(column, "") for column in RESOURCES[name].key)
        is_known = key in self.rows[name]
        # a change to a row not yet handed over is no correction
        self.count_corrections += is_known and key not in self.changed.get(name, {}) and self.rows[name][key] != row
        self.rows[name][key] = row
        self.changed.setdefault(name, {})[key] = row
        return key

    def strike(self, name: str, key: tuple[str, ...]) -> None:
        del self.rows[name][key]
        self.struck.append((name, key))

    def begin(self) -> None:
        for string, material in (("S1", "polyester"), ("S2", "multifilament")):
            self.put("strings", {"string_id": string, "string_name": string, "material": material, "gauge_mm": "1.25",
                                 "profile": "round", "reel_m": "200", "reel_price": "95"})  # fmt: skip
        for player in range(1, 7):
            self.put("players", {"player_id": f"P{player}", "player_name": f"Player {player}", "squad": "U16",
                                 "level": "club", "spin": "moderate"})  # fmt: skip
            for racket in (1, 2):
                self.new_racket(f"R{player}{racket}", f"P{player}", FIRST_DAY)

    def new_racket(self, racket: str, player: str, day: date) -> None:
        self.put("rackets", {"racket_id": racket, "player_id": player, "frame": "Frame A", "mains": "16",
                             "crosses": "19", "role": "match", "in_service_on": day.isoformat()})  # fmt: skip
        self.restring(racket, day, "first")

    def restring(self, racket: str, day: date, reason: str) -> None:
        self.put("restrings", {"restring_id": self.new_id("J"), "racket_id": racket, "strung_on": day.isoformat(),
                               "mains_string_id": self.random.choice(["S1", "S2"]), "mains_kg": "24",
                               "reason": reason})  # fmt: skip

    def in_service(self) -> list[str]:
        return [row["racket_id"] for row in self.rows["rackets"].values() if "retired_on" not in row]

    def week(self, number: int) -> None:
        start = FIRST_DAY + timedelta(weeks=number)
        pick = self.random
        for _ in range(6):
            racket = pick.choice(self.in_service())
            day = start + timedelta(days=pick.randrange(6))
            self.put("matches", {"match_id": self.new_id("M"), "player_id": f"P{racket[1]}", "racket_id": racket,
                                 "played_on": day.isoformat(), "format": "singles",
                                 "minutes": str(pick.randrange(30, 150))})  # fmt: skip
        for _ in range(pick.randrange(3)):
            self.restring(
                pick.choice(self.in_service()),
                start + timedelta(days=3),
                pick.choice(["broke", "lost_feel", "unknown"]),
            )
        if number % 3 == 0:  # the minutes of an old match were wrong
            key = pick.choice(list(self.rows["matches"]))
            self.put("matches", self.rows["matches"][key] | {"minutes": str(pick.randrange(151, 300))})
        if number % 5 == 2:  # a match that never was
            known = [key for key in self.rows["matches"] if key not in self.changed["matches"]]
            self.strike("matches", pick.choice(known))
        if number % 9 == 4:  # a racket retires, another comes
            racket = pick.choice([racket for racket in self.in_service() if racket.endswith("1")] or self.in_service())
            old = self.rows["rackets"][(racket,)]
            self.put("rackets", old | {"retired_on": (start + timedelta(days=6)).isoformat()})
            self.new_racket(f"R{racket[1]}{number:02d}", f"P{racket[1]}", start + timedelta(days=6))
        if number % 7 == 5:  # a racket changes hands, or is lent and comes back
            racket = pick.choice(self.in_service())
            self.put(
                "holders", {"racket_id": racket, "from_on": start.isoformat(), "player_id": f"P{pick.randrange(1, 7)}"}
            )
            self.put(
                "holders", {"racket_id": racket, "from_on": (start + timedelta(days=5)).isoformat(), "player_id": ""}
            )
        if number % 13 == 6:  # a player moves up a level
            player = f"P{pick.randrange(1, 7)}"
            self.put("players", self.rows["players"][(player, "")] | {"since": start.isoformat(), "level": "regional"})

    def hand_over(self, folder: Path, is_whole: bool) -> None:
        """Write the files of a week: what changed, or all there is; at whim with one separator or the other."""
        for name, rows in (self.rows if is_whole else self.changed).items():
            if rows:
                write_rows(folder, name, rows.values(), self.random.choice(",;"))
        self.changed = {}


def write_rows(folder: Path, name: str, rows: Iterable[Row], delimiter: str = ",") -> None:
    folder.mkdir(parents=True, exist_ok=True)
    names = [field.name for field in RESOURCES[name].fields]
    with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as text:
        writer = csv.DictWriter(text, names, restval="", delimiter=delimiter)
        writer.writeheader()
        writer.writerows(rows)


def _at(number: int) -> datetime:
    return datetime.combine(FIRST_DAY + timedelta(weeks=number, days=6), time(20), UTC)


def test_a_year_loaded_week_by_week_ends_as_the_year_loaded_at_once(store: Store, tmp_path: Path) -> None:
    book = ClubBook(seed=20260314)
    book.begin()
    count_new = count_corrected = 0
    for number in range(WEEKS):
        book.week(number)
        folder = tmp_path / f"week{number:02d}"
        is_whole = number % 10 == 9
        handed_before = set(book.rows["players"])
        book.hand_over(folder, is_whole)
        if number == 20:  # someone plays before being put on file
            book.put("matches", {"match_id": "M-early", "player_id": "P9", "racket_id": "R62",
                                 "played_on": _at(20).date().isoformat(),
                                 "format": "singles", "minutes": "60"})  # fmt: skip
            write_rows(folder, "matches", book.rows["matches"].values())
            book.changed = {}
        report = store.load(folder, now=_at(number))
        assert not report.refused
        assert report.total("rejected") == (1 if number == 20 else 0), store.rejects().to_string()
        count_new += report.total("new")
        count_corrected += report.total("corrected")
        if number == 20:
            book.put(
                "players", {"player_id": "P9", "player_name": "Late", "squad": "U16", "level": "club", "spin": "flat"}
            )
        if number == 21:
            assert report.count_mended == 1 and set(book.rows["players"]) >= handed_before
            count_new += 1
        for name, key in book.struck:
            store.strike(name, key, now=_at(number))
        book.struck, struck = [], book.struck
        count_new -= len(struck)
    with store.facts() as con:
        current = {name: con.execute(f"select count(*) from facts.{name}").fetchall()[0][0] for name in RESOURCES}
        history = con.execute("select count(*) from facts.history.matches where replaced_how = 'struck'").fetchall()[0][
            0
        ]
        corrected = sum(
            con.execute(f"select count(*) from facts.history.{name} where replaced_how = 'corrected'").fetchall()[0][0]
            for name in RESOURCES
        )
    assert current == {name: len(rows) for name, rows in book.rows.items()}
    assert sum(current.values()) == count_new
    assert corrected == count_corrected == book.count_corrections > 10
    assert history == len([week for week in range(WEEKS) if week % 5 == 2])
    assert len(store.rejects()) == 0 and len(store.rejects(with_mended=True)) == 1

    book.hand_over(tmp_path / "at once", is_whole=True)
    other = Store(tmp_path / "other")
    assert other.load(tmp_path / "at once", now=_at(WEEKS)).total("rejected") == 0
    store.export(tmp_path / "a")
    other.export(tmp_path / "b")
    for path in sorted((tmp_path / "a").iterdir()):
        assert (tmp_path / "b" / path.name).read_bytes() == path.read_bytes(), path.name
    assert store.load(tmp_path / "at once", now=_at(WEEKS)).total("unchanged") == sum(current.values())
