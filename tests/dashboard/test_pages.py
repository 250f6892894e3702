"""Every page through the router, on a view whose numbers are known: full, empty, stale and broken."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from streamlit.testing.v1 import AppTest

from pipeline.store import Store
from pipeline.store.publishing import view_path
from tests.dashboard import small_view

Opened = Callable[..., AppTest]


def title(app: AppTest) -> str:
    """The page's title with ordinary spaces."""
    return app.title[0].value.replace("\u00a0", " ")


def written(app: AppTest) -> str:
    """Everything the page says, as the Markdown it hands to Streamlit."""
    assert not app.exception, app.exception
    kinds = (app.title, app.header, app.markdown, app.caption, app.info, app.warning, app.error, app.success)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\u00a0", " ")


def said(app: AppTest) -> str:
    """The same as a reader sees it, without the marks that keep a name from being read as Markdown."""
    return re.sub(r"\\([^\w\s])", r"\1", written(app))


def test_this_week_opens_with_the_answer(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    assert title(app) == "3 rackets to hand in by Sun 22 Nov; 1 player is not likely to be match-ready for Sat 21 Nov"
    words = said(app)
    assert "1 is broken, 1 is likely to break and 1 is likely to be handed in as dead." in words
    assert "Sun 15 Nov 2026 · Holm Ridge Academy · 7 rackets" in words


def test_this_week_lists_what_is_to_be_handed_in(small_store: Store, open_page: Opened) -> None:
    table = open_page(small_store).dataframe[0].value
    assert list(table["racket_id"]) == ["A-1", "A-2", "B-1"]
    assert list(table["towards_breaking"]) == [110, 80, 30]
    assert list(table["towards_dead"]) == [50, 40, 120]
    assert list(table["call"]) == ["✕ broken", "◆ likely to break", "● likely to go dead"]
    assert table["why"][1] == "Why of A-2."


def test_numbers_in_the_table_stay_numbers(small_store: Store, open_page: Opened) -> None:
    table = open_page(small_store).dataframe[0].value
    for column in ("towards_breaking", "towards_dead", "days_left", "chance_14_days"):
        assert table[column].dtype.kind in "if", column
    assert table["due_on"].dtype.kind == "M"


def test_all_rackets_are_listed_on_request(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    app.segmented_control[0].set_value("All rackets").run()
    assert list(app.dataframe[0].value["racket_id"]) == ["A-1", "A-2", "B-1", "B-2", "C-1"]


def test_racket_at_the_bench_and_racket_without_restring_get_a_note(small_store: Store, open_page: Opened) -> None:
    words = said(open_page(small_store))
    assert "At the bench already: E-1 (Eve Lund)." in words
    assert "1 racket has no restring on file and cannot be ranked: D-1. Write its last restring down" in words


def test_the_weeks_work_is_set_beside_the_list(small_store: Store, open_page: Opened) -> None:
    assert "the bench is likely to see about 18 in the week (12 to 25)" in said(open_page(small_store))
    assert "the bench is likely to see" not in said(open_page(small_store, squad="Heron"))


def test_past_their_life_without_a_complaint_is_a_list_of_its_own(small_store: Store, open_page: Opened) -> None:
    def make_old(con: duckdb.DuckDBPyConnection) -> None:
        small_view.write(con)
        con.execute("update ranking set dead_used = 1.3 where racket_id = 'B-2'")

    small_store.publish(make_old)
    app = open_page(small_store)
    assert "One more: 1 racket is past the usual life of such strings, though nobody has complained" in said(app)
    past = open_page(small_store, show="Past their life").dataframe[0].value.set_index("racket_id")
    assert past.loc["B-2", "call"] == "● past its life"
    assert "C-1" not in past.index


def test_filter_in_the_address(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, squad="Heron")
    assert app.selectbox[0].value == "Heron"
    assert title(app).startswith("1 racket to hand in by Sun 22 Nov")
    assert list(app.dataframe[0].value["racket_id"]) == ["B-1"]


def test_broken_racket_that_is_at_the_bench_is_not_asked_for_again(small_store: Store, open_page: Opened) -> None:
    def hand_in(con: duckdb.DuckDBPyConnection) -> None:
        small_view.write(con)
        con.execute("update ranking set handed_in_on = date '2026-11-14' where racket_id = 'A-1'")

    small_store.publish(hand_in)
    app = open_page(small_store)
    assert title(app).startswith("2 rackets to hand in by Sun 22 Nov")
    assert list(app.dataframe[0].value["racket_id"]) == ["A-2", "B-1"]
    assert "At the bench already: A-1 (broken, Ana Reed), E-1 (Eve Lund)." in said(app)
    everything = open_page(small_store, show="All rackets").dataframe[0].value.set_index("racket_id")
    assert everything.loc["A-1", "call"] == "✕ broken, at the bench"
    assert title(open_page(small_store, "racket", racket="A-1")) == "A-1 is broken and waits at the bench"


def test_choice_without_anything_due_says_what_to_do(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, role="spare", squad="Heron")
    assert title(app).startswith("Nothing is likely to be due by Sun 22 Nov")
    assert "Choose “All rackets” to see 1 racket in order." in said(app)


def test_choice_without_any_racket(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, role="loan", squad="Heron")
    assert title(app) == "No racket matches this choice"
    assert "Choose another squad, player or role." in said(app)


def test_events_name_the_players_who_may_fall_short(small_store: Store, open_page: Opened) -> None:
    words = said(open_page(small_store))
    assert "**County match**\n" in words
    assert "Sat 21 to Sun 22 Nov · Falcon, Heron" in words
    assert "2 of 4 players are likely to have enough\n▲ Ana Reed: 0 of 2, 21 %\n○ Ben Cole: 1 of 2, 68 %" in words
    assert "Eve Lund: " not in words


def test_a_name_from_a_file_is_shown_as_written(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "racket", racket="C-1")
    assert small_view.ODD_NAME in said(app)
    assert small_view.ODD_NAME not in written(app)


def test_racket_in_the_address(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "racket", racket="A-2")
    assert title(app) == "A-2 is likely to break about Wed 18 Nov, before County match on Sat 21 Nov"
    words = said(app)
    assert "16 × 19 · Lyra 1.25 mm · 24 / 23.5 kg · strung Mon 26 Oct · about 11 h of play" in words
    assert "2 sessions on this bed. 1 of them named no racket" in words
    assert "Last look, Wed 11 Nov: fraying none, notching clear." in words


def test_racket_page_stands_both_limits_side_by_side(small_store: Store, open_page: Opened) -> None:
    standing = open_page(small_store, "racket", racket="A-2").table[0].value
    assert list(standing.iloc[:, 0]) == ["◆ breaks", "● goes dead"]
    assert list(standing.iloc[:, 1]) == ["about 80 % (72 to 88 %)", "about 40 % (36 to 44 %)"]
    assert list(standing.iloc[:, 2]) == ["61 %", "20 %"]


def test_racket_page_keeps_earlier_beds_and_looks(small_store: Store, open_page: Opened) -> None:
    sessions, looks, beds = (frame.value for frame in open_page(small_store, "racket", racket="A-2").dataframe)
    assert list(sessions["Share"]) == ["all", "about 40 %"]
    assert list(sessions["What"]) == ["match: singles", "practice: ball machine, hard"]
    assert list(looks["Notching"]) == ["clear", "severe"]
    assert list(looks["Strings out of line"]) == ["", "severe"]
    assert list(looks["Lost feel"]) == ["", "clear"]
    assert list(looks["Said by"]) == ["", "Ana Reed"]
    assert list(beds["Why"]) == ["● lost feel, said by Ana Reed"]
    assert list(beds["Towards dead"]) == [110]


@pytest.mark.parametrize(
    ("racket", "expected", "advice"),
    [
        ("A-1", "A-1 is broken: hand it in for restringing", "cut the whole bed out at once"),
        ("B-1", "B-1 is past its life: the strings are likely dead", "No play on this bed is on file"),
        ("C-1", "C-1 is not likely to be due within a year", "Nobody has looked at this racket yet"),
        ("E-1", "E-1 is at the bench", ""),
        ("D-1", "D-1 has no restring on file", "Add its last restring to restrings.csv"),
    ],
)
def test_racket_in_every_state(small_store: Store, open_page: Opened, racket: str, expected: str, advice: str) -> None:
    app = open_page(small_store, "racket", racket=racket)
    assert title(app) == expected
    assert advice in said(app)


def test_unknown_racket_in_the_address(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "racket", racket="Z-9")
    assert title(app) == "There is no racket Z-9 on file"
    assert app.selectbox[0].value is None and not app.dataframe, "it waits for a choice"


def test_choosing_a_racket_changes_the_address(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "racket", racket="A-2")
    app.selectbox[0].set_value("B-1").run()
    assert title(app).startswith("B-1 ")
    assert app.query_params["racket"] in ("B-1", ["B-1"])


def test_workload_opens_with_the_answer(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "workload")
    answer = "About 18 restrings in the next week; allow for 25."
    assert title(app) == f"{answer} The week of Mon 23 Nov is likely to be 1 h short at the bench"
    assert "Over the next 3 weeks likely about 53 restrings" in said(app)
    assert "The last 4 weeks had 16 a week." in said(app)
    weeks, strings = (frame.value for frame in app.dataframe)
    assert list(weeks["Does it fit?"]) == ["◐ could run over", "▲ likely 1 h short", "◐ could run over"]
    assert list(strings["String"]) == ["Lyra", "Soft Multi"]
    assert list(strings["Metres, likely"]) == [330, 165]


def test_records_lists_rejects_with_what_to_mend(small_store: Store, tmp_path: Path, open_page: Opened) -> None:
    bad = tmp_path / "restrings.csv"
    bad.write_text("restring_id,racket_id,strung_on,reason\nX1,NO-SUCH,2026-11-01,broke\n", encoding="utf-8")
    small_store.load([bad])
    small_store.publish(small_view.write)
    app = open_page(small_store, "records")
    assert title(app) == "1 row to mend in 1 file; everything else is in"
    rejects = app.dataframe[0].value
    assert list(rejects["file"].unique()) == ["restrings.csv"]
    assert list(rejects["line"].unique()) == [2]
    assert any("NO-SUCH" in str(value) for value in rejects["value"])
    assert rejects["message"].str.endswith(".").all()


def test_records_without_rejects(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "records")
    assert title(app) == "4 rows have come in, and none waits to be mended"
    assert "No row is waiting to be mended." in said(app)
    loads = app.dataframe[-1].value
    assert sorted(loads["File"]) == ["players.csv", "rackets.csv", "restrings.csv", "strings.csv"]


@pytest.mark.parametrize("page", [None, "racket", "workload", "records"])
def test_empty_store_shows_the_way_on_every_page(tmp_path: Path, open_page: Opened, page: str | None) -> None:
    app = open_page(tmp_path / "nothing", page)
    assert title(app) == "Load four files and see which rackets to restring first"
    assert "racket-fleet demo" in app.code[0].value
    assert len(app.file_uploader) == 1
    assert "players, rackets, strings, restrings" in app.table[0].value.iloc[0, 0]
    assert not (tmp_path / "nothing").exists()


@pytest.mark.parametrize("page", [None, "racket", "workload", "records"])
def test_store_without_rackets_says_what_to_load(small_store: Store, open_page: Opened, page: str | None) -> None:
    small_store.publish(lambda con: small_view.write(con, only_meta=True))
    app = open_page(small_store, page)
    assert not app.exception
    if page != "records":
        assert "restrings.csv" in said(app)


def test_stale_data_is_said_at_the_top(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, today="2026-11-25")
    assert app.warning[0].value.startswith("The last log is from Sun 15 Nov 2026, 10 days ago.")
    assert not open_page(small_store, today="2026-11-22").warning


OF_AN_OLDER_PROGRAM = (
    "delete from meta where key = 'view_format'", "alter table ranking drop column why",
    "drop table if exists bed_breakdown", "alter table inspections_seen drop column said_by_name", "drop table events",
)  # fmt: skip


@pytest.mark.parametrize("page", [None, "racket", "inspect", "workload", "records", "track_record"])
def test_a_view_of_an_older_program_is_made_anew_before_a_page_reads_it(
    small_store: Store, open_page: Opened, page: str | None
) -> None:
    with duckdb.connect(str(view_path(small_store.folder, 1))) as con:
        for change in OF_AN_OLDER_PROGRAM:
            con.execute(change)
    app = open_page(small_store, page)
    assert not app.exception and not app.error
    assert small_store.view_version == "2"
    with small_store.view() as view:
        assert view.execute("select racket_id from ranking").fetchall() == [("A-1",)]


def test_a_view_that_was_deleted_is_made_anew(small_store: Store, open_page: Opened) -> None:
    view_path(small_store.folder, 1).unlink()
    app = open_page(small_store)
    assert not app.exception and not app.error and small_store.view_version == "2"


def test_damaged_pointer_is_one_sentence(small_store: Store, open_page: Opened) -> None:
    (small_store.folder / "view.current").write_text("nonsense", encoding="utf-8")
    app = open_page(small_store)
    assert title(app) == "The club's store cannot be read"
    assert "is damaged" in app.error[0].value


def test_misspelt_setting_is_one_sentence(
    small_store: Store, open_page: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    (small_store.folder / "club.toml").write_text('time_zon = "UTC"\n', encoding="utf-8")
    app = open_page(small_store, "records")
    assert "time\\_zone" in app.error[0].value or "time_zone" in app.error[0].value


def test_phone_gets_a_list_instead_of_a_wide_table(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    app.session_state["is_narrow"] = True
    app.run()
    assert not app.dataframe
    words = said(app)
    assert [box.label for box in app.checkbox] == ["**Ana Reed**", "**Ana Reed**", "**Ben Cole**"]
    assert "◆ likely to break, due about Wed 18 Nov (2 to 7 days); towards breaking 80 %, dead 40 %" in words
    opening = [button.label for button in app.button if str(button.key).startswith("open-")]
    assert opening == ["A-1", "A-2", "B-1"]


def test_button_with_the_number_leads_to_the_racket(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    app.session_state["is_narrow"] = True
    app.run()
    app.button(key="open-B-1").click().run()
    assert title(app).startswith("B-1 is past its life")
