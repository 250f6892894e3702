-- grain: one row per bed and day on which it was played: hours of play and what they cost it.
-- Sums are taken in the order of the sessions, so that the same log always gives the same last digit. hours_shared is the part of the hours shared out over several rackets (the band is wider for it).
select
    x.bed_id,
    s.played_on as day,
    sum(s.hours * x.share order by session_row) as hours,
    sum(s.hours * x.share order by session_row) filter (where x.is_shared) as hours_shared,
    sum(s.hours * x.share order by session_row) filter (where s.source = 'assumed') as hours_assumed,
    sum(s.hours * s.hours * x.share * (1 - x.share) order by session_row) filter (where x.is_shared) as share_variance_hours2,
    sum(s.abrasion_hours * x.share order by session_row) as abrasion_hours,
    sum(s.playability_hours * x.share order by session_row) as playability_hours
from session_beds as x
join session_hours as s using (session_row)
where x.bed_id is not null
group by x.bed_id, s.played_on
