-- grain: one row per bed and day that matters to it: played, looked at, or its last day (the day it ended, or the origin).
-- Cumulative play at the end of that day, age in hours, and what the last look BEFORE that day saw.
with events as (
    select bed_row, day, hours, coalesce(share_variance_hours2, 0) as share_variance_hours2, abrasion_hours, playability_hours
    from bed_days
    union all
    select bed_row, last_day, 0, 0, 0, 0 from beds
    union all
    select b.bed_row, l.day, 0, 0, 0, 0 from bed_looks as l join beds as b using (bed_id)
),

days as (
    select
        bed_row, day,
        max(hours) as hours,
        max(share_variance_hours2) as share_variance_hours2,
        max(abrasion_hours) as abrasion_hours,
        max(playability_hours) as playability_hours
    from events
    group by bed_row, day
),

-- the grade of each sign that was seen last, at every look, and until when that look is the last one
looks as (
    select
        bed_id, day,
        coalesce(lead(day) over so_far, date '9999-12-31') as next_day,
        last_value(fraying ignore nulls) over so_far as fraying,
        last_value(notching ignore nulls) over so_far as notching,
        last_value(misalignment ignore nulls) over so_far as misalignment,
        last_value(lost_feel ignore nulls) over so_far as lost_feel
    from bed_looks
    window so_far as (partition by bed_id order by day)
),

played as (
    select
        b.bed_id, d.bed_row, d.day, d.hours,
        (d.day - b.strung_on) * 24.0 + 12.0 as age_hours,
        exact_sum(d.hours) over so_far as hours_so_far,
        exact_sum(d.share_variance_hours2) over so_far as share_variance_so_far,
        exact_sum(d.abrasion_hours) over so_far as abrasion_so_far,
        exact_sum(d.playability_hours) over so_far as playability_so_far
    from days as d
    join beds as b using (bed_row)
    where d.day <= b.last_day
    window so_far as (partition by d.bed_row order by d.day)
)

select p.*, k.fraying, k.notching, k.misalignment, k.lost_feel, k.day as looked_on
from played as p
left join looks as k
  on k.bed_id = p.bed_id and p.day > k.day and p.day <= k.next_day
