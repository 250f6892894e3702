-- grain: one row per bed and day that matters to it: played, looked at, or its last day (the day it ended, or the origin).
-- Cumulative play at the end of that day, age in hours, and what the last look BEFORE that day saw, with the play at that look.
with last_days as (
    select bed_id, last_day as day from beds
),

days as (
    select bed_id, day from bed_days
    union
    select bed_id, day from last_days
    union
    select bed_id, day from bed_looks
),

joined as (
    select
        d.bed_id,
        d.day,
        coalesce(p.hours, 0) as hours,
        coalesce(p.share_variance_hours2, 0) as share_variance_hours2,
        coalesce(p.abrasion_hours, 0) as abrasion_hours,
        coalesce(p.playability_hours, 0) as playability_hours,
        k.fraying, k.notching, k.misalignment, k.lost_feel
    from days as d
    join last_days as l using (bed_id)
    left join bed_days as p on p.bed_id = d.bed_id and p.day = d.day
    left join bed_looks as k on k.bed_id = d.bed_id and k.day = d.day
    where d.day <= l.day
)

select
    j.bed_id,
    j.day,
    j.hours,
    (j.day - b.strung_on) * 24.0 + 12.0 as age_hours,
    sum(j.hours) over so_far as hours_so_far,
    sum(j.share_variance_hours2) over so_far as share_variance_so_far,
    sum(j.abrasion_hours) over so_far as abrasion_so_far,
    sum(j.playability_hours) over so_far as playability_so_far,
    last_value(j.fraying ignore nulls) over before as fraying,
    last_value(j.notching ignore nulls) over before as notching,
    last_value(j.misalignment ignore nulls) over before as misalignment,
    last_value(j.lost_feel ignore nulls) over before as lost_feel,
    max(case when coalesce(j.fraying, j.notching, j.misalignment, j.lost_feel) is not null then j.day end) over before as looked_on
from joined as j
join beds as b using (bed_id)
window
    so_far as (partition by j.bed_id order by j.day),
    before as (partition by j.bed_id order by j.day rows between unbounded preceding and 1 preceding)
