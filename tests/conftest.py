"""Fixtures for every test: a fresh store, and the small club's folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from pipeline.store import Store
from tests.small_club import write_club

settings.register_profile("no_clock", deadline=None)  # machines are noisy: no test asserts a time
settings.load_profile("no_clock")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A store in a folder of its own, not made yet."""
    return Store(tmp_path / "store")


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """The small club's folder of CSV files."""
    return write_club(tmp_path / "club")
