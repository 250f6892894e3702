"""What-if, Workload and Reels as pages: from a few rows, with what is said written beside them."""

from __future__ import annotations

import importlib
import io
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import duckdb
import openpyxl
import pandas as pd
import pytest
import xlsxwriter

from pipeline.fleet.reels import workbook
from pipeline.fleet.reels.plan import reel_plan
from pipeline.fleet.snapshot import snapshot
from pipeline.fleet.what_if import kept, told
from pipeline.store.settings import ClubSettings
from tests.fleet.clubs import ORIGIN
from tests.fleet.reels.club import club

# the package names functions like these modules
what_if: Any = importlib.import_module("pipeline.fleet.frames.what_if")
workload: Any = importlib.import_module("pipeline.fleet.frames.workload")
reels: Any = importlib.import_module("pipeline.fleet.frames.reels")

TODAY = date(2026, 3, 1)
CLUB = SimpleNamespace(name="The club")


@pytest.fixture
def con(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Two players of U18, one of U16; one string."""
    made = duckdb.connect()
    made.execute(
        """
        create table ranking as select * from (values
            ('U18', 'P1', 'Bo', 'in_play'), ('U18', 'P2', 'Ana', 'in_play'), ('U16', 'P3', 'Cy', 'in_play')
        ) t(squad, player_id, player_name, status);
        create table strings as select 'S1' as string_id, 'Nylon' as string_name
        """
    )
    monkeypatch.setattr(what_if, "club", lambda con, today: CLUB)
    return made


def test_the_form_offers_squads_then_players_then_the_club(con: Any) -> None:
    page = what_if.what_if_page(con, TODAY)
    assert page.club is CLUB
    assert list(page.whose.values()) == ["Squad U16", "Squad U18", "Ana", "Bo", "Cy", "The whole club"]
    assert page.usual.whose == "squad:U18" and page.strings == {"S1": "Nylon"}


def test_only_a_change_has_a_sign(con: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """12 hours at the bench now, 9 then: 3 fewer."""
    row = {"measure": "bench", "now": 12.0, "then": 9.0, "change": -3.0, "change_p10": -5.0, "change_p90": -1.0}
    answer = SimpleNamespace(table=pd.DataFrame([row]), count_rackets=3, is_new_family=False)
    monkeypatch.setattr(what_if, "Store", lambda folder: SimpleNamespace(settings=ClubSettings()))
    monkeypatch.setattr(kept, "answer_kept", lambda *given: answer)
    for name in ("headline", "details", "point_words"):
        monkeypatch.setattr(told, name, lambda *given: "")
    asked = what_if.what_if_page(con, TODAY).usual
    table = what_if.what_if_told(con, "", asked, TODAY, "").table
    assert table[["As now", "Then", "Change"]].iloc[0].tolist() == ["12 h", "9 h", "\u22123 h"]


def test_twelve_weeks_of_the_past_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty are on file: the last twelve, so the first of them is the ninth."""
    starts = [TODAY + timedelta(days=7 * week) for week in range(20)]
    weeks = pd.DataFrame({"starts_on": starts, "minutes_p50": 60.0, "minutes_p90": 90.0, "capacity_minutes": 80.0})
    monkeypatch.setattr(workload, "read", lambda con, name, order: weeks.copy())
    for name in ("club", "_title", "_sentence", "_table", "_strings"):
        monkeypatch.setattr(workload, name, lambda *given: None)
    past = workload.workload(None, TODAY).past
    assert len(past) == 12 and past["starts_on"].iloc[0] == pd.Timestamp(starts[8])


def test_reels_are_planned_half_a_year_ahead_and_put_on_a_page() -> None:
    plan = reel_plan(snapshot(club(players=2, weeks=10), ORIGIN), ClubSettings(), draws=20)
    assert plan.weeks == 26
    page = reels.reels_page(CLUB, plan, "en", {"S1": "Nylon"})
    assert page.club is CLUB and page.first == pd.Timestamp(ORIGIN) and page.string_names == {"S1": "Nylon"}
    assert page.last <= page.first + pd.Timedelta(weeks=26) and page.sentence and page.sheet_name.endswith(".xlsx")
    book = openpyxl.load_workbook(io.BytesIO(page.sheet))
    assert book["Orders"]["A1"].value


def test_a_cell_without_a_value_looks_like_its_neighbours() -> None:
    """The other program finds the border of the text cells on the empty one."""
    kept_in = io.BytesIO()
    book = xlsxwriter.Workbook(kept_in)
    sheet = book.add_worksheet("One")
    workbook._cell(sheet, 0, 0, None, "text", {"text": book.add_format({"border": 1})})
    book.close()
    cell = openpyxl.load_workbook(kept_in)["One"]["A1"]
    assert cell.value is None and cell.border.left.style == "thin"
