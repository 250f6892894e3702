"""The options that several commands share: where the store is, as of which day, plain CSV, which port."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer


def as_day(text: str) -> date:
    """A date out of ISO text; raises `typer.BadParameter` for anything else."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text} is not a date such as 2026-03-14.") from None


StoreOption = Annotated[Path, typer.Option("--store", metavar="DIR", help="The folder the club's store is in.")]
OnOption = Annotated[
    date | None,
    typer.Option("--on", metavar="DATE", parser=as_day, help="As of this day; else the last day on file."),
]
CsvOption = Annotated[bool, typer.Option("--csv", help="Plain CSV on standard output and nothing else there.")]
PortOption = Annotated[int | None, typer.Option("--port", min=1, max=65535, help="The port to serve on.")]

DEFAULT_STORE = Path("club")
