-- grain: one row per session and bed it was (or may have been) played on; share sums to 1 over the rackets of a session, of which a
-- racket without a bed on file takes its part too (bed_id null). Play without a racket is shared over what the player held and could
-- play that day, in proportion to usage_months.
with unnamed as (
    select
        session_row, player_id, played_on,
        played_on_at is not null as is_timed,
        coalesce(played_on_at, played_on + interval 12 hour) as played_from
    from sessions_valid
    where racket_id is null and player_id is not null
),

candidates as (
    select
        s.session_row,
        s.played_on,
        s.is_timed,
        s.played_from,
        h.racket_id,
        coalesce(u.usage_hours, 0.01) as usage_hours
    from unnamed as s
    join racket_spans as h
      on h.player_id = s.player_id and s.played_on >= h.valid_from and s.played_on < h.valid_to
    left join usage_months as u
      on u.player_id = s.player_id and u.racket_id = h.racket_id and u.month_on = date_trunc('month', s.played_on)::date
),

with_bed as (
    select c.session_row, c.racket_id, c.usage_hours, c.played_on, b.bed_id, b.bed_row, b.ended_on
    from candidates as c
    asof left join bed_starts as b
      on c.racket_id = b.racket_id and c.is_timed = b.is_timed and c.played_from >= b.starts_at
),

playable as (
    select w.session_row, w.racket_id, w.bed_id, w.bed_row, w.usage_hours
    from with_bed as w
    where (w.ended_on is null or w.played_on <= w.ended_on)
      and not exists (
          select 1 from shop_visits as v
          where v.racket_id = w.racket_id
            and w.played_on > v.handed_in_on
            and w.played_on < coalesce(v.back_on, date '9999-12-31')
      )
),

totals as (
    select session_row, exact_sum(usage_hours) as usage_hours_all from playable group by session_row
)

select session_row, racket_id, bed_id, bed_row, 1.0::double as share, false as is_shared
from sessions_valid
where racket_id is not null
union all
select p.session_row, p.racket_id, p.bed_id, p.bed_row, p.usage_hours / t.usage_hours_all as share, true as is_shared
from playable as p
join totals as t using (session_row)
