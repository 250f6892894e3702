"""Look first on the page This week: the few rackets whose inspection would change most.

In: a view's table `look_first`, the rackets the reader chose. Out: at most five rows: racket_id, player, the sign to
look for, the reason in words.
"""

from __future__ import annotations

import duckdb
import pandas as pd

from pipeline.fleet.frames.club import has_table
from pipeline.fleet.look_first import SIGN_WORDS
from pipeline.wear.reference import value

AT_MOST = 5
COLUMNS = ["racket_id", "player", "sign", "reason"]


def looks_first(con: duckdb.DuckDBPyConnection, rackets: set[str]) -> pd.DataFrame:
    """The rackets worth more than the minute it takes, most worth first; none where the view holds no such table."""
    if not has_table(con, "look_first"):
        return pd.DataFrame(columns=COLUMNS)
    found = con.sql('from look_first order by "order"').df()
    found = found[found["racket_id"].isin(rackets) & (found["look_value"] > value("look_cost"))].head(AT_MOST)
    return pd.DataFrame(
        {
            "racket_id": found["racket_id"],
            "player": found["player_name"].fillna("the club's"),
            "sign": found["sign"].map(SIGN_WORDS),
            "reason": [f"{text}." for text in found["reason"]],
        },
        columns=COLUMNS,
    ).reset_index(drop=True)
