"""Plans kept beside the view: read back by version, ignored when damaged or of another version, written in one step."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from pipeline.access.forgetting import forget
from pipeline.fleet.plans import keep, kept, plan_path, plan_snapshot, still_stands, turn
from pipeline.refresh import refresh
from pipeline.store import Store, StoreError
from tests.small_club import NOW, write_club


def test_a_plan_is_read_back_for_its_version_alone(tmp_path: Path) -> None:
    store = Store(tmp_path)
    keep(store, "bench", "7", {"jobs": [1, 2]})
    assert kept(store, "bench", "7") == {"jobs": [1, 2]}
    assert kept(store, "bench", "8") is None
    assert kept(store, "reels", "7") is None
    assert kept(store, "bench", None) is None
    assert [path.name for path in tmp_path.iterdir()] == ["plan-bench.json"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"format": 0, "view_version": "7", "document": {}}', '{"format": 1}'])
def test_a_damaged_plan_counts_as_not_there(tmp_path: Path, text: str) -> None:
    store = Store(tmp_path)
    plan_path(store, "bench").write_text(text, encoding="utf-8")
    assert kept(store, "bench", "7") is None


def test_a_plan_that_cannot_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    store = Store(tmp_path)
    keep(store, "bench", "7", {"jobs": []})
    with pytest.raises(ValueError, match="not JSON compliant"):
        keep(store, "bench", "8", {"jobs": [float("nan")]})
    assert kept(store, "bench", "7") == {"jobs": []}
    with pytest.raises(StoreError, match="cannot be written"):
        keep(Store(tmp_path / "nowhere"), "bench", "7", {})


def test_two_who_want_the_same_plan_make_it_once(tmp_path: Path) -> None:
    """The second one waits and finds it kept; a plan of another name waits for nobody."""
    store, made, inside, may_go_on = Store(tmp_path), [], threading.Event(), threading.Event()

    def work_out() -> None:
        with turn(store, "reels"):
            if kept(store, "reels", "7") is None:
                made.append(1)
                inside.set()
                may_go_on.wait(60)
                keep(store, "reels", "7", {"strings": []})

    askers = [threading.Thread(target=work_out) for _ in range(3)]
    for asker in askers:
        asker.start()
    assert inside.wait(60)
    with turn(store, "bench"), turn(Store(tmp_path / "other"), "reels"):
        assert kept(store, "reels", "7") is None
    may_go_on.set()
    for asker in askers:
        asker.join()
    assert made == [1]


def test_a_plan_of_a_view_that_has_gone_is_not_kept(tmp_path: Path) -> None:
    """Whoever forgets a player removes the views: a plan that was under way then would bring the name back."""
    store = Store(tmp_path / "store")
    store.load(write_club(tmp_path / "club"), now=NOW)
    assert not still_stands(store, None)
    refresh(store, now=NOW)
    assert still_stands(store, "1") and not still_stands(store, "2")
    refresh(store, now=NOW)
    assert still_stands(store, "2") and not still_stands(store, "1")
    forget(store, "P1", now=NOW)
    assert not still_stands(store, "2")


def test_a_name_stays_inside_the_folder(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="lower-case letters"):
        plan_path(Store(tmp_path), "../bench")


def test_without_a_view_there_is_nothing_to_plan_from(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no view yet"), plan_snapshot(Store(tmp_path)):
        pass
