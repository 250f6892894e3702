"""A small club worked out once, copied for every test that may change it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pipeline.refresh import refresh
from pipeline.store import Store
from tests.small_club import NOW, write_club


@pytest.fixture(scope="session")
def small_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small club's store with a published view; copy it before writing to it."""
    place = tmp_path_factory.mktemp("small")
    store = Store(place / "club")
    store.load(write_club(place / "files"), now=NOW)
    refresh(store, now=NOW)
    return store.folder


@pytest.fixture
def small(small_folder: Path, tmp_path: Path) -> Store:
    """A copy of the small club's store, free to be written to."""
    return Store(shutil.copytree(small_folder, tmp_path / "small"))
