-- grain: as sessions. Adds who the player was that day, the hours on the clock, and the hours corrected for counted balls (a written
-- count corrects the hours of a practice by at most a factor of two against the usual hits an hour). session_row is a key and no
-- more: its order means nothing.
with described as (
    select
        s.* replace (coalesce(s.surface, 'hard') as surface),
        p.level,
        p.spin,
        p.squad,
        s.session_minutes / 60.0 as hours
    from sessions as s
    left join player_spans as p
      on p.player_id = s.player_id and s.played_on >= p.valid_from and s.played_on < p.valid_to
)

select
    row_number() over () as session_row,
    session_id, source, player_id, racket_id, played_on, played_on_at, session_minutes, hours, activity, intensity,
    surface, event, level, spin, squad,
    hours * case
        when balls_hit is not null and hours > 0
        then greatest(0.5, least(2.0, balls_hit / (hours * (select value from reference_values where name = 'practice_hits_per_hour'))))
        else 1.0
    end as effective_hours
from described
