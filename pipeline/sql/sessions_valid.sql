-- grain: as sessions_described, with the bed a named racket had in that day. is_named is false where no racket was written down, or
-- where the racket written down cannot have been played (no bed in, at the bench, broken before): such play is shared out.
with placed as (
    select
        session_row, source, player_id, racket_id, played_on, played_on_at, hours,
        played_on_at is not null as is_timed,
        coalesce(played_on_at, played_on + interval 12 hour) as played_from
    from sessions_described
)

select
    s.session_row, s.source, s.player_id, s.played_on, s.played_on_at, s.hours,
    s.racket_id as racket_id_given,
    b.bed_id is not null and s.played_on <= b.last_day as is_named,
    case when s.played_on <= b.last_day then b.bed_id end as bed_id,
    case when s.played_on <= b.last_day then b.bed_row end as bed_row,
    case when b.bed_id is not null and s.played_on > b.last_day then null else s.racket_id end as racket_id
from placed as s
asof left join bed_starts as b
  on s.racket_id = b.racket_id and s.is_timed = b.is_timed and s.played_from >= b.starts_at
