"""What a racket is to be strung with: the set-up in force.

In: a connection with the clean tables attached as `facts`, a day. Out: one row a racket: strings of mains and crosses,
tensions in kg, where the set-up comes from. The racket's own row in setups.csv wins, then its holder's, each the newest
in force on the day; without either, what was strung last. Crosses without values are as the mains (a full bed).
"""

from __future__ import annotations

from datetime import date

import duckdb
import pandas as pd

from pipeline.contract.club_rules import KG_IN_LB

OWN, PLAYERS, LAST, NONE = "the racket's own", "the player's", "as last time", "not on file"


def setups_in_force(con: duckdb.DuckDBPyConnection, on: date) -> pd.DataFrame:
    """racket_id, mains_string_id, crosses_string_id, mains_kg, crosses_kg, setup_from, setup_from_on of every racket on
    file; setup_from is OWN, PLAYERS, LAST or NONE."""
    return con.execute(
        """
        with kg as (
            select racket_id, player_id, from_on, mains_string_id,
                   coalesce(crosses_string_id, mains_string_id) as crosses_string_id,
                   coalesce(mains_kg, mains_lb * $pound) as mains_kg,
                   coalesce(crosses_kg, crosses_lb * $pound, mains_kg, mains_lb * $pound) as crosses_kg
            from facts.setups where from_on <= $on
        ),
        own as (
            select * from kg where racket_id is not null
            qualify row_number() over (partition by racket_id order by from_on desc) = 1
        ),
        theirs as (
            select * from kg where racket_id is null
            qualify row_number() over (partition by player_id order by from_on desc) = 1
        ),
        last as (
            select racket_id, strung_on, mains_string_id,
                   coalesce(crosses_string_id, mains_string_id) as crosses_string_id,
                   coalesce(mains_kg, mains_lb * $pound) as mains_kg,
                   coalesce(crosses_kg, crosses_lb * $pound, mains_kg, mains_lb * $pound) as crosses_kg
            from facts.restrings where strung_on <= $on
            qualify row_number() over (
                partition by racket_id
                order by strung_on desc, strung_on_at desc nulls last, loaded_at desc, line_number desc
            ) = 1
        ),
        holder as (
            select racket_id, player_id from facts.holders where from_on <= $on
            qualify row_number() over (partition by racket_id order by from_on desc) = 1
        )
        select r.racket_id,
               coalesce(o.mains_string_id, t.mains_string_id, l.mains_string_id) as mains_string_id,
               case when o.mains_string_id is not null then o.crosses_string_id
                    when t.mains_string_id is not null then t.crosses_string_id
                    else l.crosses_string_id end as crosses_string_id,
               coalesce(o.mains_kg, t.mains_kg, l.mains_kg) as mains_kg,
               case when o.mains_kg is not null then o.crosses_kg
                    when t.mains_kg is not null then t.crosses_kg
                    else l.crosses_kg end as crosses_kg,
               case when o.racket_id is not null then $own when t.player_id is not null then $theirs
                    when l.racket_id is not null then $last else $none end as setup_from,
               case when o.racket_id is not null then o.from_on when t.player_id is not null then t.from_on
                    else l.strung_on end as setup_from_on
        from facts.rackets as r
        left join holder as h using (racket_id)
        left join own as o on o.racket_id = r.racket_id
        left join theirs as t
          on t.player_id = case when h.racket_id is not null then h.player_id else r.player_id end
        left join last as l on l.racket_id = r.racket_id
        order by r.racket_id
        """,
        {"on": on, "pound": KG_IN_LB, "own": OWN, "theirs": PLAYERS, "last": LAST, "none": NONE},
    ).df()
