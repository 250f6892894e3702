-- grain: one row per player and day played, in hours on the clock and in reference hours.
select
    player_id,
    played_on as day,
    sum(hours order by session_row) as hours,
    sum(abrasion_hours order by session_row) as abrasion_hours,
    sum(playability_hours order by session_row) as playability_hours
from session_hours
where player_id is not null
group by player_id, played_on
