"""The colours of the charts, light and dark, read from the theme in `.streamlit/config.toml`.

In: the name of the theme in use ("light" or "dark"). Out: a `Palette`. The two working colours mean the two limits
everywhere: clay for "breaks" (a diamond), green for "goes dead" (a circle); ochre marks events and inspections (a
star).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

CONFIG = Path(__file__).parent / ".streamlit" / "config.toml"
TEXT_FONT = '"Source Sans", sans-serif'


@dataclass(frozen=True)
class Palette:
    """Colours as #RRGGBB, named by what they are for."""

    paper: str
    paper_second: str
    ink: str
    quiet: str
    rule: str
    breaks: str
    goes_dead: str
    event: str
    further: str
    unknown: str

    def of_limit(self, limit: str) -> str:
        """The colour of a limit or of a cause of ending."""
        known = {"breaks": self.breaks, "goes_dead": self.goes_dead, "other": self.further, "broken": self.ink}
        return known.get(limit, self.unknown)

    def faint(self, colour: str, opacity: float) -> str:
        """A colour of the palette seen through: 'rgba(r, g, b, opacity)'."""
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        return f"rgba({red}, {green}, {blue}, {opacity})"


@cache
def palette(theme: str) -> Palette:
    """The palette of one theme; any other name is taken as light."""
    values = tomllib.loads(CONFIG.read_text(encoding="utf-8"))["theme"]["dark" if theme == "dark" else "light"]
    return Palette(
        paper=values["backgroundColor"],
        paper_second=values["secondaryBackgroundColor"],
        ink=values["textColor"],
        quiet=values["grayTextColor"],
        rule=values["dataframeBorderColor"],
        breaks=values["orangeColor"],
        goes_dead=values["greenColor"],
        event=values["yellowTextColor"],
        further=values["blueColor"],
        unknown=values["grayColor"],
    )
