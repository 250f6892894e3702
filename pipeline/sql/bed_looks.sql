-- grain: one row per bed and day on which it was looked at: the highest grade of each sign that day.
select
    b.bed_id,
    i.inspected_on as day,
    max(i.fraying) as fraying,
    max(i.notching) as notching,
    max(i.misalignment) as misalignment,
    max(i.lost_feel) as lost_feel
from facts.inspections as i
join beds as b
  on b.racket_id = i.racket_id
 and i.inspected_on <= b.last_day
 -- on the day of a restring a look speaks of the old bed, unless there was none or the clock says otherwise
 and (
     i.inspected_on > b.strung_on
     or (i.inspected_on = b.strung_on and b.bed_number = 1)
     or (i.inspected_on_at is not null and i.inspected_on_at >= b.starts_at and i.inspected_on = b.strung_on)
 )
where i.inspected_on <= (select as_of from origin)
  and coalesce(i.fraying, i.notching, i.misalignment, i.lost_feel) is not null
group by b.bed_id, i.inspected_on
