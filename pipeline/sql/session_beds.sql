-- grain: one row per session and bed it was (or may have been) played on; share sums to 1 over the rackets of a session, of which a
-- racket without a bed on file takes its part too (bed_id null). Play without a racket is shared over what the player held and could
-- play that day, in proportion to usage_months.
with unnamed as (
    select * from sessions_valid where racket_id is null and player_id is not null
),

candidates as (
    select
        s.session_row,
        s.played_on,
        s.played_on_at,
        h.racket_id,
        coalesce(u.usage_hours, 0.01) as usage_hours
    from unnamed as s
    join racket_spans as h
      on h.player_id = s.player_id and s.played_on >= h.valid_from and s.played_on < h.valid_to
    left join usage_months as u
      on u.player_id = s.player_id and u.racket_id = h.racket_id and u.month_on = date_trunc('month', s.played_on)::date
),

with_bed as (
    select c.*, b.bed_id, b.ended_on
    from (select * from candidates where played_on_at is null) as c
    asof left join beds as b
      on c.racket_id = b.racket_id and c.played_on + interval 12 hour >= b.starts_at_undated
    union all
    select c.*, b.bed_id, b.ended_on
    from (select * from candidates where played_on_at is not null) as c
    asof left join beds as b
      on c.racket_id = b.racket_id and c.played_on_at >= b.starts_at
),

playable as (
    select w.*
    from with_bed as w
    left join shop_visits as v
      on v.racket_id = w.racket_id
     and w.played_on > v.handed_in_on
     and w.played_on < coalesce(v.back_on, date '9999-12-31')
    where v.job_id is null
      and (w.ended_on is null or w.played_on <= w.ended_on)
),

shared as (
    select session_row, racket_id, bed_id, usage_hours / sum(usage_hours) over (
        partition by session_row order by racket_id rows between unbounded preceding and unbounded following
    ) as share
    from (select distinct session_row, racket_id, bed_id, usage_hours from playable)
)

select session_row, racket_id, bed_id, 1.0 as share, false as is_shared
from sessions_valid
where racket_id is not null
union all
select session_row, racket_id, bed_id, share, true as is_shared
from shared
