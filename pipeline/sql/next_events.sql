-- grain: one row per player with a match or event ahead: the next one.
select
    player_id,
    min(day) as next_event_on,
    arg_min(coalesce(event, activity), day) as next_event,
    arg_min(fresh_rackets, day) as fresh_rackets
from calendar_days
where day > (select as_of from origin)
  and not is_closed
  and (activity in ('singles', 'doubles') or coalesce(fresh_rackets, 0) > 0)
group by player_id
