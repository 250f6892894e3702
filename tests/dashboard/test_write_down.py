"""Write down: every form keeps to the contract, proposes what is usual, is put right and taken back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from pipeline.contract import load_contract
from pipeline.fleet.frames import forms, writing
from pipeline.store import Store
from tests.dashboard.small_view import AS_OF

Opened = Callable[..., AppTest]
SAVE = "Save"


def box(app: AppTest, label: str):
    """The box of that label, optional or not."""
    kinds = (app.selectbox, app.text_input, app.number_input, app.date_input, app.checkbox)
    return next(one for kind in kinds for one in kind if one.label.split(" (")[0] == label)


def press(app: AppTest, label: str) -> AppTest:
    next(button for button in app.button if button.label == label).click().run()
    assert not app.exception, app.exception
    return app


def shown(app: AppTest) -> str:
    kinds = (app.title, app.markdown, app.caption, app.success, app.error, app.warning)
    return "\n".join(one.value for kind in kinds for one in kind).replace("\\", "").replace("\u00a0", " ")


@pytest.fixture
def known(academy: Store) -> forms.Known:
    with academy.facts() as con:
        return writing.known(con, "kg", AS_OF)


def test_every_column_of_every_form_is_in_the_contract(known: forms.Known) -> None:
    for name in forms.SHAPES:
        form = forms.form(name, known, "kg", AS_OF, {})
        declared = load_contract().resources[form.resource]
        columns = {field.name for field in declared.fields}
        shown_columns = {box.name for box in (*form.boxes, *form.further)}
        assert shown_columns <= columns, name
        assert set(declared.required_columns) <= shown_columns | {form.id_column}, name


def test_every_file_but_the_tickets_can_be_written_down() -> None:
    assert set(forms.corrections()) == set(load_contract().resources) - {"jobs"}


def test_pounds_where_the_club_works_in_pounds(known: forms.Known) -> None:
    names = {box.name for box in forms.form("restring", known, "lb", AS_OF, {}).boxes}
    assert {"mains_lb", "crosses_lb"} <= names
    assert "mains_kg" not in names


def test_the_usual_racket_is_the_one_most_often_written_down(academy: Store, known: forms.Known) -> None:
    matches = academy.records("matches")
    practices = academy.records("practices").dropna(subset=["racket_id", "player_id"])
    first_day = str(date(2026, 8, 17))
    for player in sorted(known.holds)[:12]:
        used = [
            *matches[(matches["player_id"] == player) & (matches["played_on"] >= first_day)]["racket_id"],
            *practices[(practices["player_id"] == player) & (practices["played_on"] >= first_day)]["racket_id"],
        ]
        held = known.holds[player]
        tally = {racket: used.count(racket) for racket in set(used)}
        most = max(tally.values(), default=0)
        if most and any(tally[racket] == most for racket in held if racket in tally):
            assert tally.get(known.usual_racket[player], 0) in (most, 0) or known.usual_racket[player] in held
            if tally.get(known.usual_racket[player], 0) != most:
                assert most not in (tally.get(racket, 0) for racket in held)


def test_a_session_is_written_down_with_the_usual_racket_and_taken_back(
    academy: Store, open_page: Opened, known: forms.Known
) -> None:
    app = open_page(academy, "write_down")
    assert app.title[0].value.replace("\u00a0", " ") == "The records reach Sun 15 Nov; write down what came since"
    player = next(iter(known.usual_racket))
    box(app, "Player").set_value(player).run()
    assert box(app, "Racket").value == known.usual_racket[player]
    box(app, "Minutes").set_value(75.0).run()
    press(app, SAVE)
    assert app.success[0].value.replace("\\", "").startswith("Session of one player saved: ")
    count = len(academy.records("practices"))
    newest = academy.records("practices").sort_values("loaded_at").iloc[-1]
    assert (newest["player_id"], newest["minutes"], newest["racket_id"]) == (player, 75, known.usual_racket[player])
    assert box(app, "Minutes").value is None
    press(app, "Take it back")
    assert len(academy.records("practices")) == count - 1


def test_the_contracts_sentence_stands_at_its_box(academy: Store, open_page: Opened) -> None:
    count = len(academy.records("matches"))
    app = open_page(academy, "write_down", what="match")
    box(app, "Minutes").set_value(-5.0).run()
    press(app, SAVE)
    words = shown(app)
    assert "Nothing was written down: mend what is marked" in words
    assert "Minutes is -5" in words or "minutes" in words.lower()
    assert "Player_id is empty" in words
    assert box(app, "Minutes").value == -5
    assert len(academy.records("matches")) == count


def test_a_restring_proposes_what_was_strung_last(academy: Store, open_page: Opened, known: forms.Known) -> None:
    app = open_page(academy, "write_down", what="restring")
    racket = next(name for name, values in known.next_set_up.items() if values.get("mains_kg"))
    box(app, "Racket").set_value(racket).run()
    assert box(app, "String, mains").value == known.next_set_up[racket]["mains_string_id"]
    assert box(app, "Mains, kg").value == known.next_set_up[racket]["mains_kg"]


def test_a_squad_practice_is_one_row_with_the_absent_named(academy: Store, open_page: Opened) -> None:
    app = open_page(academy, "write_down", what="squad-practice")
    squad = box(app, "Squad").options[0]
    box(app, "Squad").set_value(squad).run()
    register = next(group for group in app.get("button_group") if "Who was there" in group.label)
    players = list(register.value)
    register.set_value(players[2:]).run()
    box(app, "Minutes").set_value(90.0).run()
    assert f"{len(players) - 2} of {len(players)} were there." in shown(app)
    press(app, SAVE)
    newest = academy.records("practices").sort_values("loaded_at").iloc[-1]
    assert newest["squad"] == squad
    assert newest["absent"].split() == players[:2]


def test_a_row_is_put_right_and_its_history_kept(academy: Store, open_page: Opened) -> None:
    with academy.facts() as con:
        rows = writing.rows_to_correct(con, "strings")
    app = open_page(academy, "write_down", what="put-right")
    box(app, "What").set_value("strings").run()
    next(one for one in app.selectbox if one.label.startswith("Which one")).set_value(0).run()
    before = rows.iloc[0]
    box(app, "Price of a reel").set_value(123.5).run()
    press(app, "Save the change")
    assert "Put right; what it held before stays in the history." in shown(app)
    now = academy.records("strings").set_index("string_id").loc[before["string_id"]]
    assert float(now["reel_price"]) == 123.5
    assert now["string_name"] == before["string_name"]
    (old,) = academy.history("strings").to_dict("records")
    assert float(old["reel_price"]) == float(before["reel_price"])


def test_a_correction_holds_only_what_changed(known: forms.Known) -> None:
    form = forms.form("string", known, "kg", AS_OF, {})
    recorded = {"string_id": "S1", "string_name": "Lyra", "gauge_mm": 1.25, "reel_price": "90.00", "lead_days": None}
    values = {"string_name": "Lyra", "gauge_mm": 1.3, "reel_price": 90.0, "lead_days": None}
    assert forms.changes(form, recorded, values) == {"string_id": "S1", "gauge_mm": 1.3}
    assert forms.changes(form, recorded, values | {"gauge_mm": 1.25}) == {}


def test_a_paper_sheet_leaves_empty_lines_out(known: forms.Known) -> None:
    squad = known.squads[0]
    grid = writing.inspection_grid(known, squad)
    assert set(grid["racket_id"]) == {r for p in known.squad_players[squad] for r in known.holds.get(p, ())}
    grid.loc[0, "notching"] = "2 clear"
    grid.loc[1, "broken"] = True
    rows = writing.grid_rows(grid, "2026-11-15")
    assert [row.get("notching") for row in rows] == [2, None]
    assert rows[1]["broken"] == "yes"
    assert rows[0] == {"racket_id": grid["racket_id"][0], "inspected_on": "2026-11-15", "notching": 2}


def test_an_empty_club_can_start_by_hand(tmp_path, open_page: Opened) -> None:
    app = open_page(Store(tmp_path / "new"), "write_down", what="player")
    assert app.title[0].value == "Nothing is on file yet: write down the first"
    box(app, "Name").set_value("Ana Reed").run()
    box(app, "Squad").set_value("Falcon").run()
    box(app, "Level").set_value("regional").run()
    box(app, "Spin").set_value("heavy").run()
    press(app, SAVE)
    (row,) = Store(tmp_path / "new").records("players").to_dict("records")
    assert (row["player_name"], row["squad"], row["player_id"][:1]) == ("Ana Reed", "Falcon", "P")
