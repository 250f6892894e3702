-- grain: one row per player and period of unchanged squad, level and spin. valid_to is exclusive.
-- A row without `since` holds from the beginning of time; a later row changes the player from that day on.
with ordered as (
    select
        player_id,
        player_name,
        squad,
        level,
        spin,
        case when left_on <= (select as_of from origin) then left_on end as left_on,
        hours_week,
        coalesce(since, date '1900-01-01') as valid_from
    from facts.players
    where coalesce(since, date '1900-01-01') <= (select as_of from origin)
       or since is null
),

first_known as (
    select
        *,
        row_number() over (partition by player_id order by valid_from) as span_number,
        lead(valid_from) over (partition by player_id order by valid_from) as next_from
    from ordered
)

select
    player_id,
    player_name,
    squad,
    level,
    spin,
    hours_week,
    -- the first row on file also speaks for the days before it
    case when span_number = 1 then date '1900-01-01' else valid_from end as valid_from,
    coalesce(next_from, date '9999-12-31') as valid_to,
    max(left_on) over (partition by player_id) as left_on,
    next_from is null as is_latest
from first_known
