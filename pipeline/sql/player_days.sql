-- grain: one row per player and day played, in hours on the clock and in reference hours.
select
    player_id,
    played_on as day,
    exact_sum(hours) as hours,
    exact_sum(abrasion_hours) as abrasion_hours,
    exact_sum(playability_hours) as playability_hours
from session_hours
where player_id is not null
group by player_id, played_on
