-- grain: as session_hours, with the bed a named racket had in that day. is_named is false where no racket was written down, or
-- where the racket written down cannot have been played (no bed in, at the bench, broken before): such play is shared out.
with undated as (
    select s.session_row, b.bed_id
    from session_hours as s
    asof join beds as b
      on s.racket_id = b.racket_id and s.played_on + interval 12 hour >= b.starts_at_undated
    where s.racket_id is not null and s.played_on_at is null
),

dated as (
    select s.session_row, b.bed_id
    from session_hours as s
    asof join beds as b
      on s.racket_id = b.racket_id and s.played_on_at >= b.starts_at
    where s.racket_id is not null and s.played_on_at is not null
),

found as (
    select * from undated union all select * from dated
)

select
    s.* exclude (racket_id),
    s.racket_id as racket_id_given,
    f.bed_id is not null and s.played_on <= b.last_day as is_named,
    case when s.played_on <= b.last_day then f.bed_id end as bed_id,
    case
        when f.bed_id is not null and s.played_on > b.last_day then null
        else s.racket_id
    end as racket_id
from session_hours as s
left join found as f using (session_row)
left join beds as b on b.bed_id = f.bed_id
