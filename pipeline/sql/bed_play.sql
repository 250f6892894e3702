-- grain: one row per bed, day and kind of play: the hours whose weights are learned. Hours are shared and corrected for counted balls.
select
    x.bed_id,
    s.played_on as day,
    s.activity,
    s.intensity,
    s.surface,
    coalesce(s.spin, 'moderate') as spin,
    coalesce(s.level, 'regional') as level,
    exact_sum(s.effective_hours * x.share) as effective_hours
from session_beds as x
join session_hours as s using (session_row)
join beds as b on b.bed_id = x.bed_id
where s.played_on <= b.last_day
group by all
