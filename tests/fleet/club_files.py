"""A small invented club as CSV files, long enough on record to be looked back on.

In: a folder and what `tests.fleet.clubs.academy` takes. Out: the folder with contract CSV files.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.contract import load_contract
from pipeline.store.exporting import export_files
from tests.fleet.clubs import academy


def write_files(folder: Path, players: int = 4, weeks: int = 16, seed: int = 1) -> Path:
    """The club's files; reels get a length and a price, which the contract asks for."""
    con = academy(players=players, weeks=weeks, seed=seed)
    con.execute("update facts.strings set reel_m = 200, reel_price = 90")
    export_files(con, folder, load_contract())
    con.close()
    return folder
