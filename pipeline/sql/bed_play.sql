-- grain: one row per bed, day and kind of play: the hours whose weights are learned. Hours are shared and corrected for counted balls.
select
    b.bed_id,
    s.played_on as day,
    s.activity,
    s.intensity,
    s.surface,
    coalesce(s.spin, 'moderate') as spin,
    coalesce(s.level, 'regional') as level,
    exact_sum(s.effective_hours * x.share) as effective_hours
from session_beds as x
join sessions_described as s using (session_row)
join beds as b using (bed_row)
where s.played_on <= b.last_day
group by all
