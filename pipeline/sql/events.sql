-- grain: one row per event ahead, for a squad or a player.
select
    coalesce(event, activity) as event, planned_on, until_on, squad, player_id, place, fresh_rackets
from facts.calendar
where planned_on > (select as_of from origin)
  and not coalesce(cancelled, false)
  and activity <> 'closed'
  and (activity in ('singles', 'doubles') or coalesce(fresh_rackets, 0) > 0)
