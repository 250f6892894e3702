"""The page Bench: what it says beside what the pipeline says, its steps, its empty and its error states."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

from streamlit.testing.v1 import AppTest

from pipeline.fleet.bench.plan import make_plan
from pipeline.fleet.bench.sentences import answer
from pipeline.fleet.bench.source import source_of
from pipeline.fleet.plans import kept, plan_path, plan_snapshot
from pipeline.fleet.tickets import tickets
from pipeline.store import Store

TODAY = date(2026, 11, 15)
Open = Callable[..., AppTest]


def said(app: AppTest) -> str:
    """All the words on the page, without the backslashes that keep Markdown away."""
    parts = [
        element.value
        for kind in (app.title, app.markdown, app.caption, app.success, app.info, app.warning, app.error)
        for element in kind
    ]
    return "\n".join(str(part) for part in parts).replace("\\", "")


def books(store: Store) -> dict[str, str]:
    with store.facts() as con:
        return dict(tickets(con, TODAY)[["job_id", "state"]].to_numpy())


def test_it_says_what_the_plan_says_and_shows_every_ticket(academy: Store, open_page: Open) -> None:
    app = open_page(academy, "bench")
    assert not app.exception
    with plan_snapshot(academy) as snapshot:  # the page reads the published view instead: the same numbers
        plan = make_plan(source_of(snapshot, 14), academy.settings, first_on=TODAY)
    text = said(app)
    assert f"{answer(plan)}." in text
    with academy.facts() as con:
        for row in tickets(con, TODAY).to_dict("records"):
            assert f"**{row['racket_id']}** · {row['player_name']}" in text
    assert (
        app.title[0]
        .value.replace("\\", "")
        .startswith("2 rackets are on the bench; 2 more tickets are open, the next on Mon")
    )
    assert "machine maker's instructions come first" in text
    assert kept(academy, "bench", f"{academy.view_version} {TODAY}") is not None


def test_one_tap_is_strung_with_its_metres_and_undo_takes_it_back(academy: Store, open_page: Open) -> None:
    app = open_page(academy, "bench")
    before = len(academy.records("restrings"))
    app.button(key="strung J01054").click().run()
    assert not app.exception
    assert "R097 is strung: 11.8 m of Bramil Soft 130 from stock." in said(app)
    assert books(academy)["J01054"] == "strung"
    done = academy.records("restrings")
    assert len(done) == before + 1
    row = done.loc[done["racket_id"].eq("R097") & done["strung_on"].eq("2026-11-15")].iloc[0]
    assert (row["mains_m"], row["crosses_m"], row["stringer"]) == (6.2, 5.6, "Ordal")
    (undo,) = [button for button in app.button if button.label == "Take it back"]
    undo.click().run()
    assert "Taken back" in said(app)
    assert books(academy)["J01054"] == "on_bench"
    assert len(academy.records("restrings")) == before


def test_above_the_window_asks_first(academy: Store, open_page: Open) -> None:
    row = {"racket_id": "R097", "from_on": TODAY, "mains_string_id": "S05", "mains_kg": 28}
    academy.enter({"setups": [row]}, now=datetime(2026, 11, 15, 20, tzinfo=UTC))
    app = open_page(academy, "bench")
    assert "28 kg is above the window printed on the frame (18 to 25 kg)" in said(app)
    app.button(key="strung J01054").click().run()
    assert books(academy)["J01054"] == "on_bench"
    app.button(key="confirm J01054").click().run()
    assert books(academy)["J01054"] == "strung"


def test_a_frame_on_hold_offers_no_step(academy: Store, open_page: Open) -> None:
    look = {"inspection_id": "HOLD1", "inspected_on": TODAY, "racket_id": "R097", "frame": "do_not_string"}
    academy.enter({"inspections": [look]}, now=datetime(2026, 11, 15, 20, tzinfo=UTC))
    app = open_page(academy, "bench")
    assert "Do not string R097" in said(app)
    assert "strung J01054" not in [button.key for button in app.button]


def test_a_club_without_hours_still_has_its_tickets(small_store: Store, open_page: Open) -> None:
    job = {
        "job_id": "T1",
        "racket_id": "A-1",
        "handed_in_on": "2026-11-14",
        "state": "booked",
        "state_on": "2026-11-14",
    }
    small_store.enter({"jobs": [job]}, now=datetime(2026, 11, 15, 20, tzinfo=UTC))
    app = open_page(small_store, "bench")
    assert not app.exception
    text = said(app)
    assert "1 ticket is open at the bench" in text
    assert "No hours at the bench are on file" in text
    assert "**A-1** · Ana Reed" in text


def test_an_empty_bench_says_what_to_do(small_store: Store, open_page: Open) -> None:
    app = open_page(small_store, "bench")
    assert app.title[0].value == "No ticket is open at the bench"
    assert "Book rackets on the page This week" in said(app)


def test_a_damaged_plan_is_made_anew(academy: Store, open_page: Open) -> None:
    plan_path(academy, "bench").write_text('{"format": 1, "view_version": "1 20', encoding="utf-8")
    app = open_page(academy, "bench")
    assert not app.exception
    assert kept(academy, "bench", f"{academy.view_version} {TODAY}") is not None
