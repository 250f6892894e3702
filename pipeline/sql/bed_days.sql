-- grain: one row per bed and day on which it was played: hours of play and what they cost it. hours_shared is the part of the hours
-- shared out over several rackets (the band is wider for it).
with summed as (
    select
        x.bed_row,
        s.played_on as day,
        exact_sum(s.hours * x.share) as hours,
        exact_sum(case when x.is_shared then s.hours * x.share end) as hours_shared,
        exact_sum(case when s.source = 'assumed' then s.hours * x.share end) as hours_assumed,
        exact_sum(case when x.is_shared then s.hours * s.hours * x.share * (1 - x.share) end) as share_variance_hours2,
        exact_sum(s.abrasion_hours * x.share) as abrasion_hours,
        exact_sum(s.playability_hours * x.share) as playability_hours
    from session_beds as x
    join session_hours as s using (session_row)
    where x.bed_row is not null
    group by x.bed_row, s.played_on
)

select b.bed_id, s.*
from summed as s
join beds as b using (bed_row)
