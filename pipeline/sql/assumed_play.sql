-- grain: one row per player and day for which nothing was written down although the player's rackets were strung: a club without a
-- play log, or the time before a player's log begins. Hours a day: the player's own logged mean, else hours_week, else the level's
-- usual hours. Such play is an assumption; it lets restrings alone teach intervals.
with logged as (
    select player_id, min(played_on) as first_on, max(played_on) as last_on, exact_sum(session_minutes) as minutes_all
    from sessions_logged
    group by player_id
),

strung as (
    select s.player_id, min(greatest(r.strung_on, s.valid_from)) as first_strung_on
    from restrings_clean as r
    join racket_spans as s on s.racket_id = r.racket_id and s.valid_to > r.strung_on and s.valid_from <= (select as_of from origin)
    where s.player_id is not null
    group by s.player_id
),

gaps as (
    select
        t.player_id,
        t.first_strung_on as from_on,
        case when l.first_on is null then (select as_of from origin) else l.first_on - 1 end as to_on,
        case
            when l.first_on is not null and l.last_on - l.first_on >= 28
                then l.minutes_all / (l.last_on - l.first_on + 1)
            else 60.0 / 7 * coalesce(p.hours_week, v.value, 6)
        end as minutes_a_day,
        p.left_on
    from strung as t
    left join logged as l using (player_id)
    left join player_spans as p on p.player_id = t.player_id and p.is_latest
    left join reference_values as v on v.name = 'hours_week_' || p.level
    -- a fortnight of silence before the first session is a start, not a missing log
    where l.first_on is null or l.first_on - t.first_strung_on > 14
)

select
    'assumed-' || g.player_id || '-' || d.day::date as session_id,
    'assumed' as source,
    g.player_id,
    null::varchar as racket_id,
    d.day::date as played_on,
    null::timestamp as played_on_at,
    g.minutes_a_day as session_minutes,
    'singles' as activity,
    'normal' as intensity,
    null::varchar as surface,
    null::varchar as event,
    null::double as balls_hit
from gaps as g
cross join lateral (
    select unnest(generate_series(g.from_on::timestamp, least(g.to_on, coalesce(g.left_on, g.to_on))::timestamp, interval 1 day)) as day
) as d
