"""The theme and the pages' own rules: contrast, nothing fetched, no computation on a page.

Contrast: WCAG 2.2, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (marks, 3 to 1), relative luminance as defined
there (from memory).
"""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest
from streamlit import config as streamlit_config

from dashboard import palette
from dashboard.palette import Palette

DASHBOARD = Path(palette.__file__).parent
SCREENS = sorted((DASHBOARD / "screens").glob("*.py"))
THEMES = ("light", "dark")


def luminance(colour: str) -> float:
    """Relative luminance of #RRGGBB."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Contrast ratio, 1 to 21."""
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("ground", ["paper", "paper_second"])
def test_text_can_be_read(theme: str, ground: str) -> None:
    colours = palette.palette(theme)
    for name in ("ink", "quiet", "event"):
        assert contrast(getattr(colours, name), getattr(colours, ground)) >= 4.5, (theme, name, ground)


@pytest.mark.parametrize("theme", THEMES)
def test_marks_stand_out(theme: str) -> None:
    colours = palette.palette(theme)
    for name in ("breaks", "goes_dead", "event", "further", "unknown"):
        assert contrast(getattr(colours, name), colours.paper) >= 3, (theme, name)


@pytest.mark.parametrize("theme", THEMES)
def test_what_can_be_ticked_or_filled_in_has_an_edge_that_can_be_seen(theme: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1; an empty tick box is its edge and nothing else."""
    edge = tomllib.loads(palette.CONFIG.read_text(encoding="utf-8"))["theme"][theme]["borderColor"]
    colours = palette.palette(theme)
    assert min(contrast(edge, ground) for ground in (colours.paper, colours.paper_second)) >= 3


@pytest.mark.parametrize("theme", THEMES)
def test_captions_can_be_read(theme: str) -> None:
    """Streamlit sets captions in the text colour at 60 % on the page: that mix has to be readable as well."""
    colours = palette.palette(theme)
    mixed = "#" + "".join(
        f"{round(0.6 * int(colours.ink[i : i + 2], 16) + 0.4 * int(colours.paper[i : i + 2], 16)):02X}"
        for i in (1, 3, 5)
    )
    assert contrast(mixed, colours.paper) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_the_two_limits_differ_in_lightness_or_hue_for_the_colour_blind(theme: str) -> None:
    """Red and green look alike to many: the two working colours must differ in blue as well (common practice)."""
    colours: Palette = palette.palette(theme)
    blue = [int(colour[5:7], 16) for colour in (colours.breaks, colours.goes_dead)]
    assert abs(blue[0] - blue[1]) >= 45


def test_every_theme_key_is_known_to_streamlit() -> None:
    declared = tomllib.loads(palette.CONFIG.read_text(encoding="utf-8"))
    known = set(streamlit_config.get_config_options())
    for section, values in declared.items():
        for key, value in values.items():
            names = [f"{section}.{key}.{inner}" for inner in value] if isinstance(value, dict) else [f"{section}.{key}"]
            assert set(names) <= known, set(names) - known


def test_nothing_is_fetched() -> None:
    """No address of another machine stands in the theme or in the code."""
    for path in [palette.CONFIG, *DASHBOARD.rglob("*.py")]:
        found = re.findall(r"https?://[^\s\"'>]+", path.read_text(encoding="utf-8"))
        assert [address for address in found if "www.w3.org/2000/svg" not in address] == [], path


@pytest.mark.parametrize("path", SCREENS, ids=lambda path: path.stem)
def test_pages_hold_no_computation(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    arithmetic = [
        node.lineno for node in ast.walk(tree) if isinstance(node, ast.BinOp) and not isinstance(node.op, ast.BitOr)
    ]
    assert arithmetic == [], f"{path.name} computes on lines {arithmetic}: move it to pipeline.fleet.frames"
    imported = {
        name.name.split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names
    }
    assert not imported & {"duckdb", "pandas", "numpy", "scipy"}
    texts = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    assert not [text for text in texts if re.search(r"\bselect\b.+\bfrom\b", text, re.IGNORECASE | re.DOTALL)]


def test_main_buttons_can_be_read_in_the_dark() -> None:
    """Streamlit writes white on the first colour, which is too light for it in dark: `screen.main_button` knows."""
    for path in DASHBOARD.rglob("*.py"):
        assert not re.search(r"""type=["']primary["']""", path.read_text(encoding="utf-8")), path


@pytest.mark.parametrize("path", SCREENS, ids=lambda path: path.stem)
def test_no_level_of_headings_is_skipped(path: Path) -> None:
    """A title is the first level, so what follows it is a header (WCAG 2.2, 1.3.1; axe: heading-order)."""
    assert "st.subheader(" not in path.read_text(encoding="utf-8")


def test_no_page_lets_html_through() -> None:
    for path in DASHBOARD.rglob("*.py"):
        assert "unsafe_allow_html" not in path.read_text(encoding="utf-8"), path


def test_the_folder_of_pages_is_not_served_past_the_router() -> None:
    assert not (DASHBOARD / "pages").exists()


def test_arrows_run_one_way() -> None:
    """The pipeline never imports the dashboard."""
    for path in (DASHBOARD.parent / "pipeline").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"^\s*(from|import) (dashboard|streamlit|plotly)", text, re.MULTILINE), path
