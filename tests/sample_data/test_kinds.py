"""Each kind of club differs from the usual academy in what it says, and in every kind the files add up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from sample_data.make_academy import KINDS

ReadCsv = Callable[..., pd.DataFrame]
Club = Callable[..., Path]
Truth = Callable[[Path], Path]


def reasons(read: ReadCsv, folder: Path) -> pd.Series:
    table = read(folder, "restrings")
    return table.loc[table["reason"] != "first", "reason"].replace("", "unknown").value_counts(normalize=True)


def share_without_racket(practices: pd.DataFrame) -> float:
    return float((practices["racket_id"] == "").mean())


def test_clean_log_has_no_holes(club: Club, read: ReadCsv) -> None:
    folder = club("clean")
    assert share_without_racket(read(folder, "practices")) == 0
    assert "unknown" not in reasons(read, folder)
    assert (read(folder, "matches")["minutes"] != "").all()
    assert (read(folder, "practices")["squad"] == "").all()


def test_messy_log_has_the_holes_it_says(club: Club, read: ReadCsv) -> None:
    messy, clean = club("messy"), club("clean")
    practices, matches = read(messy, "practices"), read(messy, "matches")
    # 15 % of all sessions; a practice on two rackets is two rows where rackets are noted
    without = (practices["racket_id"] == "").sum() / (len(practices) + matches["match_id"].nunique())
    assert 0.11 <= without <= 0.19
    assert 0.17 <= reasons(read, messy)["unknown"] <= 0.33
    count_all = len(read(clean, "practices")) + len(read(clean, "matches"))
    assert 0.74 <= (len(practices) + len(matches)) / count_all <= 0.86


def test_no_racket_leaves_a_racket_in_one_session_in_ten(club: Club, read: ReadCsv, truth: Truth) -> None:
    folder = club("no_racket")
    practices, matches = read(folder, "practices"), read(folder, "matches")
    with_racket = (practices["racket_id"] != "").sum() + len(matches)
    all_sessions = len(read(club("clean"), "practices")) + len(read(club("clean"), "matches"))
    assert 0.06 <= with_racket / all_sessions <= 0.14


def test_academy_has_the_usual_holes(club: Club, read: ReadCsv) -> None:
    practices = read(club("academy"), "practices")
    squad_rows = practices[practices["squad"] != ""]
    assert len(squad_rows) > 0
    assert (squad_rows["absent"] != "").any()
    assert 0.3 <= share_without_racket(practices) < 1
    assert 0 < reasons(read, club("academy"))["unknown"] < 0.2


def test_nobody_complains(club: Club, read: ReadCsv, truth: Truth) -> None:
    folder = club("nobody_complains")
    assert "lost_feel" not in reasons(read, folder)
    assert "lost_feel" not in set(read(truth(folder), "endings")["true_cause"])
    assert "lost_feel" in set(read(truth(club("academy")), "endings")["true_cause"])


def test_a_quarter_of_the_reasons_blank(club: Club, read: ReadCsv) -> None:
    assert 0.17 <= reasons(read, club("blank_reasons"))["unknown"] <= 0.33


def test_a_fifth_of_the_sessions_unlogged(club: Club, read: ReadCsv) -> None:
    def count_logged(kind: str) -> int:
        return len(read(club(kind), "practices")) + len(read(club(kind), "matches"))

    assert 0.74 <= count_logged("unlogged") / count_logged("academy") <= 0.88


def test_restrings_only(club: Club) -> None:
    names = {path.stem for path in club("restrings_only").glob("*.csv")}
    assert names == {"players", "rackets", "strings", "restrings"}


def test_hardly_break(club: Club, read: ReadCsv, truth: Truth) -> None:
    def share_breaks(kind: str) -> float:
        return float((read(truth(club(kind)), "endings")["true_cause"] == "breaks").mean())

    assert share_breaks("hardly_break") < 0.05 < share_breaks("academy")


def test_scheduled_restrings_follow_wear(club: Club, read: ReadCsv, truth: Truth) -> None:
    def used_when_scheduled(kind: str) -> float:
        """How far gone a bed was, by the truth, at the last week's end before it was taken out on schedule."""
        folder = truth(club(kind))
        endings, states = read(folder, "endings"), read(folder, "state")
        taken = endings[endings["true_cause"] == "scheduled"]
        last = states.groupby(["racket_id", "strung_on"]).last().reset_index()
        seen = taken.merge(last, on=["racket_id", "strung_on"])
        used = seen[["break_used", "feel_used"]].replace("", "0").astype(float).max(axis=1)
        assert len(used) > 5
        return float(used.mean())

    assert used_when_scheduled("scheduled_by_wear") > used_when_scheduled("academy") + 0.1


def test_new_club_has_three_weeks(club: Club, read: ReadCsv) -> None:
    played = pd.to_datetime(read(club("new_club"), "practices")["played_on"], format="mixed")
    assert (played.max() - played.min()).days <= 21


def test_how_the_log_is_kept_changes_nothing_that_happened(club: Club, truth: Truth) -> None:
    usual = (truth(club("academy")) / "endings.csv").read_bytes()
    for kind in ("messy", "no_racket", "blank_reasons", "unlogged", "restrings_only"):
        assert (truth(club(kind)) / "endings.csv").read_bytes() == usual


def test_pounds(club: Club, read: ReadCsv) -> None:
    pounds = read(club("academy", "--units", "lb"), "restrings")
    kilograms = read(club("academy"), "restrings")
    assert "mains_kg" not in pounds.columns
    known = pounds["mains_lb"] != ""
    ratio = pounds.loc[known, "mains_lb"].astype(float) / kilograms.loc[known, "mains_kg"].astype(float)
    assert ratio.between(2.18, 2.23).all()  # 28 kgf = 61.7 lbf (exact definitions), to the half pound


def test_only_required_leaves_out_files_and_columns(club: Club, read: ReadCsv) -> None:
    folder = club("academy", "--only-required")
    names = {path.stem for path in folder.glob("*.csv")}
    assert names == {"players", "rackets", "strings", "restrings", "matches", "practices"}
    assert "stringer" not in read(folder, "restrings").columns


def test_looks_as_often_as_asked(club: Club, read: ReadCsv) -> None:
    folder = club("academy", "--inspect-every", "14")
    rackets = read(folder, "rackets")
    count_match = (rackets["role"] == "match").sum()
    looks = read(folder, "inspections")
    by_hand = looks[~looks["inspected_on"].str.contains("T")]  # with a time: the pitch noted when strung
    assert 0.6 <= len(by_hand) / (count_match * 150 / 14) <= 1.1


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_files_add_up(kind: str, club: Club, read: ReadCsv) -> None:
    """Keys are unique, ids are known, nothing is recorded after the cut or before a racket was there."""
    folder = club(kind)
    rackets = read(folder, "rackets").set_index("racket_id")
    players = read(folder, "players")
    restrings = read(folder, "restrings")
    assert rackets.index.is_unique
    assert not players.duplicated(["player_id", "since"]).any()
    assert restrings["restring_id"].is_unique
    assert set(restrings["racket_id"]) <= set(rackets.index)
    assert set(rackets["player_id"]) - {""} <= set(players["player_id"])
    since = restrings["racket_id"].map(rackets["in_service_on"])
    assert (restrings["strung_on"].str[:10] >= since).all()
    assert (restrings["strung_on"].str[:10] <= "2026-11-15").all()
    dated = restrings[restrings["ended_on"] != ""]
    assert (dated["ended_on"] <= dated["strung_on"].str[:10]).all()
    first = restrings.sort_values("strung_on").drop_duplicates("racket_id")
    assert (first["reason"] == "first").all()
    for name in ("matches", "practices"):
        if not (folder / f"{name}.csv").exists():
            continue
        table = read(folder, name)
        assert (table["played_on"].str[:10] <= "2026-11-15").all()
        assert set(table["racket_id"]) - {""} <= set(restrings["racket_id"])
        on_racket = table[table["racket_id"] != ""]
        retired = on_racket["racket_id"].map(rackets["retired_on"]).replace("", "9999")
        assert (on_racket["played_on"].str[:10] <= retired).all()


def test_a_racket_in_the_shop_is_not_played(club: Club, read: ReadCsv) -> None:
    folder = club("clean")
    jobs, restrings = read(folder, "jobs"), read(folder, "restrings").set_index("restring_id")
    play = pd.concat([read(folder, name)[["racket_id", "played_on"]] for name in ("matches", "practices")])
    days = play.groupby("racket_id")["played_on"].agg(lambda played: set(played.str[:10])).to_dict()
    checked = 0
    for job in jobs.itertuples():
        strung_on = restrings["strung_on"].get(job.restring_id, "9999")[:10]
        inside = {day for day in days.get(job.racket_id, set()) if job.handed_in_on < day < strung_on}
        assert not inside, f"{job.job_id} {job.racket_id} {inside}"
        checked += 1
    assert checked > 50
