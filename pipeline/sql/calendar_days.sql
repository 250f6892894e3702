-- grain: one row per player, day and planned entry, past and ahead: squad rows become one a player who is in the squad, rows over
-- several days one a day. Cancelled entries are gone; a closed day keeps its row with is_closed and no minutes. Reference hours use
-- the player's level and spin of today. A plan is taken as known at the origin: the file does not say when it was made.
with live as (
    select * from facts.calendar where not coalesce(cancelled, false)
),

people as (
    select * from player_spans where is_latest and (left_on is null or left_on > (select as_of from origin))
),

per_player as (
    select p.player_id, p.squad, p.level, p.spin, c.planned_on, c.until_on, c.activity, c.event, c.minutes as planned_minutes, c.place, c.fresh_rackets
    from live as c
    join people as p on p.player_id = c.player_id
    union all
    select p.player_id, p.squad, p.level, p.spin, c.planned_on, c.until_on, c.activity, c.event, c.minutes, c.place, c.fresh_rackets
    from live as c
    join people as p on p.squad = c.squad
    where c.player_id is null
    union all
    -- a row for neither a squad nor a player is the whole club's (a closed day)
    select p.player_id, p.squad, p.level, p.spin, c.planned_on, c.until_on, c.activity, c.event, c.minutes, c.place, c.fresh_rackets
    from live as c
    cross join people as p
    where c.player_id is null and c.squad is null
),

days as (
    select e.*, d.day::date as day
    from per_player as e
    cross join lateral (
        select unnest(generate_series(
            e.planned_on::timestamp, greatest(e.planned_on, coalesce(e.until_on, e.planned_on))::timestamp, interval 1 day
        )) as day
    ) as d
)

select
    d.player_id, d.squad, d.day, d.activity, d.event, d.place, d.fresh_rackets, d.planned_on, d.until_on,
    d.activity = 'closed' as is_closed,
    case when d.activity = 'closed' then 0 else coalesce(d.planned_minutes, 0) / 60.0 end as hours,
    case when d.activity = 'closed' then 0 else coalesce(d.planned_minutes, 0) / 60.0 * coalesce(a.abrasion, 1) * coalesce(l.abrasion, 1) * coalesce(t.abrasion, 1) end
        as abrasion_hours,
    case when d.activity = 'closed' then 0 else coalesce(d.planned_minutes, 0) / 60.0 * coalesce(a.playability, 1) * coalesce(l.playability, 1) * coalesce(t.playability, 1) end
        as playability_hours
from days as d
left join session_weights as a on a.feature = 'activity' and a.level = d.activity
left join session_weights as l on l.feature = 'level' and l.level = d.level
left join session_weights as t on t.feature = 'spin' and t.level = d.spin
