-- grain: as sessions. Adds what the session costs a bed, in reference hours: abrasion_hours towards breaking and playability_hours
-- towards going dead (one hour of singles, regional level, moderate topspin, hard court = 1 of each). A written count of balls
-- corrects the hours of a practice by at most a factor of two against the usual hits an hour. session_row is a key and no more:
-- its order means nothing.
with described as (
    select
        s.*,
        p.level,
        p.spin,
        p.squad,
        coalesce(s.surface, 'hard') as surface_or_default,
        s.session_minutes / 60.0 as hours
    from sessions as s
    left join player_spans as p
      on p.player_id = s.player_id and s.played_on >= p.valid_from and s.played_on < p.valid_to
),

weighted as (
    select
        d.*,
        a.abrasion * i.abrasion * u.abrasion * coalesce(l.abrasion, 1) * coalesce(t.abrasion, 1) as abrasion_weight,
        a.playability * i.playability * u.playability * coalesce(l.playability, 1) * coalesce(t.playability, 1) as playability_weight,
        case
            when d.balls_hit is not null and d.hours > 0
            then greatest(0.5, least(2.0, d.balls_hit / (d.hours * (select value from reference_values where name = 'practice_hits_per_hour'))))
            else 1.0
        end as hits_factor
    from described as d
    left join session_weights as a on a.feature = 'activity' and a.level = d.activity
    left join session_weights as i on i.feature = 'intensity' and i.level = d.intensity
    left join session_weights as u on u.feature = 'surface' and u.level = d.surface_or_default
    left join session_weights as l on l.feature = 'level' and l.level = d.level
    left join session_weights as t on t.feature = 'spin' and t.level = d.spin
)

select
    row_number() over () as session_row,
    session_id, source, player_id, racket_id, played_on, played_on_at, session_minutes, hours, activity, intensity,
    surface_or_default as surface, event, level, spin, squad,
    hours * hits_factor as effective_hours,
    hours * abrasion_weight * hits_factor as abrasion_hours,
    hours * playability_weight * hits_factor as playability_hours
from weighted
