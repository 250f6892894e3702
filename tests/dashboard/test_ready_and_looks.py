"""Match-ready, look first, what moved the date and tension, as the pages show them."""

from __future__ import annotations

from collections.abc import Callable

import duckdb
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.chart_breakdown import moved_date_figure
from dashboard.palette import palette
from pipeline.fleet import frames
from pipeline.store import Store
from tests.dashboard import small_view
from tests.dashboard.small_view import AS_OF, ODD_NAME
from tests.dashboard.test_pages import said, title, written

Opened = Callable[..., AppTest]


def without(table: str) -> Callable[[duckdb.DuckDBPyConnection], None]:
    """The small view as an older program would have published it."""

    def build(con: duckdb.DuckDBPyConnection) -> None:
        small_view.write(con)
        con.execute(f"drop table {table}")

    return build


def only(where: str) -> Callable[[duckdb.DuckDBPyConnection], None]:
    def build(con: duckdb.DuckDBPyConnection) -> None:
        small_view.write(con)
        con.execute(f"delete from match_ready where not ({where})")

    return build


def test_every_player_of_every_event_is_in_the_table(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    (table,) = [frame.value for frame in app.dataframe if "Weakest" in frame.value]
    assert list(table["Player"]) == ["Ana Reed", "Ben Cole", "Eve Lund", ODD_NAME]
    assert list(table["Ready"]) == ["0 of 2", "1 of 2", "1 of 2", "2 of 2"]
    assert list(table["Chance"]) == [21, 68, 86, 93]
    assert list(table["In words"]) == ["▲ not likely", "○ uncertain", "✓ likely", "✓ likely"]


def test_all_match_ready_is_said_in_the_title(small_store: Store, open_page: Opened) -> None:
    small_store.publish(only("prob_enough >= 0.8"))
    app = open_page(small_store)
    assert title(app).endswith("; every player is likely to be match-ready for the next event")
    assert "✓ all 2 players are likely to have enough" in said(app)


def test_only_the_chosen_squads_players_count(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, squad="Heron")
    assert "Ana Reed: " not in said(app)
    assert "1 of 2 players are likely to have enough" in said(app)
    assert "every player is likely to be match-ready" in title(app)


def test_a_view_without_the_table_says_nothing_of_readiness(small_store: Store, open_page: Opened) -> None:
    small_store.publish(without("match_ready"))
    app = open_page(small_store)
    assert title(app) == "3 rackets to hand in by Sun 22 Nov"
    assert "**County match**" in said(app)


def test_what_to_look_at_first(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    assert "Look at these first" in [element.value for element in app.header]
    assert (
        "**Ben Cole**, notches: a look changes the call in 4 of 10 cases: hand it in, else it can wait; "
        "nobody has graded this bed yet."
    ) in said(app)
    assert "nothing to gain" not in said(app), "a look worth less than its minute is not asked for"
    assert ODD_NAME not in written(app)


def test_a_look_opens_the_page_to_grade_it(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store)
    app.button(key="look-B-2").click().run()
    assert title(app).endswith("What does it show?")


def test_nothing_to_look_at_needs_no_heading(small_store: Store, open_page: Opened) -> None:
    small_store.publish(without("look_first"))
    assert "Look at these first" not in [element.value for element in open_page(small_store).subheader]


def test_what_moved_the_date_in_words(small_store: Store, open_page: Opened) -> None:
    app = open_page(small_store, "racket", racket="A-2")
    assert "What moved the date" in [element.value for element in app.header]
    assert (
        "About 15 h of play to breaking, 11 h of them behind it: about 4.1 h to go. "
        "Most was taken by how such strings last in this club: about 10 h."
    ) in said(app)
    none = open_page(small_store, "racket", racket="E-1")
    assert "What moved the date" not in [element.value for element in none.subheader]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("is_narrow", [False, True])
def test_the_bars_add_up_and_stand_on_nought(view: duckdb.DuckDBPyConnection, theme: str, is_narrow: bool) -> None:
    page = frames.racket(view, "A-2", AS_OF)
    assert page is not None and page.moved is not None
    figure = moved_date_figure(page.moved, palette(theme), is_narrow)
    (bars,) = figure.data
    assert sum(bars.x[:-1]) == pytest.approx(bars.x[-1]) == pytest.approx(15.1)
    assert bars.base[0] == bars.base[-1] == figure.layout.xaxis.range[0] == 0
    for place in range(1, len(bars.x) - 1):
        assert bars.base[place] == pytest.approx(bars.base[place - 1] + bars.x[place - 1])
    texts = [note.text for note in figure.layout.annotations]
    assert {"34.0", "−9.5", "+1.0", "15.1"} <= set(texts), "what takes and what adds is told by its sign"
    assert "Everything else" in [tick.replace("<br>", " ") for tick in figure.layout.yaxis.ticktext]


def test_tension_with_its_band_and_where_it_comes_from(small_store: Store, open_page: Opened) -> None:
    tapped = said(open_page(small_store, "racket", racket="A-2"))
    of_what = "of what the bed had a day after stringing"
    assert f"Tension left: about 81 % (76 to 86 %) {of_what}, from the pitch of the tapped bed." in tapped
    other = said(open_page(small_store, "racket", racket="B-1"))
    assert f"about 79 % (70 to 89 %) {of_what}, by its play and age." in other
