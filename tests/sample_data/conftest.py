"""Simulated clubs for the tests of the sample data: a small club of every kind, and one full academy, with truth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from sample_data.make_academy import main

SMALL = ["--players", "12", "--days", "150", "--after-days", "30", "--seed", "3", "--truth"]
ReadCsv = Callable[..., pd.DataFrame]


@pytest.fixture(scope="session")
def club(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Folder of a small club of a kind, made once per session and set of options."""
    made: dict[tuple[str, ...], Path] = {}

    def make(kind: str = "academy", *options: str) -> Path:
        key = (kind, *options)
        if key not in made:
            folder = tmp_path_factory.mktemp("clubs") / kind
            days = [] if kind != "new_club" else ["--days", "21"]
            main([str(folder), "--kind", kind, *SMALL, *days, *options])
            made[key] = folder
        return made[key]

    return make


@pytest.fixture(scope="session")
def academy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The full academy of 40 players and 425 days, with its truth beside it."""
    folder = tmp_path_factory.mktemp("full") / "academy"
    main([str(folder), "--truth"])
    return folder


@pytest.fixture(scope="session")
def truth() -> Callable[[Path], Path]:
    """The folder with the truth of a club's folder."""
    return lambda folder: folder.with_name(folder.name + "-truth")


@pytest.fixture(scope="session")
def read() -> ReadCsv:
    """One file of a folder, every value as text."""
    return lambda folder, name: pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
