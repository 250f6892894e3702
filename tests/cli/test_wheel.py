"""A wheel of the project, unpacked somewhere else: the demo runs there, and its pages have the project's theme."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from pipeline.store import Store
from tests.dashboard.browser import CHROMIUM, launch_chromium, settle

ROOT = Path(__file__).parents[2]
THEMES = ("light", "dark")
COLOUR_OF_PAGE = "getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor"


def environment(unpacked: Path, home: Path) -> dict[str, str]:
    """One in which the unpacked wheel comes before the checkout and no configuration of the user's is seen."""
    return os.environ | {"PYTHONPATH": str(unpacked), "HOME": str(home), "PYTHONIOENCODING": "utf-8"}


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as an installer would lay it out."""
    folder = tmp_path_factory.mktemp("wheel")
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


@pytest.fixture(scope="module")
def elsewhere(unpacked: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Another folder, in which the wheel's demo has been run."""
    folder = tmp_path_factory.mktemp("elsewhere")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "demo", "--no-serve"],
        cwd=folder, env=environment(unpacked, folder), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("The 5 most urgent of ")
    return folder


@pytest.mark.slow
def test_it_holds_what_the_program_reads_and_no_more(unpacked: Path) -> None:
    held = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    wanted = ROOT / "dashboard", ROOT / "pipeline", ROOT / "sample_data"
    ending = {".py", ".sql", ".csv", ".json", ".toml"}
    there = {path.relative_to(ROOT).as_posix() for top in wanted for path in top.rglob("*") if path.suffix in ending}
    assert there <= held
    tops = {name.split("/")[0] for name in held if ".dist-info/" not in name}
    assert tops == {"dashboard", "pipeline", "sample_data"}


@pytest.mark.slow
def test_its_demo_runs_in_another_folder_with_its_own_files(unpacked: Path, elsewhere: Path) -> None:
    assert Store(elsewhere / "demo-club").view_version == "1"
    program = "import pipeline, sample_data; print(pipeline.__file__, sample_data.__file__, sep='\\n')"
    where = subprocess.run(
        [sys.executable, "-c", program],
        cwd=elsewhere, env=environment(unpacked, elsewhere), capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert all(Path(path).is_relative_to(unpacked) for path in where.splitlines())


@pytest.fixture(scope="module")
def address(unpacked: Path, elsewhere: Path) -> Iterator[str]:
    """The dashboard as the wheel's own command serves it."""
    server = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "serve", "--store", "demo-club"],
        cwd=elsewhere, env=environment(unpacked, elsewhere), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None and server.stderr is not None
        said = server.stdout.readline()
        assert said.startswith("Dashboard: http://127.0.0.1:"), server.stderr.read()
        while "URL" not in (line := server.stderr.readline()):
            assert line, "the dashboard ended before it was up"
        yield said.removeprefix("Dashboard: ").strip()
    finally:
        server.terminate()
        server.communicate()


@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.skipif(
    not CHROMIUM.exists() and not os.environ.get("RACKET_FLEET_NO_SKIP"), reason=f"{CHROMIUM} is not installed"
)
def test_its_pages_have_the_theme(address: str) -> None:
    """Streamlit reads its configuration from the main script's folder only if started as `python -m streamlit run`."""
    theme = tomllib.loads((ROOT / "dashboard" / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
    with sync_playwright() as playwright:
        browser = launch_chromium(playwright)
        seen = {}
        for name in THEMES:
            page = browser.new_context(color_scheme=name).new_page()
            page.goto(address)
            settle(page)
            seen[name] = page.evaluate(COLOUR_OF_PAGE)
        browser.close()
    paper = {name: theme[name]["backgroundColor"].removeprefix("#") for name in THEMES}
    assert seen == {
        name: f"rgb({', '.join(str(int(paper[name][i : i + 2], 16)) for i in (0, 2, 4))})" for name in THEMES
    }
